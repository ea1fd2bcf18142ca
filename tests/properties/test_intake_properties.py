"""Whatever a log holds: nothing lost, nothing leaked, no traceback, and the order of rows does not matter."""

import csv
import io
import json
import tempfile
from pathlib import Path

import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.intake import take_in
from analysis.intake.amounts import percent
from analysis.intake.preview import preview
from analysis.intake.preview_text import preview_text
from analysis.intake.privacy import pseudonyms
from analysis.intake.times import read_clock, read_date
from analysis.problems import DataProblem
from analysis.settings import Settings

KEY = b"k" * 32
FEW = settings(max_examples=4, deadline=None, suppress_health_check=list(HealthCheck))
MANY = settings(max_examples=200, deadline=None)

DATES = st.sampled_from(["02/03/2026", "2026-03-13", "14 Mar 26", "31/02/2026", "", "soon", "46090"])
TIMES = st.sampled_from(["09:00", "9.20 am", "25:10", "", "1400"])
GRADES = st.sampled_from(["full", "2/3 blocked", "no wax", "wobbly", "", "Occulded", "100%", "none"])
METHODS = st.sampled_from(["suction then hook", "irrigation", "", "magic", "none"])
STATUS = st.sampled_from(["Attended", "DNA", "canx", "", "perhaps"])
NUMBERS = st.sampled_from(["00417", "418", "", "TEST1", "A-7"])
NAMES = st.sampled_from(["Orlanda Fenniquill", "QUIBBLE, Petronella", "Mr Idrisson Yarroway", "Test Patient", ""])
PHONES = st.sampled_from(["07700 900123", "+44 7700 900456", ""])
BIRTHS = st.sampled_from(["04/05/1948", "1 Jan 60", "", "31/02/1950"])
PLANTED = (
    "Orlanda",
    "Fenniquill",
    "QUIBBLE",
    "Petronella",
    "Idrisson",
    "Yarroway",
    "07700",
    "900123",
    "900456",
    "00417",
    "1948",
)

VISIT_ROW = {
    "Date": DATES, "Time": TIMES, "Start": TIMES, "Finish": TIMES, "Patient no": NUMBERS, "Name": NAMES, "DOB": BIRTHS,
    "Mobile": PHONES, "Status": STATUS, "L wax": GRADES, "R wax": GRADES, "L method": METHODS, "Notes": NAMES, "Extra": NAMES,
}  # fmt: skip
EAR_ROW = {
    "Booking ref": st.sampled_from(["B1", "B2", "B3", ""]), "Date": DATES, "Time": TIMES, "Client name": NAMES, "Date of birth": BIRTHS,
    "Telephone": PHONES, "Clinician": st.sampled_from(["Wren", "Heron", ""]), "Side": st.sampled_from(["L", "Right", "both", "", "up"]),
    "Grade": GRADES, "Technique": METHODS,
}  # fmt: skip
LOGS = st.sampled_from([VISIT_ROW, EAR_ROW]).flatmap(
    lambda row: st.lists(st.fixed_dictionaries(row), min_size=1, max_size=12)
)
DIALECTS = st.tuples(
    st.sampled_from([",", ";", "\t", "|"]), st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"])
)


def written(rows, delimiter=",", encoding="utf-8"):
    """Write rows as the bytes of a CSV."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, list(rows[0]), delimiter=delimiter)
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode(encoding)


def taken(files):
    """Take in the bytes of some files."""
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / name for name in files]
        for path in paths:
            path.write_bytes(files[path.name])
        return take_in(paths, Settings(), KEY)


@FEW
@given(LOGS, DIALECTS)
def test_every_row_is_kept_or_set_aside_and_nothing_identifying_comes_out(rows, dialect):
    made = taken({"log.csv": written(rows, *dialect)})
    record = made.record
    filled = [row for row in rows if any(row.values())]
    assert record["rows_in"] == len(filled) == record["rows_kept"] + record["rows_set_aside"]
    assert len(made.set_aside) == record["rows_set_aside"]
    assert len(made.visits) <= record["rows_kept"]
    assert made.visits["visit_id"].is_unique
    assert made.visits["slot_start"].notna().all()
    assert set(made.ears["visit_id"]) <= set(made.visits["visit_id"])
    assert not made.ears[made.ears["ear"].notna()].duplicated(["visit_id", "ear"]).any()
    tables = "".join(frame.to_csv(date_format="%d %b") for frame in (made.visits, made.ears, made.set_aside))
    everything = tables + json.dumps(record, ensure_ascii=False)
    assert [word for word in PLANTED if word in everything] == []


@FEW
@given(st.data())
def test_neither_the_order_of_rows_nor_exports_that_overlap_change_what_is_kept(data):
    rows = data.draw(st.lists(st.fixed_dictionaries(VISIT_ROW), min_size=2, max_size=8))
    rows = [{"Visit no": f"V{number}"} | row for number, row in enumerate(rows)]
    rows += data.draw(st.lists(st.sampled_from(rows), max_size=3))  # the same rows again
    cut = data.draw(st.integers(1, len(rows)))
    whole = taken({"log.csv": written(rows)})
    mixed = taken({"log.csv": written(data.draw(st.permutations(rows)))})
    overlapping = taken({"a.csv": written(rows[:cut]), "b.csv": written(rows)})
    where = ["source_row", "source_file"]
    for other in (mixed, overlapping):
        pd.testing.assert_frame_equal(whole.visits.drop(columns=where), other.visits.drop(columns=where))
        pd.testing.assert_frame_equal(whole.ears, other.ears)
    assert whole.record["set_aside_by_reason"] == mixed.record["set_aside_by_reason"]


def small_exports():
    """Give the bytes of one small export of each kind."""
    rows = [
        {"Date": "02/03/2026", "Patient no": "1", "L wax": "full"},
        {"Date": "13/03/2026", "Patient no": "2", "L wax": "semi"},
    ]
    workbook, parquet = io.BytesIO(), io.BytesIO()
    pd.DataFrame(rows).to_excel(workbook, index=False, engine="xlsxwriter")
    pd.DataFrame(rows).to_parquet(parquet)
    return {"log.csv": written(rows), "log.xlsx": workbook.getvalue(), "log.parquet": parquet.getvalue()}


SMALL = small_exports()


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.sampled_from(sorted(SMALL)),
    st.lists(st.tuples(st.integers(0, 10**6), st.binary(max_size=6)), min_size=1, max_size=4),
)
def test_a_damaged_export_is_read_or_refused_in_plain_words(name, changes):
    content = SMALL[name]
    for place, new in changes:
        at = place % (len(content) + 1)
        content = content[:at] + new + content[at + max(len(new), 1) :]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        try:
            shown = preview_text(preview(path, Settings()))
        except DataProblem as problem:
            shown = str(problem)
        assert name in shown


@MANY
@given(
    st.dates(pd.Timestamp("1990-01-01").date(), pd.Timestamp("2068-12-31").date()),
    st.sampled_from(["%Y-%m-%d", "%d/%m/%Y", "%d.%m.%y", "%d %b %Y", "%B %d, %Y", "%a %d-%b-%y", "%Y%m%d"]),
)
def test_a_day_is_read_back_from_every_style(day, style):
    assert read_date(day.strftime(style)).day == day.isoformat()


@MANY
@given(st.times(), st.sampled_from(["%H:%M:%S", "%H.%M", "%H%M", "%I:%M %p", "%I.%M%p"]))
def test_a_time_is_read_back_from_every_style(time, style):
    read = read_clock(time.strftime(style)).clock
    assert read is not None
    assert read[:5] == f"{time:%H:%M}"


@MANY
@given(st.text(max_size=30))
def test_any_text_is_a_share_or_none(text):
    share = percent(text)
    assert share is None or 0 <= share <= 100


@MANY
@given(st.text(max_size=30))
def test_any_text_is_a_date_and_a_time_or_none(text):
    for moment in (read_date(text), read_clock(text)):
        assert moment.day is None or pd.Timestamp(moment.day).strftime("%Y-%m-%d") == moment.day
        assert not (moment.impossible and (moment.day or moment.clock))


@MANY
@given(st.lists(st.text(max_size=12), max_size=20))
def test_a_pseudonym_holds_nothing_of_the_number(texts):
    for text, pseudonym in pseudonyms(texts, KEY).items():
        assert len(pseudonym) == 16
        assert set(pseudonym) <= set("0123456789abcdef")
        assert len(text) < 8 or text not in pseudonym
