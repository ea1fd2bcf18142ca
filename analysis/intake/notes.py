"""What was assumed of the exports, in plain sentences."""

from __future__ import annotations

from typing import Any

from analysis.intake.exports import MAY_HOLD_A_DATE, Export
from analysis.intake.filled import Filled
from analysis.intake.lengths import is_about
from analysis.intake.passes import MOST_PASSES
from analysis.intake.patients import BY_NAME, NOT_AT_ALL, how_patients_are_told_apart
from analysis.intake.row_columns import PASS, VISIT
from analysis.intake.tally import Tally
from analysis.intake.understanding import coded_as


def notes_on(exports: list[Export], tally: Tally, bookings: Filled) -> list[str]:
    """Say in plain sentences what was assumed.

    Parameters
    ----------
    exports : list of Export
    tally : Tally
        What became of every row.
    bookings : Filled
        How many bookings have each fact.

    Returns
    -------
    list of str
    """
    notes = _notes_on_sheets(exports)
    dated = [export for export in exports if not _dated_elsewhere(export)]
    for export in exports:
        notes += _notes_on_file(export) if export in dated else []
        notes += _notes_on_shape(export, tally)
    ways = {how_patients_are_told_apart(export.headings.columns) for export in dated}
    if len(ways) > 1:
        notes.append(
            f"Patients are told apart in different ways ({', '.join(sorted(ways))}); one who stands in files of both counts twice."
        )
    if tally.without_clock:
        notes.append(f"{tally.without_clock:,} rows have no time of day; their slots are taken to start at midnight.")
    if many := tally.shared_numbers:
        notes.append(
            f"{many:,} visit {'number stands' if many == 1 else 'numbers stand'} for several visits, of other patients, days or systems; they were told apart."
        )
    unknown = bookings.rows - bookings.facts["attendance"]
    if unknown:
        notes.append(f"{unknown:,} bookings say neither that the patient came nor that not; they count as neither.")
    if bookings.rows and not bookings.facts["booking_kind"]:
        notes.append(
            "The kind of booking is not logged. A patient's first row is not taken for a first visit, because the log may begin later than the patient."
        )
    return notes


def without_grades(record: dict[str, Any]) -> str:
    """Warn where visits were kept and none has a grade of wax, because its column may have been left out.

    Parameters
    ----------
    record : dict
        From ``intake_record``.

    Returns
    -------
    str
        One sentence and its remedy; empty where there are grades.

    Examples
    --------
    >>> without_grades({"visits": 3, "missing_facts": []})
    ''
    """
    if not record["visits"] or "grade" not in record["missing_facts"]:
        return ""
    return (
        "No column of grades (how full of wax an ear was) is read, so no answer can tell ears apart by it. If an export "
        'has one, name it in [columns] in clinic.toml, such as "your heading" = "grade_left", not "ignore".'
    )


def _notes_on_sheets(exports: list[Export]) -> list[str]:
    """Name the sheets of workbooks that were not read, once a workbook."""
    left_out = {
        export.table.file.split(", sheet ")[0]: export.table.facts["sheets_not_read"]
        for export in exports
        if export.table.facts.get("sheets_not_read")
    }
    return [
        f"{file}: {'this sheet was' if len(names) == 1 else 'these sheets were'} not read: {', '.join(names)}."
        for file, names in left_out.items()
    ]


def _dated_elsewhere(export: Export) -> bool:
    """Tell whether a file's rows are ears whose visits stand in another."""
    return not MAY_HOLD_A_DATE & set(export.headings.columns)


def _notes_on_shape(export: Export, tally: Tally) -> list[str]:
    """Say how many rows were joined to visits, and how many are passes that were joined to ears."""
    file, notes = export.table.file, []
    if joined := tally.joined[file]:
        notes.append(
            f"{file}: ears whose visit stands in another row were joined to it by the visit number ({_rows(joined)})."
        )
    if export.shape == PASS:
        ears = tally.ears_of_passes[file]
        notes.append(
            f"{file}: each row is one pass of an instrument; an ear's passes at one visit were joined, their methods in order ({_rows(tally.kept[file])}, {ears:,} {'ear' if ears == 1 else 'ears'})."
        )
    if many := tally.too_many_passes[file]:
        notes.append(
            f"{file}: {many:,} {'ear has' if many == 1 else 'ears have'} more than {MOST_PASSES} passes at one visit; methods beyond these are left out."
        )
    if again := export.table.facts.get("headings_again"):
        notes.append(f"{file}: the headings stand again on the way down ({_rows(again)}); they were passed over.")
    return notes


def _rows(count: int) -> str:
    """Count rows in words."""
    return f"{count:,} {'row' if count == 1 else 'rows'}"


def _notes_on_file(export: Export) -> list[str]:
    """Say what was assumed of one file."""
    file, columns, notes = export.table.file, export.headings.columns, []
    told_apart_by = how_patients_are_told_apart(columns)
    if told_apart_by == NOT_AT_ALL:
        notes.append(f"{file}: nothing tells patients apart, so returns cannot be followed.")
    elif told_apart_by == BY_NAME:
        notes.append(f"{file}: patients are told apart by name alone; two of one name count as one.")
    if "attendance" not in columns:
        notes.append(
            f"{file}: attendance is not logged; a booking counts as attended where something shows that the patient came."
        )
    if not {"slot_start", "slot_time"} & set(columns) and "started_at" in columns:
        notes.append(f"{file}: the booked time is not logged; the start of the visit stands for it.")
    order = export.understood.day_month_order()
    if order == "doubtful":
        notes.append(
            f"{file}: every date could also be read with day and month swapped; day_first in [export] decides."
        )
    if export.understood.twelve_hours:
        notes.append(
            f"{file}: times run from 8 to 12 and from 1 to 6 without am or pm; 1:00 to 6:59 is taken for the afternoon."
        )
    if many := sum(
        export.understood.counts[column][text][0]
        for column, read in export.understood.numbers.items()
        if coded_as(column) in ("minutes", "ear_minutes")
        for text, value in read.items()
        if value is not None and is_about(text)
    ):
        notes.append(f"{file}: minutes are written as about so many ({_rows(many)}); they are read as they stand.")
    if (
        export.shape == VISIT
        and not any(column.endswith(("_left", "_right")) for column in columns)
        and export.headings.used
    ):
        notes.append(
            f"{file}: no column is about the left or the right ear; facts of ears have no side unless the cell names one."
        )
    return notes
