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
- ``conflicts``: for each column how often a row set aside said otherwise than the row kept, and how many visits
  told in several rows say different things of it
- ``same_visit``: rows set aside for another of the same visit, by reason, with the rule that chose
- ``notes``: what was assumed, in plain sentences
- ``to_mend``: what the owner can put right, one message each, the commonest first
- ``settings``: a mark of each part of the settings that was read, to tell later whether it was changed
- ``problems``: files that could not be used, or not wholly
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from typing import Any

from analysis.intake.amounts import waits_for_decimal_comma
from analysis.intake.conflicts import Conflict, conflict_messages, rows_of_one_visit, together
from analysis.intake.exports import Export
from analysis.intake.filled import NEVER_MISSING, OF_EVERY_BOOKING, Filled
from analysis.intake.headers import CLINIC, GUESSED, IGNORE, SURE
from analysis.intake.notes import notes_on
from analysis.intake.patients import how_patients_are_told_apart
from analysis.intake.privacy import MASK
from analysis.intake.row_columns import SHAPES_TOLD
from analysis.intake.rules import REASONS, TOTALS
from analysis.intake.strange_words import safe_headings, safe_word
from analysis.intake.tally import Tally
from analysis.intake.understanding import coded_as
from analysis.intake.vocabulary import says_nothing, vocabulary
from analysis.intake.words import UNKNOWN
from analysis.problems import DataProblem
from analysis.schema import EAR_ROWS, VISITS

MOST_MESSAGES = 200
MOST_ROWS = 10**9
"""More than any file has: what weighs so much is told first."""
DATES = ("date", "slot_start")
WRITE_DATES = "Correct the date in the export (written like 2026-03-01); until then its rows are set aside."


def intake_record(
    exports: list[Export],
    problems: list[DataProblem],
    tally: Tally,
) -> dict[str, Any]:
    """Write the record of one intake.

    Parameters
    ----------
    exports : list of Export
    problems : list of DataProblem
        What was wrong with files that could not be used.
    tally : Tally
        What became of every row, and what the finished tables hold.

    Returns
    -------
    dict
    """
    names: frozenset[str] = frozenset().union(*(export.names for export in exports))
    reasons = Counter({REASONS[reason].why: rows for reason, rows in tally.reasons().items()})
    words, unreadable = _words(exports, names), _unreadable(exports, names)
    bookings, attended, worked = tally.bookings, tally.attended, tally.worked
    completeness, found_conflicts = _completeness(bookings, attended, worked), together(tally.conflicts)
    first, last = min(tally.days, default=None), max(tally.days, default=None)
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
        "conflicts": _counted(found_conflicts),
        "same_visit": rows_of_one_visit(tally.reasons()),
        "notes": notes_on(exports, tally, bookings),
        "to_mend": _to_mend(exports, words, unreadable, names, found_conflicts),
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


def _shown(export: Export, names: frozenset[str]) -> dict[str, str]:
    """Give each heading as it may be shown."""
    texts = export.table.headings
    return dict(zip(texts, safe_headings(texts, names), strict=True))


def headings_told(export: Export, names: frozenset[str]) -> dict[str, Any]:
    """Tell what each heading of a file was taken for."""
    used = [export.headings.all[place] for place in export.headings.used]
    doubled = [export.headings.all[place] for place in export.headings.doubled]
    unknown = [each for each in export.headings.all if not each.column]
    shown = _shown(export, names)

    def by(certainty: str) -> dict[str, str]:
        return {each.text: each.column for each in used if each.certainty == certainty and not each.identifying}

    return {
        "matched": by(SURE),
        "guessed": by(GUESSED),
        "from_settings": by(CLINIC),
        "unknown": {shown[each.text]: each.nearest for each in unknown},
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
                shown = safe_word(text, names, times=count)
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
                if could or (column in understood.numbers and says_nothing(text)):
                    continue
                count, first = understood.counts[column][text]
                shown = "***" if column in ("birth_date", "age") else safe_word(text, names, times=count)
                entry = told[coded_as(column)].setdefault(
                    shown, {"count": 0, "file": export.table.file, "row": first, "heading": export.heading_of(column)}
                )
                entry["count"] += count
    return {column: told[column] for column in sorted(told)}


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


def _to_mend(
    exports: list[Export],
    words: dict[str, Any],
    unreadable: dict[str, Any],
    names: frozenset[str],
    found_conflicts: list[Conflict],
) -> list[str]:
    """Write one message for each thing the owner can put right: columns, then dates, then words and conflicts by how common."""
    told = conflict_messages(exports, found_conflicts)
    for column, found in words.items():
        for text, entry in found["unknown"].items():
            guess = f' Did you mean "{entry["nearest"]}"?' if entry["nearest"] else ""
            codes = [entry["nearest_code"]] if entry["nearest_code"] else vocabulary(column).labels
            choice = " or ".join(f'"{code}"' for code in codes)
            remedy = f'{guess} Add it to [words.{column}] in clinic.toml: "{text}" = {choice}.'.strip()
            if MASK in text:
                remedy = f"It may hold a name and is hidden: look at the row. {remedy}"
            told.append((entry["count"], _message("This word is not known", remedy, text, entry)))
    for column, entries in unreadable.items():
        if column == "birth_date":
            continue
        for text, entry in entries.items():
            if column in DATES and re.match(TOTALS, text.lower()):
                continue  # a line of totals is named with the rows set aside
            remedy = WRITE_DATES if column in DATES else _remedy_for_a_number(text)
            weight = MOST_ROWS if column in DATES else entry["count"]
            told.append((weight, _message("This cannot be read", remedy, text, entry)))
    for export in exports:
        told += [(MOST_ROWS + 1, message) for message in _headings_to_mend(export, names)]
    return [message for _, message in sorted(told, key=lambda each: (-each[0], each[1]))[:MOST_MESSAGES]]


def _counted(found_conflicts: list[Conflict]) -> dict[str, int]:
    """Count the conflicts of each column, those between rows kept and with rows set aside together."""
    counts: Counter[str] = Counter()
    for each in found_conflicts:
        counts[each.column] += each.count
    return dict(counts)


def _remedy_for_a_number(text: str) -> str:
    """Say how a cell that is no number can be put right."""
    correct = "Correct it in the export, or empty the cell."
    if not waits_for_decimal_comma(text):
        return correct
    return f"If its comma is a decimal comma, set decimal_comma = true in [export] of clinic.toml. Otherwise: {correct[:1].lower()}{correct[1:]}"


def _headings_to_mend(export: Export, names: frozenset[str]) -> list[str]:
    """Write one message for each column that was not read."""
    told, file, seen = [], export.table.file, headings_told(export, names)
    shown = _shown(export, names)
    why = {shown[each.text]: each.why for each in export.headings.all if not each.column and each.why}
    for heading, nearest in seen["unknown"].items():
        remedy = (
            f'If it is needed, add it to [columns] in clinic.toml: "{heading}" = "{nearest or "our column"}" '
            '(earclinic preview lists ours); otherwise = "ignore".'
        )
        what = "This heading is not known; the column was not read."
        if heading in why:
            what = f"The content does not fit the heading: {why[heading]}. The column was not read."
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
