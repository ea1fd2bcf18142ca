"""The report's tables as a workbook: a cover, contents, one tidy sheet a table, and every figure."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from analysis.present.answer import Answer
from analysis.present.page_parts import sentence
from analysis.present.tables import BLANK, COUNT, NOT_SHOWN, SHARE, SpokenColumn, spoken_columns
from analysis.present.theme import QUIET, RECOMMENDED

FILE = "quarterly_report.xlsx"
LONGEST_NAME = 31
"""Letters a spreadsheet program allows in a sheet's name."""
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
TOLD_ABOVE = ("Answer", "How sure", "Period", "Units")
UNITS = ("minutes", "months", "days")
"""Ends of columns' names that say their unit."""
"""Notes that stand above a table; the others stand below it."""
NARROWEST, WIDEST, FEWEST_COLUMNS, LINE_POINTS = 11, 34, 7, 15
FIRST_NARROWEST = 20
"""Widths in letters; columns that notes run across at least; points a line of them takes."""
SAFE_TEXT = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
FIGURES = ("section", "quantity", "group", "value", "low", "high", "level", "unit", "n", "method")


@dataclass(frozen=True, slots=True)
class Frame:
    """What cover and first slide say of the report as a whole.

    Attributes
    ----------
    title, standfirst, how_sure, footer : str
        The clinic with its quarter, what the log covers, how ranges read, and with what it was made.
    cautions : tuple of str
    sentences : tuple of str
        The quarter in five sentences.
    made : datetime.datetime
        The end of the log's last month, written as the day of making: the same log gives the same file.
    invented : bool
    """

    title: str
    standfirst: str
    how_sure: str
    footer: str
    cautions: tuple[str, ...]
    made: dt.datetime
    invented: bool
    sentences: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Looks:
    """The few formats of the workbook."""

    title: Format
    bold: Format
    wrapped: Format
    heading: Format
    heading_right: Format
    hidden: Format
    share: Format
    count: Format
    figure: Format


def plain_text(text: str) -> str:
    """Keep a text from being read as a formula, here and wherever it is copied to.

    Examples
    --------
    >>> plain_text("=2+2"), plain_text("- no hearing aid"), plain_text("North")
    ("'=2+2", "'- no hearing aid", 'North')
    """
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def sheet_name(place: int, step: str) -> str:
    """Name a sheet by its place and its question's short name.

    Examples
    --------
    >>> sheet_name(3, "does softening pay"), len(sheet_name(12, "minutes saved by softening at all"))
    ('3 does softening pay', 31)
    """
    return f"{place} {step}"[:LONGEST_NAME]


def write_workbook(frame: Frame, answers: dict[str, Answer], folder: Path) -> Path:
    """Write the report's tables and figures as a workbook.

    Parameters
    ----------
    frame : Frame
    answers : dict of str to Answer
        By their short names, in the page's order.
    folder : Path

    Returns
    -------
    Path
        ``quarterly_report.xlsx``: cover, contents, a sheet a question (its
        sentence and period, the tidy table with its units, the notes), and
        a sheet of every figure as ``results.json`` holds it.

    Notes
    -----
    Numbers are numbers at full precision, so that they can be counted on
    with; a hidden count reads "not shown". Text is written as text, and no
    cell begins like a formula. There is no clock time: the same log and
    settings give the same bytes.
    """
    path = folder / FILE
    with xlsxwriter.Workbook(str(path), SAFE_TEXT) as book:
        book.set_properties({"title": plain_text(frame.title), "created": frame.made})
        looks = _looks(book)
        _cover(book.add_worksheet("Cover"), frame, looks)
        names = [sheet_name(place, step) for place, step in enumerate(answers, start=1)]
        _contents(book.add_worksheet("Contents"), list(zip(names, answers.values(), strict=True)), looks)
        for name, answer in zip(names, answers.values(), strict=True):
            _question(book.add_worksheet(name), answer, looks)
        _figures(book.add_worksheet("All figures"), list(answers.values()), looks)
    return path


def _looks(book: xlsxwriter.Workbook) -> _Looks:
    """Make the formats."""
    rule = {"bottom": 1, "bottom_color": RECOMMENDED}
    return _Looks(
        title=book.add_format({"bold": True, "font_size": 16}),
        bold=book.add_format({"bold": True, "text_wrap": True, "valign": "top"}),
        wrapped=book.add_format({"text_wrap": True, "valign": "top"}),
        heading=book.add_format({"bold": True, "text_wrap": True, "valign": "bottom", **rule}),
        heading_right=book.add_format({"bold": True, "text_wrap": True, "valign": "bottom", "align": "right", **rule}),
        hidden=book.add_format({"align": "right", "valign": "top", "font_color": QUIET}),
        share=book.add_format({"num_format": "0.0%", "valign": "top"}),
        count=book.add_format({"num_format": "#,##0", "valign": "top"}),
        figure=book.add_format({"num_format": "#,##0.00", "valign": "top"}),
    )


def _cover(sheet: Worksheet, frame: Frame, looks: _Looks) -> None:
    """Say whose figures these are, what they rest on and what to take care of."""
    told = ["INVENTED DEMO CLINIC: every visit was made up."] if frame.invented else []
    hidden = f"“{NOT_SHOWN}” marks a count hidden because it is small, or because it would tell a small one."
    blocks = (
        ("", told),
        ("The quarter in five sentences", frame.sentences),
        ("What the figures rest on", (frame.standfirst, frame.how_sure, hidden)),
        ("Take care", frame.cautions),
        ("", (frame.footer,)),
    )
    sheet.set_column(0, 0, 100)
    sheet.write_string(0, 0, plain_text(frame.title), looks.title)
    row = 1
    for heading, lines in blocks:
        told_now = [(heading, looks.heading)] if heading and lines else []
        for line, look in [*told_now, *((each, looks.wrapped) for each in lines)]:
            row += 1
            sheet.write_string(row, 0, plain_text(line), look)
        row += bool(lines)
    _for_paper(sheet)


def _contents(sheet: Worksheet, listed: Sequence[tuple[str, Answer]], looks: _Looks) -> None:
    """List the sheets with a link to each."""
    for column, (heading, width) in enumerate((("Sheet", 32), ("Question", 42), ("Answer", 90))):
        sheet.write_string(0, column, heading, looks.heading)
        sheet.set_column(column, column, width)
    for row, (name, answer) in enumerate(listed, start=1):
        sheet.write_url(row, 0, f"internal:'{name}'!A1", looks.wrapped, name)
        sheet.write_string(row, 1, plain_text(answer.question), looks.wrapped)
        sheet.write_string(row, 2, plain_text(answer.headline), looks.wrapped)
    sheet.write_url(len(listed) + 1, 0, "internal:'All figures'!A1", looks.wrapped, "All figures")
    sheet.write_string(len(listed) + 1, 1, "Every figure, as results.json holds it", looks.wrapped)
    _for_paper(sheet)


def notes_of(answer: Answer) -> list[tuple[str, str]]:
    """Give what stands beside an answer's table: kind of note and note, in reading order."""
    basis = answer.basis
    rests = (
        []
        if basis is None
        else [("Period", basis.period), ("Rests on", str(basis)), ("Method", sentence(basis.method))]
    )
    notes = [
        ("Answer", answer.headline),
        ("How sure", answer.how_sure),
        *rests,
        *(("It holds if", text) for text in answer.assumptions),
        *(("Checked", f"{check.name}: {check.result}. {check.sentence}") for check in answer.checks),
        *(("Take care", text) for text in answer.cautions),
    ]
    return [(kind, text) for kind, text in notes if text]


def _question(sheet: Worksheet, answer: Answer, looks: _Looks) -> None:
    """Write one question: its answer, its table, then what stands beside it."""
    spoken = [] if answer.table is None or answer.table.empty else spoken_columns(answer.table)
    widths = _widths(spoken)
    for place, width in enumerate(widths):
        sheet.set_column(place, place, width)
    sheet.write_string(0, 0, plain_text(answer.question), looks.title)
    notes = notes_of(answer)
    if told := _units(answer, spoken):
        notes.append(("Units", told))
    row = _notes(sheet, 1, [note for note in notes if note[0] in TOLD_ABOVE], widths, looks)
    if answer.table is not None and spoken:
        _table(sheet, row + 1, answer.table, spoken, looks)
        row += 1 + len(answer.table) + 2
    _notes(sheet, row, [note for note in notes if note[0] not in TOLD_ABOVE], widths, looks)
    _for_paper(sheet)


def _units(answer: Answer, spoken: Sequence[SpokenColumn]) -> str:
    """Say the unit of numbers whose heading does not: minutes and months by the column's name, else what the chart's axis says."""
    if answer.table is None or not spoken:
        return ""
    axis = None if answer.chart is None else answer.chart.layout.xaxis.title.text
    known = {"unit", "forecast_of"} & set(answer.table.columns)
    by_unit: dict[str, list[str]] = {}
    for name, column in zip(_shown(answer.table, spoken), spoken, strict=True):
        unit = next((each for each in UNITS if str(name).endswith(f"_{each}")), "")
        if name == "value" and axis and not known:
            unit = re.sub(r"<[^>]*>", " ", str(axis))
        if unit and column.is_number and unit not in column.heading:
            by_unit.setdefault(unit, []).append(column.heading)
    return (
        sentence("; ".join(f"{', '.join(headings)}: {unit}" for unit, headings in by_unit.items())) if by_unit else ""
    )


def _shown(table: pd.DataFrame, spoken: Sequence[SpokenColumn]) -> list[str]:
    """Give the columns that are spoken: a unit may stand in another's heading."""
    return [name for name in table.columns if len(spoken) == len(table.columns) or name != "unit"]


def _widths(columns: Sequence[SpokenColumn]) -> list[int]:
    """Give each column the width of its longest cell or word of its heading, within bounds."""
    wanted = [max(map(len, (*column.cells, *_with_unit(column).split()))) + 2 for column in columns]
    wanted += [NARROWEST] * (FEWEST_COLUMNS - len(wanted))
    return [min(max(each, NARROWEST if place else FIRST_NARROWEST), WIDEST) for place, each in enumerate(wanted)]


def _notes(sheet: Worksheet, top: int, notes: Sequence[tuple[str, str]], widths: list[int], looks: _Looks) -> int:
    """Write notes across the columns beside the first, high enough to be read; give the next row."""
    across = sum(widths[1:])
    for row, (kind, text) in enumerate(notes, start=top):
        sheet.write_string(row, 0, kind, looks.bold)
        sheet.merge_range(row, 1, row, len(widths) - 1, "", looks.bold if kind == "Answer" else looks.wrapped)
        sheet.write_string(row, 1, plain_text(text), looks.bold if kind == "Answer" else looks.wrapped)
        sheet.set_row(row, LINE_POINTS * max(1, math.ceil(len(text) * (1.1 if kind == "Answer" else 1.0) / across)))
    return top + len(notes)


def _table(sheet: Worksheet, top: int, table: pd.DataFrame, spoken: Sequence[SpokenColumn], looks: _Looks) -> None:
    """Write a table: plain headings, numbers as numbers, words as words."""
    for place, (name, column) in enumerate(zip(_shown(table, spoken), spoken, strict=True)):
        heading = looks.heading_right if column.is_number else looks.heading
        sheet.write_string(top, place, plain_text(_with_unit(column)), heading)
        for row, (value, cell) in enumerate(zip(table[name], column.cells, strict=True), start=top + 1):
            _cell(sheet, row, place, value, cell, column, looks)


def _with_unit(column: SpokenColumn) -> str:
    """Say a share's unit beside its heading; other units stand in the heading itself."""
    return f"{column.heading} (share)" if column.kind == SHARE and "share" not in column.heading else column.heading


def _cell(sheet: Worksheet, row: int, place: int, value: Any, cell: str, column: SpokenColumn, looks: _Looks) -> None:
    """Write one cell: the number itself where it is one, else what the page shows."""
    if not column.is_number or cell in (NOT_SHOWN, BLANK) or not _finite(value):
        sheet.write_string(row, place, plain_text(cell), looks.hidden if column.is_number else looks.wrapped)
        return
    share = column.kind == SHARE or cell.endswith("%")
    look = looks.share if share else looks.count if column.kind == COUNT or float(value).is_integer() else looks.figure
    sheet.write_number(row, place, float(value), look)


def _finite(value: Any) -> bool:
    """Whether a spreadsheet can hold the number."""
    return pd.notna(value) and abs(float(value)) != float("inf")


def _figures(sheet: Worksheet, answers: Sequence[Answer], looks: _Looks) -> None:
    """Write every result row, machine names and full precision."""
    for column, heading in enumerate(FIGURES):
        sheet.write_string(0, column, heading, looks.heading)
        sheet.set_column(column, column, 34 if heading in ("quantity", "group", "method") else 14)
    for row, figure in enumerate((each for answer in answers for each in answer.rows), start=1):
        for column, name in enumerate(FIGURES):
            value = getattr(figure, name)
            if name == "group":
                value = "; ".join(f"{key}: {part}" for key, part in sorted(value.items()))
            if isinstance(value, str):
                sheet.write_string(row, column, plain_text(value))
            elif value is not None and _finite(value):
                sheet.write_number(row, column, float(value))
    sheet.freeze_panes(1, 0)


def _for_paper(sheet: Worksheet) -> None:
    """Fit the sheet's width on A4, lying, and leave out the grid: rules stand where they tell something."""
    sheet.hide_gridlines(2)
    sheet.set_paper(9)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
