"""What an export holds, before anything is kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from analysis.intake.amounts import waits_for_decimal_comma
from analysis.intake.exports import KEPT_TEXT_COLUMNS, Export, open_exports
from analysis.intake.headers import CLINIC, IGNORE, Heading
from analysis.intake.heading_suggestions import births
from analysis.intake.patients import how_patients_are_told_apart
from analysis.intake.privacy import HIDDEN, no_name_of, safe_to_show, what_it_identifies
from analysis.intake.row_columns import SHAPES_TOLD, VISIT_TEXTS
from analysis.intake.strange_words import is_long_ago, safe_headings, safe_word
from analysis.intake.taking import check_settings
from analysis.intake.times import read_clock, read_date
from analysis.intake.understanding import coded_as
from analysis.intake.vocabulary import heading_entries, says_nothing
from analysis.intake.words import UNKNOWN, Reading
from analysis.settings import Settings

EXAMPLES = 3
A_DATE = "(a date long ago)"
HOW_SURE = {
    "sure": "sure",
    "guessed": "guessed: a typing error was forgiven",
    CLINIC: "as clinic.toml says",
    "": "not understood",
}
DAY_MONTH = {
    "certain": "day before month is certain: some dates cannot be read otherwise",
    "doubtful": "day and month could be swapped in every date: day_first in [export] decides",
    "contradicted": "some dates can only be read the other way: look at day_first in [export]",
}


@dataclass(frozen=True)
class ColumnSeen:
    """One column of a file: what it is taken for, how sure, and a few values.

    ``examples`` are masked where the column identifies people, and empty where
    it is not understood but looks as if it did. ``masked`` says that the heading
    itself is not shown whole, ``doubled`` that another column is read in its place.
    """

    heading: str
    taken_for: str
    how_sure: str
    nearest: str
    identifying: bool
    examples: tuple[str, ...]
    masked: bool = False
    doubled: bool = False


@dataclass(frozen=True)
class WordSeen:
    """One distinct text of a coded column: its code, how often it stands there, how sure.

    ``confidence`` is 1 for a known word, less for a forgiven typing error, 0 for
    what is not coded. ``masked`` says that the text may hold a name and is not shown whole.
    """

    column: str
    text: str
    code: str
    count: int
    certainty: str
    nearest: tuple[str, str] | None
    confidence: float = 1.0
    masked: bool = False


@dataclass(frozen=True)
class Preview:
    """What an export holds; nothing of it is kept.

    Attributes
    ----------
    file : str
    facts : dict
        Kind, encoding, delimiter, sheet, rows, shape, date style.
    columns : tuple of ColumnSeen
    words : tuple of WordSeen
        Commonest first within each column.
    unreadable : tuple of (heading, text, count)
        Dates, times and numbers that could not be read.
    warnings : tuple of str
    """

    file: str
    facts: dict[str, Any]
    columns: tuple[ColumnSeen, ...]
    words: tuple[WordSeen, ...]
    unreadable: tuple[tuple[str, str, int], ...]
    warnings: tuple[str, ...]

    @property
    def unknown_columns(self) -> tuple[ColumnSeen, ...]:
        """Columns that are not understood, or not read because another is taken for the same."""
        return tuple(each for each in self.columns if not each.taken_for or each.doubled)

    @property
    def unknown_words(self) -> tuple[WordSeen, ...]:
        """Words that are not understood."""
        return tuple(each for each in self.words if each.certainty == UNKNOWN)


def preview(path: Path, settings: Settings) -> Preview:
    """Say what the first table of an export holds; see ``previews``."""
    return previews(path, settings)[0]


def previews(path: Path, settings: Settings) -> list[Preview]:
    """Say what an export holds, without keeping anything and without a key.

    Parameters
    ----------
    path : Path
    settings : Settings

    Returns
    -------
    list of Preview
        One a table: several where sheets of a workbook belong together. That a table has no date stands in its warnings.

    Raises
    ------
    DataProblem
        If the file cannot be read, is no table, or the settings name what does not exist.
    """
    check_settings(settings)
    return [_seen(export) for export in open_exports(Path(path), settings, undated=True)]


def _seen(export: Export) -> Preview:
    """Say what one table holds."""
    return Preview(
        file=export.table.file,
        facts=_facts(export),
        columns=tuple(_column(export, place, heading) for place, heading in enumerate(export.headings.all)),
        words=tuple(_words(export)),
        unreadable=tuple(_unreadable(export)),
        warnings=tuple(export.table.warnings),
    )


def _facts(export: Export) -> dict[str, Any]:
    """Collect what kind of file it is."""
    facts, understood = export.table.facts, export.understood
    styles = ", ".join(f"{style} ({count:,} rows)" for style, count in sorted(understood.date_styles.items()))
    return {
        "kind": facts["kind"],
        "encoding": facts.get("encoding", ""),
        "delimiter": facts.get("delimiter", ""),
        "sheet": facts.get("sheet", ""),
        "sheets": ", ".join(facts.get("sheets", [])),
        "sheets not read": ", ".join(facts.get("sheets_not_read", [])),
        "rows": f"{facts['rows']:,}",
        "headings in row": facts["heading_row"],
        "shape": SHAPES_TOLD[export.shape],
        "dates": styles,
        "day and month": DAY_MONTH.get(understood.day_month_order(), ""),
        "clock": "12 hours without am or pm; 1:00 to 6:59 is taken for the afternoon"
        if understood.twelve_hours
        else "",
        "decimal commas": "numbers such as 45,50 are not read; decimal_comma in [export] decides"
        if any(
            value is None and waits_for_decimal_comma(text)
            for read in understood.numbers.values()
            for text, value in read.items()
        )
        else "",
        "patients told apart by": how_patients_are_told_apart(export.headings.columns),
    }


def _column(export: Export, place: int, heading: Heading) -> ColumnSeen:
    """Tell of one column."""
    values = sorted(export.table.cells.select(pl.col(f"c{place}").drop_nulls().unique()).collect().to_series())
    looks = _looks_like(values) if not heading.column or heading.text in export.dropped_text else ""
    identifying = heading.identifying or bool(looks)
    doubled = place in export.headings.doubled
    how_sure = (
        (f"by its content: {heading.why}" if heading.why and heading.column else HOW_SURE[heading.certainty])
        + (f"; {heading.why}" if heading.why and not heading.column else "")
        + (f"; {heading.suggests}" if heading.suggests else "")
        + (f"; looks like {looks}" if looks and not heading.why else "")
        + ("; not read, another column is taken for this" if doubled else _how_many_fit(export, heading))
    )
    if identifying:
        examples: tuple[str, ...] = (HIDDEN,) if values else ()
    else:
        shows = safe_to_show if heading.base in KEPT_TEXT_COLUMNS else _safe_cell if heading.column else _strange_cell
        examples = tuple(
            HIDDEN if heading.base in VISIT_TEXTS and no_name_of(heading.base, value) else shows(value, export.names)
            for value in values[:EXAMPLES]
        )
    taken_for = heading.column + (f" ({_label(heading)})" if heading.column and _label(heading) else "")
    shown = safe_headings(export.table.headings, export.names)[place]
    masked = shown != heading.text
    return ColumnSeen(shown, taken_for, how_sure, heading.nearest, identifying, examples, masked, doubled)


def _looks_like(values: list[str]) -> str:
    """Say what a column's values look like where they look identifying; dates with dots are no phone numbers."""
    if births(values):
        return "dates of birth"
    return what_it_identifies(value for value in values if not read_date(value).day)


def _safe_cell(text: str, names: frozenset[str]) -> str:
    """Mask a cell; one that is a date or a time and nothing else holds nothing to mask."""
    return text if read_date(text).day or read_clock(text).clock else safe_word(text, names)


def _strange_cell(text: str, names: frozenset[str]) -> str:
    """Mask a cell of a column that nobody knows: an old date may be of birth."""
    return A_DATE if is_long_ago(text) else _safe_cell(text, names)


def _how_many_fit(export: Export, heading: Heading) -> str:
    """Say how many of a column's different words, dates or numbers can be read, where not all can."""
    understood = export.understood
    words = understood.words.get(heading.column, {}).values()
    numbers = understood.numbers.get(heading.column, {}).items()
    moments = understood.moments.get(heading.column, {}).values()
    fits = [
        *(each.certainty != UNKNOWN for each in words),
        *(value is not None or says_nothing(text) for text, value in numbers),
        *(bool(each.day or each.clock) for each in moments),
    ]
    return "" if all(fits) else f"; {sum(fits):,} of {len(fits):,} different values understood"


def _label(heading: Heading) -> str:
    """Give a column's name in plain words, where that says more."""
    name = heading_entries().get(heading.base, {}).get("names", [""])[0]
    return "" if name.replace(" ", "_") == heading.base or heading.column == IGNORE else name


def _words(export: Export) -> list[WordSeen]:
    """Tell of every distinct text of the coded columns, both ears together."""
    seen: dict[tuple[str, str], tuple[int, Reading]] = {}
    for column, readings in export.understood.words.items():
        for text, reading in readings.items():
            count = export.understood.counts[column][text][0]
            before = seen.get((coded_as(column), text), (0, reading))[0]
            seen[coded_as(column), text] = (before + count, reading)
    told = []
    for (column, text), (count, reading) in seen.items():
        shown = safe_word(text, export.names, times=count)
        told.append(
            WordSeen(
                column,
                shown,
                _code(reading),
                count,
                reading.certainty,
                reading.nearest,
                reading.confidence,
                masked=shown != text,
            )
        )
    return sorted(told, key=lambda word: (word.column, -word.count, word.text))


def _code(reading: Reading) -> str:
    """Say which code a reading is."""
    return reading.code or ("?" if reading.certainty == UNKNOWN else "nothing recorded")


def _unreadable(export: Export) -> list[tuple[str, str, int]]:
    """Collect the dates, times and numbers that cannot be read."""
    counts = export.understood.counts
    found = []
    kinds: list[tuple[dict[str, dict[str, Any]], Callable[[Any], bool]]] = [
        (export.understood.numbers, lambda value: value is not None),
        (export.understood.moments, lambda each: bool(each.day or each.clock)),
    ]
    for columns, could in kinds:
        for column, read in columns.items():
            if column == "birth_date":
                continue
            for text, value in read.items():
                if not could(value) and not (column in export.understood.numbers and says_nothing(text)):
                    count = counts[column][text][0]
                    found.append((export.heading_of(column), safe_word(text, export.names, times=count), count))
    return sorted(found, key=lambda each: (each[0], -each[2], each[1]))
