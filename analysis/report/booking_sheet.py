"""The booking template for the receptionist, as a workbook."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import xlsxwriter

from analysis.clinic import Clinic
from analysis.planning.slots import RECOMMENDED
from analysis.present.answer import Answer

FILE = "booking_template.xlsx"
NO_CLOCK = dt.datetime(2000, 1, 1)
"""Written as the day of making, so that the same log gives the same file."""
NEEDED = {"booking", "recommended_minutes", "today_minutes"}
HOW_TO = (
    "Book each patient the minutes beside the first line that fits what is known when they ring.",
    "What is not known when booking goes with the line that says so; if in doubt, take the longer one.",
    "These minutes are for the diary. Nobody is hurried: a visit takes what the ear needs.",
    "Local protocol and licensed practice decide before any figure here.",
)


def write_booking_sheet(clinic: Clinic, answer: Answer, folder: Path) -> Path | None:
    """Write the booking template beside the report.

    Parameters
    ----------
    clinic : Clinic
    answer : Answer
        To how long to book.
    folder : Path
        Where it goes.

    Returns
    -------
    Path or None
        None where the answer tells no slots; an older sheet is taken away then.

    Notes
    -----
    Every text is written as text, so that nothing from a log or a setting is
    read as a formula. The file holds no clock time and no patient.
    """
    path = folder / FILE
    if answer.table is None or not NEEDED.issubset(answer.table.columns):
        path.unlink(missing_ok=True)
        return None
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(str(path), options) as book:
        book.set_properties({"title": "Booking template", "created": NO_CLOCK})
        _slots(book, clinic, answer)
        _session(book, clinic)
    return path


def _slots(book: xlsxwriter.Workbook, clinic: Clinic, answer: Answer) -> None:
    """Write what to book for whom."""
    table = answer.table if answer.table is not None else pd.DataFrame()
    sheet = book.add_worksheet("What to book")
    bold, wide = book.add_format({"bold": True, "bottom": 1}), book.add_format({"text_wrap": True, "valign": "top"})
    name = "INVENTED DEMO CLINIC" if clinic.invented else clinic.settings.clinic.name
    sheet.write_string(0, 0, f"{name}: minutes to book", book.add_format({"bold": True, "font_size": 14}))
    for column, heading in enumerate(("Booking", "Book, minutes", "Until now, minutes")):
        sheet.write_string(2, column, heading, bold)
    for row, one in enumerate(table.to_dict("records"), start=3):
        sheet.write_string(row, 0, str(one["booking"]), wide)
        sheet.write_number(row, 1, float(one["recommended_minutes"]))
        if pd.notna(one["today_minutes"]):
            sheet.write_number(row, 2, float(one["today_minutes"]))
    for row, line in enumerate((*_gap(clinic, answer), *HOW_TO), start=len(table) + 4):
        sheet.write_string(row, 0, line)
    sheet.set_column(0, 0, 46)
    sheet.set_column(1, 2, 18)
    _for_paper(sheet)


def _gap(clinic: Clinic, answer: Answer) -> list[str]:
    """Say where the recommended template leaves a gap, if it does."""
    found = [row for row in answer.rows if row.quantity == "catch_up_every" and row.group["policy"] == RECOMMENDED]
    grid = clinic.settings.slots.grid_minutes
    return [
        f"Leave {grid} minutes free after every {row.value:.0f} patients, to catch up." for row in found if row.value
    ]


def _session(book: xlsxwriter.Workbook, clinic: Clinic) -> None:
    """Write an empty session on the grid, to be filled in by hand."""
    slots = clinic.settings.slots
    sheet = book.add_worksheet("A session")
    bold = book.add_format({"bold": True, "bottom": 1})
    for column, heading in enumerate(("Minutes from the start", "Booking", "Minutes booked")):
        sheet.write_string(0, column, heading, bold)
    for row in range(int(slots.session_minutes // slots.grid_minutes)):
        sheet.write_number(row + 1, 0, row * slots.grid_minutes)
    sheet.freeze_panes(1, 0)
    sheet.set_column(0, 2, 26)
    _for_paper(sheet)


def _for_paper(sheet: xlsxwriter.workbook.Worksheet) -> None:
    """Fit the sheet on one page of A4."""
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 1)
