"""The recall list as a workbook for the clinic's own use, kept away from anything meant to be shared."""

from __future__ import annotations

import datetime as dt
import os
from pathlib import Path

import xlsxwriter

from analysis.answers.recall_due import Due, who_is_due
from analysis.answers.recall_group_words import group_spoken, listed
from analysis.clinic import Clinic
from analysis.models.recall_evidence import EVERYONE
from analysis.planning.recall_list import RecallList
from analysis.present import words
from analysis.report.workbook import SAFE_TEXT, plain_text

FOLDER, FILE = "private", "recall_list.xlsx"
NO_CLOCK = dt.datetime(2000, 1, 1)
OWN_USE = "For the clinic's own use: contains patient pseudonyms. Do not send, publish or store it with the report."
CAUTIONS = (
    "A recall date never replaces the advice to come back as soon as symptoms appear.",
    "Local protocol and licensed practice decide, for each patient, whether and when to call.",
    "The log does not say who has died, moved away or asked not to be called: look before you call.",
)
HEADINGS = ("Due month", "Patient (pseudonym)", "Months overdue", "Last seen", "Group", "Site")


def write_recall_list(clinic: Clinic, folder: Path) -> tuple[Path, RecallList]:
    """Write who is due a recall to ``private/recall_list.xlsx`` in the clinic folder.

    Parameters
    ----------
    clinic : Clinic
    folder : Path
        The clinic folder.

    Returns
    -------
    (Path, RecallList)

    Raises
    ------
    DataProblem
        If nobody can be listed.

    Notes
    -----
    Folder and file are readable by their owner only, where the system knows
    such rights. Text is written as text, and none begins like a formula.
    """
    due = who_is_due(clinic)
    private = folder / FOLDER
    private.mkdir(parents=True, exist_ok=True)
    private.chmod(0o700)
    path = private / FILE
    path.unlink(missing_ok=True)
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    with xlsxwriter.Workbook(str(path), SAFE_TEXT) as book:
        book.set_properties({"title": "Recall list", "created": NO_CLOCK})
        _sheet(book, clinic, due)
    path.chmod(0o600)
    return path, due.found


def _sheet(book: xlsxwriter.Workbook, clinic: Clinic, due: Due) -> None:
    """Write the one sheet: what it is, by which rule, and the list."""
    sheet = book.add_worksheet("Recall list")
    bold, day = book.add_format({"bold": True}), book.add_format({"num_format": "d mmm yyyy"})
    month = book.add_format({"num_format": "mmm yyyy"})
    name = "INVENTED DEMO CLINIC" if clinic.invented else clinic.settings.clinic.name
    found = due.found
    rule = listed([f"{words.plural(many, 'month')} for {_whom(group)}" for group, many in due.months.items()])
    about = (
        OWN_USE,
        plain_text(f"{name}: people due a recall, after the log's last day, {words.day(clinic.last_day)}"),
        f"Months since the last clearance, or since a later look at the ears: {rule}.",
        f"Left out: {words.count(found.booked)} booked already, {words.count(found.later)} due later.",
        *_lent(due),
        *CAUTIONS,
    )
    for row, line in enumerate(about):
        sheet.write_string(row, 0, line, bold if row == 0 else None)
    top = len(about) + 1
    for column, heading in enumerate(HEADINGS):
        sheet.write_string(top, column, heading, bold)
    for row, one in enumerate(found.due.to_dict("records"), start=top + 1):
        sheet.write_datetime(row, 0, one["due_month"].to_pydatetime(), month)
        sheet.write_string(row, 1, plain_text(clinic.pseudonyms.get(one["patient_key"], one["patient_key"])))
        sheet.write_number(row, 2, int(one["months_overdue"]))
        sheet.write_datetime(row, 3, one["last_seen"].to_pydatetime(), day)
        sheet.write_string(row, 4, group_spoken(one["recall_group"]))
        sheet.write_string(row, 5, plain_text(one["site"]) if isinstance(one["site"], str) else "")
    sheet.freeze_panes(top + 1, 0)
    sheet.set_column(0, 5, 20)


def _whom(group: str) -> str:
    """Say for whom an interval is."""
    return group if group == EVERYONE else f"people {group_spoken(group)}"


def _lent(due: Due) -> list[str]:
    """Say which groups go by the clinic's interval for want of ears."""
    if not due.lent:
        return []
    whose = listed([f"people {group_spoken(group)}" for group in due.lent])
    return [f"Too few ears were seen again for an interval of their own, so the clinic's is used: {whose}."]
