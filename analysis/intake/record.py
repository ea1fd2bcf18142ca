"""The intake record: what was read, understood, guessed, not understood and set aside.

Everything in it can be written as JSON, and nothing in it identifies a patient.

- ``rows_in``, ``rows_kept``, ``rows_set_aside``, ``set_aside_by_reason``, ``visits``, ``ears``
- ``first_day``, ``last_day``: of the bookings kept
- ``files``: for each file its kind, encoding, delimiter, sheet, rows, shape, date styles
  and headings (``matched``, ``guessed``, ``from_settings``, ``unknown`` with the
  nearest column, ``identifying``, ``doubled``, ``looked_identifying``)
- ``words``: for each coded column the rows ``understood``, the texts ``guessed`` (a typing
  error forgiven) and ``unknown``, with counts, first place and nearest known text
- ``unreadable``: for each date, time or number column the texts that could not be read
- ``completeness``: for each column the share of rows that have it (of the visits attended)
- ``missing_facts``: columns that are empty throughout
- ``contradictions``: facts that exclude each other, and how often
- ``conflicts``: for each column how often a row set aside said otherwise than the row kept
- ``notes``: what was assumed, in plain sentences
- ``to_mend``: what the owner can put right, one message each, the commonest first
- ``problems``: files that could not be used, or not wholly
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import Any

import polars as pl

from analysis.intake.exports import MAY_HOLD_A_DATE, Export
from analysis.intake.headers import CLINIC, GUESSED, IGNORE, SURE
from analysis.intake.patients import BY_NAME, NOT_AT_ALL, how_patients_are_told_apart
from analysis.intake.privacy import safe_to_show
from analysis.intake.row_columns import PASS, SHAPES_TOLD, VISIT
from analysis.intake.rules import REASONS
from analysis.intake.tally import Tally
from analysis.intake.understanding import coded_as
from analysis.intake.vocabulary import vocabulary
from analysis.intake.words import UNKNOWN
from analysis.problems import DataProblem
from analysis.schema import EAR_ROWS, VISITS

MOST_MESSAGES = 200
MOST_ROWS = 10**9
"""More than any file has: what weighs so much is told first."""
DATES = ("date", "slot_start")
WRITE_DATES = "Correct the date in the export (written like 2026-03-01); until then its rows are set aside."
OF_EVERY_BOOKING = (
    "visit_id",
    "patient_key",
    "site",
    "practitioner",
    "booked_on",
    "slot_start",
    "slot_minutes",
    "attendance",
    "booking_kind",
    "age_band",
)
NEVER_MISSING = ("visit_id", "source_file", "source_row", "minutes_quality")


def intake_record(
    exports: list[Export],
    problems: list[DataProblem],
    visits: pl.LazyFrame,
    ears: pl.LazyFrame,
    tally: Tally,
) -> dict[str, Any]:
    """Write the record of one intake.

    Parameters
    ----------
    exports : list of Export
    problems : list of DataProblem
        What was wrong with files that could not be used.
    visits, ears : polars.LazyFrame
    tally : Tally
        What became of every row.

    Returns
    -------
    dict
    """
    names: frozenset[str] = frozenset().union(*(export.names for export in exports))
    reasons = Counter({REASONS[reason].why: rows for reason, rows in tally.reasons().items()})
    words, unreadable = _words(exports, names), _unreadable(exports, names)
    bookings, attended = Filled.of(visits), Filled.of(visits.filter(pl.col("attendance") == "attended"))
    worked = Filled.of(ears)
    completeness = _completeness(bookings, attended, worked)
    start = pl.col("slot_start")
    first, last = visits.select(start.min().alias("first"), start.max().alias("last")).collect().row(0)
    return {
        "rows_in": sum(export.text.row_count for export in exports),
        "rows_kept": tally.kept.total(),
        "rows_set_aside": reasons.total(),
        "set_aside_by_reason": dict(sorted(reasons.items())),
        "visits": bookings.rows,
        "ears": worked.rows,
        "first_day": None if first is None else f"{first:%Y-%m-%d}",
        "last_day": None if last is None else f"{last:%Y-%m-%d}",
        "files": [_file(export, tally.kept[export.table.file], names) for export in exports],
        "words": words,
        "unreadable": unreadable,
        "completeness": completeness,
        "missing_facts": [column for column, share in completeness.items() if share == 0],
        "contradictions": {what: count for what, count in tally.contradictions.items() if count},
        "conflicts": {column: count for column, count in tally.conflicts.items() if count},
        "notes": _notes(exports, tally, bookings),
        "to_mend": _to_mend(exports, words, unreadable, names),
        "problems": [str(problem) for problem in problems]
        + [warning for export in exports for warning in export.table.warnings],
    }


def _file(export: Export, rows_kept: int, names: frozenset[str]) -> dict[str, Any]:
    """Tell of one file."""
    understood, rows = export.understood, export.text.row_count
    return {
        "file": export.table.file,
        **export.table.facts,
        "shape": SHAPES_TOLD[export.shape],
        "rows_kept": rows_kept,
        "rows_set_aside": rows - rows_kept,
        "date_styles": dict(sorted(understood.date_styles.items())),
        "day_month_order": understood.day_month_order(),
        "twelve_hour_clock": understood.twelve_hours,
        "patients_told_apart_by": how_patients_are_told_apart(export.headings.columns),
        "headings": headings_told(export, names),
    }


def headings_told(export: Export, names: frozenset[str]) -> dict[str, Any]:
    """Tell what each heading of a file was taken for."""
    used = [export.headings.all[place] for place in export.headings.used]
    doubled = [export.headings.all[place] for place in export.headings.doubled]
    unknown = [each for each in export.headings.all if not each.column]

    def by(certainty: str) -> dict[str, str]:
        return {each.text: each.column for each in used if each.certainty == certainty and not each.identifying}

    return {
        "matched": by(SURE),
        "guessed": by(GUESSED),
        "from_settings": by(CLINIC),
        "unknown": {safe_to_show(each.text, names): each.nearest for each in unknown},
        "identifying": [each.text for each in (*used, *doubled) if each.identifying],
        "looked_identifying": dict(export.dropped_text),
        "doubled": {each.text: each.column for each in doubled if not each.identifying},
        "ignored": [each.text for each in export.headings.all if each.column == IGNORE],
    }


def _words(exports: list[Export], names: frozenset[str]) -> dict[str, Any]:
    """Count, for each coded column, the words understood, guessed and unknown."""
    told: dict[str, dict[str, Any]] = {}
    for export in exports:
        for column, readings in export.understood.words.items():
            mine = told.setdefault(coded_as(column), {"understood": 0, "guessed": {}, "unknown": {}})
            for text, reading in readings.items():
                count, first = export.understood.counts[column][text]
                shown = safe_to_show(text, names)
                if reading.certainty == UNKNOWN:
                    entry = mine["unknown"].setdefault(
                        shown,
                        {
                            "count": 0,
                            "file": export.table.file,
                            "row": first,
                            "heading": export.heading_of(column),
                            "nearest": None,
                            "nearest_code": None,
                        },
                    )
                    entry["count"] += count
                    if reading.nearest:
                        entry["nearest"], entry["nearest_code"] = reading.nearest
                    continue
                mine["understood"] += count
                if reading.certainty == "guessed":
                    entry = mine["guessed"].setdefault(shown, {"count": 0, "code": reading.code})
                    entry["count"] += count
    return {column: told[column] for column in sorted(told)}


def _unreadable(exports: list[Export], names: frozenset[str]) -> dict[str, Any]:
    """Collect the dates, times and numbers that could not be read; birth dates only as a count."""
    told: dict[str, dict[str, Any]] = defaultdict(dict)
    for export in exports:
        understood = export.understood
        read: dict[str, dict[str, bool]] = {
            c: {t: v is not None for t, v in found.items()} for c, found in understood.numbers.items()
        }
        read |= {c: {t: bool(m.day or m.clock) for t, m in found.items()} for c, found in understood.moments.items()}
        for column, texts in read.items():
            for text, could in texts.items():
                if could:
                    continue
                count, first = understood.counts[column][text]
                shown = "***" if column in ("birth_date", "age") else safe_to_show(text, names)
                entry = told[coded_as(column)].setdefault(
                    shown, {"count": 0, "file": export.table.file, "row": first, "heading": export.heading_of(column)}
                )
                entry["count"] += count
    return {column: told[column] for column in sorted(told)}


@dataclass(frozen=True)
class Filled:
    """How many rows of a table have each fact.

    Attributes
    ----------
    rows : int
    facts : dict
        Column to the rows in which something stands.
    """

    rows: int
    facts: dict[str, int]

    @classmethod
    def of(cls, table: pl.LazyFrame) -> Filled:
        """Count a table."""
        counts = table.select(pl.len().alias("rows in all"), pl.all().count()).collect(engine="streaming").row(0, named=True)
        return cls(counts.pop("rows in all"), counts)

    def share(self, column: str) -> float:
        """Give the share of rows that have a fact."""
        return round(self.facts[column] / self.rows, 4) if self.rows else 0.0


def _completeness(bookings: Filled, attended: Filled, ears: Filled) -> dict[str, float]:
    """Give the share of rows that have each fact: of all bookings, of attended visits, or of ears."""
    shares = {}
    for table in (VISITS, EAR_ROWS):
        for column in table.names:
            if column in NEVER_MISSING or (table is EAR_ROWS and column == "visit_id"):
                continue
            of = ears if table is EAR_ROWS else bookings if column in OF_EVERY_BOOKING else attended
            name = "ear_minutes" if table is EAR_ROWS and column == "minutes" else column
            shares[name] = of.share(column)
    return shares


def _notes(exports: list[Export], tally: Tally, bookings: Filled) -> list[str]:
    """Say in plain sentences what was assumed."""
    notes = []
    dated = [export for export in exports if not _dated_elsewhere(export)]
    for export in exports:
        notes += _notes_on_file(export) if export in dated else []
        notes += _notes_on_shape(export, tally)
    ways = {how_patients_are_told_apart(export.headings.columns) for export in dated}
    if len(ways) > 1:
        notes.append(
            f"Patients are told apart in different ways ({', '.join(sorted(ways))}); one who stands in files of both counts twice."
        )
    without_clock = tally.without_clock
    if without_clock:
        notes.append(f"{without_clock:,} rows have no time of day; their slots are taken to start at midnight.")
    unknown = bookings.rows - bookings.facts["attendance"]
    if unknown:
        notes.append(
            f"{unknown:,} bookings say neither that the patient came nor that not; they count as neither."
        )
    if bookings.rows and not bookings.facts["booking_kind"]:
        notes.append(
            "The kind of booking is not logged. A patient's first row is not taken for a first visit, because the log may begin later than the patient."
        )
    return notes


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
    if (
        export.shape == VISIT
        and not any(column.endswith(("_left", "_right")) for column in columns)
        and export.headings.used
    ):
        notes.append(
            f"{file}: no column is about the left or the right ear; facts of ears have no side unless the cell names one."
        )
    return notes


def _to_mend(
    exports: list[Export], words: dict[str, Any], unreadable: dict[str, Any], names: frozenset[str]
) -> list[str]:
    """Write one message for each thing the owner can put right: whole columns, then dates, then words by how common."""
    told: list[tuple[int, str]] = []
    for column, found in words.items():
        for text, entry in found["unknown"].items():
            guess = f' Did you mean "{entry["nearest"]}"?' if entry["nearest"] else ""
            codes = [entry["nearest_code"]] if entry["nearest_code"] else vocabulary(column).labels
            choice = " or ".join(f'"{code}"' for code in codes)
            remedy = f'{guess} Add it to [words.{column}] in clinic.toml: "{text}" = {choice}.'.strip()
            told.append((entry["count"], _message("This word is not known", remedy, text, entry)))
    for column, entries in unreadable.items():
        if column == "birth_date":
            continue
        for text, entry in entries.items():
            remedy = WRITE_DATES if column in DATES else "Correct it in the export, or empty the cell."
            weight = MOST_ROWS if column in DATES else entry["count"]
            told.append((weight, _message("This cannot be read", remedy, text, entry)))
    for export in exports:
        told += [(MOST_ROWS + 1, message) for message in _headings_to_mend(export, names)]
    return [message for _, message in sorted(told, key=lambda each: (-each[0], each[1]))[:MOST_MESSAGES]]


def _headings_to_mend(export: Export, names: frozenset[str]) -> list[str]:
    """Write one message for each column that was not read."""
    told, file, seen = [], export.table.file, headings_told(export, names)
    for heading, nearest in seen["unknown"].items():
        remedy = (
            f'If it is needed, add it to [columns] in clinic.toml: "{heading}" = "{nearest or "our column"}" '
            '(earclinic preview lists ours); otherwise = "ignore".'
        )
        what = "This heading is not known; the column was not read."
        told.append(str(DataProblem(what, remedy, file=file, column=heading)))
    for heading, column in seen["doubled"].items():
        what = f"Another column is taken for {column} already; this one was not read."
        remedy = f'Say in [columns] in clinic.toml what it is: "{heading}" = "our column", or "ignore".'
        told.append(str(DataProblem(what, remedy, file=file, column=heading)))
    return told


def _message(what: str, remedy: str, text: str, entry: dict[str, Any]) -> str:
    """Write one message about a text."""
    rows = f" ({entry['count']:,} rows)" if entry["count"] > 1 else ""
    return str(
        DataProblem(f"{what}{rows}.", remedy, file=entry["file"], row=entry["row"], column=entry["heading"], value=text)
    )
