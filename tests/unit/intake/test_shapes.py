"""Sheets of a workbook, merged cells, and that every engine makes the same of every shape."""

import datetime as dt
import io
from pathlib import Path

import pytest
import xlsxwriter

from analysis.intake.read_table import headings_of
from tests.unit.intake.test_engines import bytes_of, in_turn  # noqa: F401
from tests.unit.intake.test_readers import recognise, workbook

CORPUS = Path(__file__).parent / "corpus_shapes"
HEADINGS = ["Visit no", "Date", "Patient no", "Left wax"]


def month(*days, first=1):
    """Write a sheet of visits on some days of March 2026."""
    return [HEADINGS, *([f"V{first + n}", dt.datetime(2026, 3, day), 10 + n, "full"] for n, day in enumerate(days))]


def test_sheets_with_the_same_headings_are_one_log(take):
    made = take(
        {"log.xlsx": workbook({"Key": [["Code", "Meaning"], ["F", "full"]], "A": month(2, 3), "B": month(16, first=8)})}
    )
    assert made.visits["source_file"].tolist() == ["log.xlsx, sheet A"] * 2 + ["log.xlsx, sheet B"]
    assert made.visits["source_row"].tolist() == [2, 3, 2]
    assert made.record["problems"] == []


def test_a_sheet_of_visits_and_a_sheet_of_their_ears_are_joined(take):
    visits = [["Visit no", "Date", "Patient no", "Staff"], ["V1", dt.datetime(2026, 3, 2), 11, "Wren"]]
    ears = [["Visit no", "Ear", "Grade"], ["V1", "L", "full"], ["V1", "R", "clear"], ["V2", "R", "full"]]
    made = take({"log.xlsx": workbook({"Visits": visits, "Ears": ears})})
    assert made.ears["grade"].tolist() == ["fully_occluding", "clear"]
    assert made.visits["practitioner"].tolist() == ["Wren"]
    assert made.set_aside["source_file"].tolist() == ["log.xlsx, sheet Ears"]


def test_the_sheet_of_the_settings_is_the_only_one_read(take):
    made = take({"log.xlsx": workbook({"A": month(2, 3), "B": month(16, first=8)})}, '[export]\nsheet = "B"')
    assert made.visits["source_file"].tolist() == ["log.xlsx"]


def merged(cells, ranges):
    """Write a sheet with merged cells."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True, "default_date_format": "dd/mm/yyyy"})
    sheet = book.add_worksheet("Log")
    for number, row in enumerate(cells):
        for place, cell in enumerate(row):
            sheet.write(number, place, cell)
    for top, left, bottom, right in ranges:
        sheet.merge_range(top, left, bottom, right, cells[top][left])
    book.close()
    return buffer.getvalue()


def test_merged_cells_of_a_workbook_hold_their_value_in_each_row(take):
    rows = [
        ["Visit no", "Date", "Patient no", "Ear", "Grade"],
        ["V1", "13/03/2026", "11", "L", "full"],
        ["", "", "", "R", "clear"],
    ]
    made = take({"log.xlsx": merged(rows, [(1, 0, 2, 0), (1, 1, 2, 1), (1, 2, 2, 2)])})
    assert (made.record["rows_kept"], len(made.visits)) == (2, 1)
    assert made.ears["grade"].tolist() == ["fully_occluding", "clear"]


def test_merged_headings_of_a_workbook_name_the_ear_below(take):
    rows = [
        ["Date", "Patient no", "Left ear", "", "Right ear", "", "Minutes"],
        ["", "", "Grade", "Method", "Grade", "Method", ""],
        ["13/03/2026", "11", "full", "suction", "clear", "", "20"],
    ]
    made = take({"log.xlsx": merged(rows, [(0, 0, 1, 0), (0, 1, 1, 1), (0, 2, 0, 3), (0, 4, 0, 5), (0, 6, 1, 6)])})
    assert made.ears["grade"].tolist() == ["fully_occluding", "clear"]
    assert made.visits["minutes"].tolist() == [20]


@pytest.mark.parametrize(
    ("upper", "lower", "headings"),
    [
        ("Date|Left ear||Right ear||Staff", "|Wax|Method|Wax|Method|", "Date|Left ear Wax|Left ear Method|Right ear Wax|Right ear Method|Staff"),
        ("||Left ear||Right ear||", "Date|Staff|Wax|Method|Wax|Method|Minutes", "Date|Staff|Left ear Wax|Left ear Method|Right ear Wax|Right ear Method|Minutes"),
        ("|Wax||Method|", "Date|L|R|L|R", "Date|Wax L|Wax R|Method L|Method R"),
        ("Log of 2026||", "Date|Wax L|Staff", "Date|Wax L|Staff"),
    ],
)  # fmt: skip
def test_two_rows_of_headings_are_read_together(upper, lower, headings):
    grid = [upper.split("|"), lower.split("|"), ["13/03/2026", "full", "clear"]]
    assert headings_of(grid, recognise) == (1, tuple(headings.split("|")))


SETS = [
    ["instrument_passes.csv"],
    ["passes_numbered.csv"],
    ["diary.csv", "ears_of_the_diary.csv", "march.csv", "april.csv"],
    ["clocks_and_offsets.csv", "another_system_below.csv"],
]


@pytest.mark.parametrize("names", SETS, ids=lambda names: names[0])
@pytest.mark.usefixtures("in_turn")
def test_every_engine_makes_the_same_of_every_shape(names, tmp_path):
    paths = [CORPUS / name for name in names]
    assert bytes_of(paths, "polars", tmp_path) == bytes_of(paths, "pandas", tmp_path)
