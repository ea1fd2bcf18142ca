"""The workbook: a sheet a question, numbers as numbers, no formula, the same bytes each time."""

import datetime as dt
import re
import zipfile
from dataclasses import replace

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from analysis.present.answer import Answer
from analysis.present.charts import Bar, range_chart
from analysis.present.tables import spoken_columns
from analysis.report.workbook import Frame, _units, write_workbook
from tests.made_up_answers import booking, recall, softening

FRAME = Frame("=Two Rivers, July to September 2026", "From a log.", "Ranges.", "Made by.", ("Take care.",), dt.datetime(2026, 9, 30), True)  # fmt: skip
STARTS = ("=", "+", "-", "@")


@pytest.fixture
def answers():
    table = booking().table.assign(day="=1+1", booking_kind=["+1", "-2", "@SUM(A1)", "new"])
    return {"how long to book": replace(booking(), table=table), "does softening pay": softening(), "recall": recall()}


def sheet(path, name):
    return CalamineWorkbook.from_path(str(path)).get_sheet_by_name(name).to_python()


def test_it_has_a_cover_contents_a_sheet_a_question_and_every_figure(answers, tmp_path):
    path = write_workbook(FRAME, answers, tmp_path)
    names = CalamineWorkbook.from_path(str(path)).sheet_names
    assert names == ["Cover", "Contents", "1 how long to book", "2 does softening pay", "3 recall", "All figures"]
    assert "INVENTED" in str(sheet(path, "Cover"))
    assert [row[0] for row in sheet(path, "Contents")][1:] == names[2:]


def test_a_table_holds_numbers_and_marks_what_is_hidden(answers, tmp_path):
    rows = sheet(write_workbook(FRAME, answers, tmp_path), "1 how long to book")
    told = {row[0]: row[1] for row in rows}
    assert told["Answer"] == booking().headline
    assert told["Period"] == "October 2023 to September 2026"
    numbers = [cell for row in rows for cell in row if isinstance(cell, float)]
    assert {31.24, 29.1, 2210.0} <= set(numbers)
    assert "not shown" in [cell for row in rows for cell in row]


def test_the_table_stands_between_the_answer_and_the_notes_which_run_across(answers, tmp_path):
    path = write_workbook(FRAME, answers, tmp_path)
    first = [row[0] for row in sheet(path, "1 how long to book")]
    assert first.index("Answer") < first.index("kind of booking") < first.index("Method") < first.index("Take care")
    with zipfile.ZipFile(path) as parts:
        written = parts.read("xl/worksheets/sheet3.xml").decode()
    heights = {int(row): float(high) for row, high in re.findall(r'<row r="(\d+)"[^>]* ht="([\d.]+)"', written)}
    merged = {int(row) for row in re.findall(r'<mergeCell ref="B(\d+):', written)}
    assert set(heights) <= merged
    assert heights[first.index("How sure") + 1] > 15  # more than one line
    assert 'showGridLines="0"' in written


def test_the_cover_has_its_parts_under_headings(answers, tmp_path):
    frame = replace(FRAME, sentences=("One.", "Two."))
    told = [row[0] for row in sheet(write_workbook(frame, answers, tmp_path), "Cover")]
    assert [
        told.index(each) for each in ("The quarter in five sentences", "What the figures rest on", "Take care")
    ] == sorted(told.index(each) for each in ("The quarter in five sentences", "What the figures rest on", "Take care"))
    assert told[told.index("One.") - 1] == "The quarter in five sentences"


def test_an_answer_without_a_figure_says_why(answers, tmp_path):
    rows = sheet(write_workbook(FRAME, answers, tmp_path), "2 does softening pay")
    assert rows[1][1] == softening().headline


def test_a_figure_stands_as_results_hold_it_and_an_endless_one_is_left_blank(answers, tmp_path):
    head, *rows = sheet(write_workbook(FRAME, answers, tmp_path), "All figures")
    (row,) = (dict(zip(head, each, strict=True)) for each in rows)
    assert (row["quantity"], row["value"], row["low"], row["high"]) == ("slot_minutes", 35.0, "", "")
    assert row["group"] == "booking: new; policy: recommended"


def test_no_cell_is_a_formula_or_begins_like_one(answers, tmp_path):
    with zipfile.ZipFile(write_workbook(FRAME, answers, tmp_path)) as parts:
        texts = re.findall(r"<t[^>]*>([^<]*)</t>", parts.read("xl/sharedStrings.xml").decode())
        sheets = [parts.read(name).decode() for name in parts.namelist() if "worksheets/" in name]
    assert {"'=1+1", "'+1", "'-2", "'@SUM(A1)", "'=Two Rivers, July to September 2026"} <= set(texts)
    assert [text for text in texts if text.startswith(STARTS)] == []
    assert not any("<f>" in each or "<f " in each for each in sheets)


def test_the_same_answers_give_the_same_bytes(answers, tmp_path):
    first = write_workbook(FRAME, answers, tmp_path).read_bytes()
    assert write_workbook(FRAME, answers, tmp_path).read_bytes() == first


def test_units_that_no_heading_says_stand_above_the_table():
    """Minutes and months by the column's own name; a heading that says its unit needs no more."""
    table = pd.DataFrame({"booking": ["new"], "today_minutes": [30.0], "added_minutes": [4.0], "ears": [120]})
    answer = Answer("How long?", "So long.", table=table)
    assert _units(answer, spoken_columns(table)) == "Slot today: minutes."


def test_a_bare_figures_unit_is_that_of_its_chart():
    table = pd.DataFrame({"watched_period": ["this quarter"], "value": [398.0]})
    bar = Bar("This quarter", 398.0, 388.0, 408.0, "#0072b2")
    answer = Answer("What?", "So much.", table=table, chart=range_chart([bar], x_title="pounds a session"))
    assert _units(answer, spoken_columns(table)) == "Figure: pounds a session."
    assert _units(Answer("What?", "So much.", table=table), spoken_columns(table)) == ""
