"""One export, from its file to rows of text with known columns and what their texts mean."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.intake import privacy
from analysis.intake.both_ears import Sided, split_sides
from analysis.intake.headers import Heading, Headings, known_columns_of, match_headings, own_columns
from analysis.intake.plain_csv import PlainTable, numbered_plain, scan_plain_csv
from analysis.intake.read_table import ReadTable, Recognise
from analysis.intake.readers import read_export
from analysis.intake.row_columns import EAR_FACTS, EVIDENCE, columns_of_kind, kind_of
from analysis.intake.text_rows import TextRows, number_texts
from analysis.intake.understanding import CLOCK_PART, CODED_KINDS, DAY_PART, MOMENT_KINDS, MOMENT_PARTS, NUMBER_KINDS, Understanding, understand
from analysis.intake.vocabulary import heading_entries
from analysis.intake.words import NOTHING, SURE, read_words
from analysis.problems import DataProblem
from analysis.settings import Settings

DATES = frozenset(("date", "slot_start"))
MAY_HOLD_A_DATE = frozenset(("date", "slot_start", "started_at"))
UNDERSTOOD_COLUMNS = (
    *columns_of_kind(*CODED_KINDS, *NUMBER_KINDS),
    *(f"{column}{part}" for column in columns_of_kind(*MOMENT_KINDS) for part in MOMENT_PARTS),
)
KEPT_TEXT_COLUMNS = ("visit_id", "site", "practitioner")
NAME_COLUMNS = ("patient_name", "first_name", "surname")
MAY_BE_STAFF_OR_SITES = {
    "visit_id": ("", "national numbers"),
    "site": ("", "names", "street addresses"),
    "practitioner": ("", "names"),
}
"""What the values of a column kept as text may look like without being patients."""
FEWEST_DIFFERENT, LARGEST_SHARE = 8, 0.3
"""More different values than this share of the rows are no sites or practitioners."""


@dataclass(frozen=True)
class Export:
    """One export that could be read.

    Attributes
    ----------
    table : ReadTable
    headings : Headings
    text : TextRows
        Numbered texts under the columns' known names; patients stand in it as pseudonyms.
    understood : Understanding
    shape : str
        ``visit`` where a row is a visit, ``ear`` where it is an ear.
    system : str
        A mark of the set of known columns: files with the same set come from the same records system.
    dropped_text : dict
        Heading of a site, practitioner or visit column that looked identifying, and as what.
    names : frozenset of str
        Words of patients' names, for masking; never written anywhere.
    """

    table: ReadTable | PlainTable
    headings: Headings
    text: TextRows
    understood: Understanding
    shape: str
    system: str
    dropped_text: dict[str, str]
    names: frozenset[str]

    def heading_of(self, column: str) -> str:
        """Give the heading under which a column stands in the file."""
        column = column.removesuffix(DAY_PART).removesuffix(CLOCK_PART)
        return next(
            (
                self.headings.all[place].text
                for place in self.headings.used
                if self.headings.all[place].column == column
            ),
            column,
        )


def open_export(path: Path, settings: Settings) -> Export:
    """Read one export and work out what it holds; nothing is kept.

    Parameters
    ----------
    path : Path
    settings : Settings

    Returns
    -------
    Export

    Raises
    ------
    DataProblem
        If the file cannot be read, is no table, or has no column of dates.
    """
    own = own_columns(settings)

    def recognise(row: Sequence[str]) -> tuple[int, bool]:
        columns = known_columns_of(row, own)
        return len(columns), bool(MAY_HOLD_A_DATE & set(columns))

    table, headings, text = _numbered(path, recognise, settings)
    names = privacy.name_words(name for column in NAME_COLUMNS for name in text.texts.get(column, []))
    text, dropped_text = _without_identifying_texts(text, headings)
    shape = "ear" if "ear" in headings.columns else "visit"
    if shape == "visit":
        text = _ears_apart(text, settings)
    understood = understand(text.counts(UNDERSTOOD_COLUMNS), settings)
    system = hashlib.blake2b("+".join(sorted(headings.columns)).encode(), digest_size=6).hexdigest()
    return Export(table, headings, text, understood, shape, system, dropped_text, names)


def _numbered(
    path: Path, recognise: Recognise, settings: Settings
) -> tuple[ReadTable | PlainTable, Headings, TextRows]:
    """Read a file and number its texts: where it lies if it is large and plain, else row by row."""
    plain = scan_plain_csv(path, recognise)
    if plain is not None:
        headings = match_headings(plain.headings, settings)
        _need_a_date(plain, headings)
        text = numbered_plain(plain, _places(headings), _told(headings))
        if text is not None:
            return plain, headings, text
    table = read_export(path, recognise, sheet=settings.export.sheet)
    headings = match_headings(table.headings, settings)
    _need_a_date(table, headings)
    return table, headings, number_texts(table, _places(headings), _told(headings))


def _places(headings: Headings) -> dict[str, int]:
    """Say in which place of a row each known column stands."""
    return dict(zip(headings.columns, headings.used, strict=True))


def _told(headings: Headings) -> dict[str, list[int]]:
    """Say which places tell of the visit, and which of an ear."""
    return {
        f"{level}_cells": [place for place in headings.used if _tells_of(headings.all[place], level)]
        for level in ("visit", "ear")
    }


def _need_a_date(table: ReadTable | PlainTable, headings: Headings) -> None:
    """Refuse a table without any column of dates: nothing of it could be kept."""
    if MAY_HOLD_A_DATE & set(headings.columns):
        return
    if len(headings.used) < 2:  # the row may be data, so nothing of it is shown
        raise DataProblem(
            "The headings are not understood.",
            "See that the first row holds headings, and name them in [columns] of clinic.toml.",
            file=table.file,
        )
    shown = ", ".join(f'"{privacy.safe_to_show(heading.text)}"' for heading in headings.all if not heading.column)[:200]
    raise DataProblem(
        "No column holds the date of the visit.",
        f'Export the date too, or name its heading in [columns]: "Your heading" = "date". Not understood: {shown or "none"}.',
        file=table.file,
    )


def _tells_of(heading: Heading, level: str) -> bool:
    """Tell whether a column holds a fact of the visit, or of an ear."""
    return heading_entries()[heading.base]["level"] == level and not heading.identifying and heading.column != "ear"


def _without_identifying_texts(text: TextRows, headings: Headings) -> tuple[TextRows, dict[str, str]]:
    """Empty the columns kept as text whose values look as if they told who a patient is."""
    dropped = {}
    for column in KEPT_TEXT_COLUMNS:
        distinct = text.distinct(column)
        looks = privacy.what_it_identifies(distinct)
        staff_like = looks in MAY_BE_STAFF_OR_SITES[column]
        if (
            staff_like
            and column != "visit_id"
            and len(distinct) >= FEWEST_DIFFERENT
            and len(distinct) > LARGEST_SHARE * len(text.rows)
        ):
            looks = "more different values than the rows would have"
        elif staff_like:
            looks = ""
        if looks:
            heading = next(headings.all[place].text for place in headings.used if headings.all[place].column == column)
            dropped[heading] = looks
            text = text.without(column)
    return text, dropped


def _ears_apart(text: TextRows, settings: Settings) -> TextRows:
    """Cut cells that speak of both ears, where a row is a visit."""
    for fact in (each for each in EAR_FACTS if each in text.texts):
        texts = text.texts[fact]
        known = read_words(fact, texts) if kind_of(fact) not in ("minutes", "percent") and texts else {}
        sided = {
            each: found
            for each in texts
            if (each not in known or known[each].certainty not in (SURE, NOTHING))
            and each not in settings.words.get(fact, {})
            and not (found := split_sides(each, may_trail=fact != "outcome")).rest
        }
        if sided:
            text = _put_apart(text, fact, sided)
    return text


def _put_apart(text: TextRows, fact: str, sided: dict[str, Sided]) -> TextRows:
    """Move what a cell says of each ear into that ear's column, unless something stands there."""
    texts = text.texts[fact]
    for side in ("left", "right"):
        text = text.filled_from(f"{fact}_{side}", fact, [getattr(sided[each], side) if each in sided else "" for each in texts])
    return text.filled_from(fact, fact, ["" if each in sided else each for each in texts], over=True)


def attendance_logged(headings: Headings) -> bool:
    """Tell whether the file says which bookings were kept."""
    return "attendance" in headings.columns


def evidence_logged(headings: Headings) -> bool:
    """Tell whether the file has any column that shows that a patient came."""
    bases = {headings.all[place].base for place in headings.used}
    return bool(bases & {*EVIDENCE, *EAR_FACTS})


__all__ = ["Export", "attendance_logged", "evidence_logged", "open_export"]
