"""Whatever identifies a patient, in whatever column it was typed, is in no output."""

import csv
import io
import json

import pytest

from analysis.intake.check_digits import is_checked_number
from analysis.intake.preview import preview
from analysis.intake.preview_text import preview_text
from analysis.intake.privacy import keyed
from analysis.intake.row_columns import text_columns
from analysis.intake.strange_words import safe_word
from analysis.intake.vocabulary import heading_entries
from analysis.settings import Settings
from tests.unit.intake.conftest import KEY

PLANTED = (
    "Quillfeather Zephyrine",
    "zephyrine.q@example.org",
    "07700 900417",
    "943 476 5919",
    "QX12 7ZY",
    "Mrs Quillfeather",
)
MARKS = ("Quillfeather", "Zephyrine", "zephyrine", "900417", "9434765919", "943 476 5919", "7ZY")
KEPT_AS_TEXT = ("visit_id", "site", "practitioner")
"""Columns in which names of sites and staff belong, so that a name alone tells nothing."""
VISIT_COLUMNS = [
    each
    for each in text_columns()
    if each not in KEPT_AS_TEXT
    and (each == "ear" or heading_entries()[each.removesuffix("_left").removesuffix("_right")]["level"] == "visit")
]
EAR_COLUMNS = [each for each in text_columns() if each not in (*VISIT_COLUMNS, *KEPT_AS_TEXT)]
GOOD = {"Date": "13/03/2026", "Time": "09:00", "Left wax": "full", "Patient no": "417"}


def heading_of(column):
    """Give a heading that is taken for a column."""
    base = column.removesuffix("_left").removesuffix("_right")
    side = column.removeprefix(base).strip("_")
    return f"{side} {heading_entries()[base]['names'][0]}".strip()


def log_with(columns, planted):
    """Write a log of four good rows and, for each column, some with something planted in it."""
    headings = {column: heading_of(column) for column in columns}
    rows = [GOOD | dict.fromkeys(headings.values(), "") | {"Patient no": str(number)} for number in range(4)]
    rows += [
        rows[0] | {"Patient no": str(90 + len(planted) * place + number), heading: text}
        for place, heading in enumerate(headings.values())
        for number, text in enumerate(planted)
    ]
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def everything(made):
    """Write every output of an intake as one text."""
    tables = "".join(frame.to_csv() for frame in (made.visits, made.ears, made.set_aside))
    return tables + json.dumps(made.record, ensure_ascii=False)


@pytest.mark.parametrize("columns", [VISIT_COLUMNS, EAR_COLUMNS])
def test_nothing_planted_in_any_column_comes_out(take, tmp_path, columns):
    made = take({"log.csv": log_with(columns, PLANTED)})
    assert made.record["rows_in"] == 4 + len(columns) * len(PLANTED)
    assert [mark for mark in MARKS if mark in everything(made)] == []
    assert [mark for mark in MARKS if mark in preview_text(preview(tmp_path / "log.csv", Settings()))] == []


def test_addresses_of_mail_phones_and_national_numbers_do_not_come_out_of_columns_kept_as_text(take):
    made = take({"log.csv": log_with(KEPT_AS_TEXT, PLANTED[1:4])})
    assert [mark for mark in MARKS if mark in everything(made)] == []


def test_a_patients_name_typed_as_the_practitioner_or_site_is_not_kept(take):
    log = "Date,Patient name,Practitioner,Site,L wax\n" + "".join(
        f"{day}/03/2026,Patient {'ABCD'[day % 4]}mber,Wren,Mill,full\n" for day in range(13, 21)
    )
    log += '21/03/2026,Zephyrine Quillfeather,Zephyrine Quillfeather,Mill,full\n22/03/2026,Ann Amber,Wren,"Quillfeather, Zephyrine",full\n'
    made = take({"log.csv": log})
    assert [mark for mark in MARKS if mark in everything(made)] == []
    assert made.visits["practitioner"].dropna().unique().tolist() == ["Wren"]


def test_the_clinics_own_capitalised_word_is_shown_once_it_is_common():
    assert safe_word("Gunky") == "***"
    assert safe_word("Gunky", times=5) == "Gunky"
    assert safe_word("Orla Fennimore", times=500) == "*** ***"
    assert safe_word("FULL occulsion L ear 80%") == "FULL occulsion L ear 80%"


@pytest.mark.parametrize(
    "number", ["943 476 5919", "111222333", "046 454 286", "811218-9876", "12345678Z", "X1234567L"]
)
def test_a_number_that_its_check_digits_confirm(number):
    """Examples that national offices print; from memory, no source."""
    assert is_checked_number(number)


@pytest.mark.parametrize("number", ["943 476 5918", "111222334", "046 454 288", "12345678A", "V1042", "", "000000000"])
def test_a_number_that_they_do_not_confirm(number):
    assert not is_checked_number(number)


def many_rows(**columns) -> str:
    """Write sixty good rows, of which the first has something of its own in a column."""
    lines = [",".join(["Date", "Left wax", "Patient no", *columns])]
    for row in range(60):
        own = [str(make(row)) for make in columns.values()]
        lines.append(",".join([f"{row % 28 + 1:02d}/03/2026", "full", f"QP{7_731_000 + row}", *own]))
    return "\n".join(lines)


@pytest.mark.parametrize("alone", ["7 Quaggy Lane", "Mrs Quillfeather", "04/05/1948", "QP7731000", "z.quill@nowhere"])
def test_a_home_visits_address_or_name_is_no_site(take, alone):
    made = take({"log.csv": many_rows(Site=lambda row: alone if row == 0 else "Mill Lane")})
    assert len(made.visits) == 60
    assert alone not in everything(made)
    assert made.visits["site"].notna().sum() == 59


def test_a_patients_own_name_in_a_row_or_two_is_no_site(take):
    columns = {
        "Surname": lambda row: f"Quill{chr(97 + row % 26)}",
        "Site": lambda row: "Quilla" if row == 0 else "Mill Lane",
    }
    made = take({"log.csv": many_rows(**columns)})
    assert "Quilla" not in everything(made)
    assert made.visits["site"].notna().sum() == 59


def test_a_site_called_after_its_street_stays(take):
    made = take({"log.csv": many_rows(Site=lambda row: ("7 Quarry Lane", "12 Mill Road")[row % 2])})
    assert set(made.visits["site"]) == {"7 Quarry Lane", "12 Mill Road"}


@pytest.mark.parametrize("made_from", [lambda row: f"QP{7_731_000 + row}-1", lambda row: f"{7_731_000 + row}"])
def test_visit_numbers_made_from_patients_numbers_are_not_kept(take, made_from):
    made = take({"log.csv": many_rows(**{"Visit no": made_from})})
    assert "7731" not in made.visits["visit_id"].str.cat() + made.ears["visit_id"].str.cat()
    assert made.visits["visit_id"].nunique() == 60


def test_plain_visit_numbers_stay_and_others_depend_on_the_clinics_key(take):
    made = take({"log.csv": many_rows(**{"Visit no": lambda row: f"LEE-{row}" if row < 30 else f"{row:08d}"})})
    assert made.visits["visit_id"].isin([f"{row:08d}" for row in range(30, 60)]).sum() == 30
    assert set(keyed("visit", ["LEE-0"], KEY)) < set(made.visits["visit_id"])


@pytest.mark.parametrize("written", ["unknown", "N/A", "walk in", "000", "9.43477E+09", "9999999999", "TBC"])
def test_what_stands_for_no_number_is_nobodys_number(take, written):
    lines = ["Date,Time,Left wax,Patient no", *(f"0{day}/03/2026,09:00,full,{written}" for day in range(1, 6))]
    made = take({"log.csv": "\n".join([*lines, "09/03/2026,09:00,full,417"])})
    assert made.visits["patient_key"].isna().sum() == 5
