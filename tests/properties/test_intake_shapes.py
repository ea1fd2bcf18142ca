"""The same visits in every shape, dialect and mess: the same ears come out, nothing is lost, nothing leaks."""

import csv
import io
import json
import tempfile
from pathlib import Path

import pandas as pd
import xlsxwriter
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from analysis.intake import take_in
from analysis.setting_parts import ExportPart
from analysis.settings import Settings

KEY = b"k" * 32
FEW = settings(
    max_examples=5, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.explicit, Phase.generate]
)
FEWER = settings(FEW, max_examples=3)
GRADES = {"full": "fully_occluding", "semi": "partly_occluding", "non-occ": "non_occluding"}
TOOLS = {"suction": "wide_suction", "hook": "hook_or_loop", "forceps": "forceps", "irrigation": "irrigation"}
NAMES = ("Zephyrine Quillfeather", "zephyrine.q@example.org", "07700 900417")
MARKS = ("Zephyrine", "Quillfeather", "zephyrine.q", "900417")

EARS = st.fixed_dictionaries(
    {
        "grade": st.sampled_from(sorted(GRADES)),
        "tools": st.lists(st.sampled_from(sorted(TOOLS)), min_size=1, max_size=3, unique=True),
    }
)
VISIT = st.fixed_dictionaries(
    {"day": st.integers(13, 28), "patient": st.integers(1, 4), "L": st.none() | EARS, "R": EARS}
)
VISITS = st.lists(VISIT, min_size=1, max_size=6)
SHAPES = st.sampled_from(["visit", "ear", "pass", "two files", "two sheets", "months", "a system below"])
MESS = st.fixed_dictionaries(
    {
        "delimiter": st.sampled_from([",", ";", "\t", "|"]),
        "encoding": st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
        "title": st.booleans(),
        "totals": st.booleans(),
        "twice": st.booleans(),
    }
)


def base(number, visit):
    """Give the cells of the visit itself."""
    return {
        "Visit no": f"V{number}", "Date": f"{visit['day']}/03/2026", "Time": f"{9 + number:02d}:00",
        "Patient no": str(visit["patient"]), "Staff": "Wren",
    }  # fmt: skip


def both(number, visit, *, other=False):
    """Write a row a visit, in the words of one system or of another."""
    words = ("Wax {}", "Method {}") if not other else ("{} ear grade", "Instrument used {}")
    row = base(number, visit)
    for side in "LR":
        ear = visit[side] or {"grade": "", "tools": []}
        row |= {words[0].format(side): ear["grade"], words[1].format(side): " then ".join(ear["tools"])}
    return row


def ear_rows(visit, cells):
    """Write a row an ear."""
    return [
        cells | {"Ear": side, "Grade": visit[side]["grade"], "Method": " then ".join(visit[side]["tools"])}
        for side in "LR"
        if visit[side]
    ]


def pass_rows(number, visit):
    """Write a row an instrument pass."""
    return [
        base(number, visit) | {"Ear": side, "Grade": visit[side]["grade"], "Step": str(step), "Method": tool}
        for side in "LR"
        if visit[side]
        for step, tool in enumerate(visit[side]["tools"], start=1)
    ]


def rows_in_shape(visits, shape):
    """Write visits as the rows of one or two tables."""
    numbered = list(enumerate(visits))
    half = (len(visits) + 1) // 2
    if shape == "ear":
        return [[row for n, visit in numbered for row in ear_rows(visit, base(n, visit))]]
    if shape == "pass":
        return [[row for n, visit in numbered for row in pass_rows(n, visit)]]
    if shape.startswith("two"):
        ears = [row for n, visit in numbered for row in ear_rows(visit, {"Visit no": f"V{n}"})]
        return [[base(n, visit) for n, visit in numbered], ears]
    if shape == "months":
        return [
            [both(n, visit) for n, visit in numbered[: half + 1]],
            [both(n, visit) for n, visit in numbered[half - 1 :]],
        ]
    if shape == "a system below":
        parts = [
            [both(n, visit) for n, visit in numbered[:half]],
            [both(n, visit, other=True) for n, visit in numbered[half:]],
        ]
        return [part for part in parts if part]
    return [[both(n, visit) for n, visit in numbered]]


def grid_of(rows, mess):
    """Write rows as a grid, with titles, totals and rows twice."""
    headings = list(rows[0])
    grid = [["Log of the clinic"], []] if mess["title"] else []
    grid += [headings, *([row[heading] for heading in headings] for row in rows)]
    grid += [list(rows[0].values())] if mess["twice"] else []
    grid += [["Total", "", "", str(len(rows))]] if mess["totals"] else []
    return grid


def files_of(visits, shape, mess):
    """Write visits as the bytes of files."""
    grids = [grid_of(rows, mess) for rows in rows_in_shape(visits, shape)]
    if shape == "two sheets":
        buffer = io.BytesIO()
        book = xlsxwriter.Workbook(buffer, {"in_memory": True})
        for grid in grids:
            sheet = book.add_worksheet()
            for number, row in enumerate(grid):
                sheet.write_row(number, 0, row)
        book.close()
        return {"log.xlsx": buffer.getvalue()}
    if shape == "a system below":
        grids = [[row for grid in grids for row in grid]]
    made = {}
    for name, grid in zip(("a.csv", "b.csv"), grids, strict=False):
        text = io.StringIO(newline="")
        csv.writer(text, delimiter=mess["delimiter"]).writerows(grid)
        made[name] = text.getvalue().encode(mess["encoding"])
    return made


def taken(files, engine="pandas"):
    """Take in the bytes of some files."""
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / name for name in files]
        for path in paths:
            path.write_bytes(files[path.name])
        return take_in(paths, Settings(export=ExportPart(engine=engine)), KEY)


def ears_that_are_true(visits):
    """Give what must come out: day, ear, grade, methods."""
    ears = [
        (
            visit["day"],
            9 + n,
            {"L": "left", "R": "right"}[side],
            GRADES[visit[side]["grade"]],
            ">".join(TOOLS[each] for each in visit[side]["tools"]),
        )
        for n, visit in enumerate(visits)
        for side in "LR"
        if visit[side]
    ]
    return sorted(ears)


def ears_taken(made):
    """Give what came out, in the same form."""
    joined = made.ears.merge(made.visits[["visit_id", "slot_start"]], on="visit_id")
    told_of = zip(
        joined["slot_start"].dt.day,
        joined["slot_start"].dt.hour,
        joined["ear"],
        joined["grade"],
        joined["methods"],
        strict=True,
    )
    return sorted(tuple(each) for each in told_of)


@FEW
@given(VISITS, SHAPES, MESS)
def test_every_shape_gives_the_same_ears_and_loses_no_row(visits, shape, mess):
    files = files_of(visits, shape, mess)
    made = taken(files)
    record = made.record
    assert ears_taken(made) == ears_that_are_true(visits)
    assert (
        record["rows_in"] == record["rows_kept"] + record["rows_set_aside"] == record["rows_kept"] + len(made.set_aside)
    )
    assert record["conflicts"] == {}
    assert set(record["set_aside_by_reason"]) <= {
        "the same row again",
        "a line of totals",
        "the same visit in another system's export",
    }


@FEWER
@given(
    VISITS, st.sampled_from(["visit", "ear", "pass", "two files", "months"]), MESS, st.randoms(use_true_random=False)
)
def test_neither_the_order_of_rows_nor_of_files_matters_and_again_is_the_same_to_the_byte(visits, shape, mess, random):
    tables_of = rows_in_shape(visits, shape)
    mixed = [random.sample(rows, len(rows)) for rows in tables_of]
    one, again = (taken({f"{n}.csv": csv_of(rows, mess) for n, rows in enumerate(tables_of)}) for _ in range(2))
    other = taken({f"{len(mixed) - n}.csv": csv_of(rows, mess) for n, rows in enumerate(mixed)})
    for table in ("visits", "ears", "set_aside"):
        assert parquet_of(getattr(one, table)) == parquet_of(getattr(again, table))
    where = ["source_row", "source_file"]
    pd.testing.assert_frame_equal(one.visits.drop(columns=where), other.visits.drop(columns=where))
    pd.testing.assert_frame_equal(one.ears, other.ears)
    assert one.record["set_aside_by_reason"] == other.record["set_aside_by_reason"]


def csv_of(rows, mess):
    """Write rows as the bytes of a CSV, without titles, totals or rows twice."""
    text = io.StringIO(newline="")
    plain = mess | {"title": False, "totals": False, "twice": False}
    csv.writer(text, delimiter=mess["delimiter"]).writerows(grid_of(rows, plain))
    return text.getvalue().encode(mess["encoding"])


def parquet_of(frame):
    """Write a table as Parquet."""
    buffer = io.BytesIO()
    frame.to_parquet(buffer)
    return buffer.getvalue()


@FEW
@given(VISITS, SHAPES, MESS, st.sampled_from(NAMES), st.data())
def test_what_identifies_comes_out_of_no_shape_wherever_it_was_typed(visits, shape, mess, name, data):
    tables_of = rows_in_shape(visits, shape)
    place = data.draw(
        st.sampled_from(
            [
                (t, r, column)
                for t, rows in enumerate(tables_of)
                for r, row in enumerate(rows)
                for column in row
                if column not in ("Staff", "Visit no")
            ]
        )
    )
    tables_of[place[0]][place[1]] = tables_of[place[0]][place[1]] | {place[2]: name}
    made = taken({f"{n}.csv": csv_of(rows, mess) for n, rows in enumerate(tables_of)})
    everything = "".join(frame.to_csv() for frame in (made.visits, made.ears, made.set_aside)) + json.dumps(made.record)
    assert [mark for mark in MARKS if mark in everything] == []
    assert made.record["rows_in"] == made.record["rows_kept"] + made.record["rows_set_aside"]


@FEWER
@given(VISITS, st.sampled_from(["visit", "ear", "pass", "two files"]), MESS)
def test_engines_agree_on_every_shape(visits, shape, mess):
    files = {f"{n}.csv": csv_of(rows, mess) for n, rows in enumerate(rows_in_shape(visits, shape))}
    one, other = (taken(files, engine) for engine in ("pandas", "polars"))
    for table in ("visits", "ears", "set_aside"):
        pd.testing.assert_frame_equal(getattr(one, table), getattr(other, table))
    assert one.record == other.record
