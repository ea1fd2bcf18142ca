"""One export, from its file to rows of text with known columns and what their texts mean."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from analysis.intake import privacy
from analysis.intake.both_ears import Sided, split_sides
from analysis.intake.dated import FEWEST_HEADINGS, MAY_HOLD_A_DATE, in_universal_time, why_undated
from analysis.intake.headers import Heading, Headings, known_columns_of, match_headings, own_columns
from analysis.intake.heading_content import sample_of
from analysis.intake.patients import full_names
from analysis.intake.plain_csv import PlainTable, numbered_plain, scan_plain_csv
from analysis.intake.read_table import ReadTable, Recognise
from analysis.intake.readers import read_tables
from analysis.intake.row_columns import BOOKING, EAR, EAR_FACTS, EARS, EVIDENCE, PASS, VISIT, columns_of_kind, kind_of
from analysis.intake.text_rows import EMPTY, NOT_NUMBERED, TextRows, number_texts
from analysis.intake.understanding import (
    CLOCK_PART,
    CODED_KINDS,
    DAY_PART,
    MOMENT_KINDS,
    MOMENT_PARTS,
    NUMBER_KINDS,
    Understanding,
    understand,
)
from analysis.intake.vocabulary import heading_entries
from analysis.intake.words import NOTHING, SURE, read_words
from analysis.problems import DataProblem
from analysis.settings import Settings

DATES = frozenset(("date", "slot_start"))
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
AS_STAFF_BY_MISTAKE = 2
"""Rows; a patient's name that stands for site or practitioner more often is that of staff who are patients too."""
FOUND_BEFOREHAND = ("grade", "percent_blocked", "impacted", "debris", "canal")
"""Facts of an ear that its passes share."""
FEWEST_PASSES, SHARE_OF_PASSES, SHARE_OF_SEVERAL = 2, 0.1, 0.8
"""Ears told in passes: how many, of all ears, and of those in several rows; rows entered again by mistake are fewer."""
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
        What a row is: see ``row_columns.SHAPES_TOLD``.
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
    """Read the first table of one export; see ``open_exports``."""
    return open_exports(path, settings)[0]


def open_exports(path: Path, settings: Settings, *, undated: bool = False) -> list[Export]:
    """Read every table of one export and work out what each holds; nothing is kept.

    A file holds several tables where sheets of a workbook belong together, or
    where the headings change on the way down.

    Parameters
    ----------
    path : Path
    settings : Settings
    undated : bool, optional
        True opens a table without a date too, and names that in its warnings: to be shown, not to be taken in.

    Returns
    -------
    list of Export
        At least one. A table after the first that cannot be used is named in the
        warnings of the first.

    Raises
    ------
    DataProblem
        If the file cannot be read, is no table, or has neither a column of dates
        nor visit numbers with facts of ears.
    """
    own = own_columns(settings)

    def recognise(row: Sequence[str]) -> tuple[int, bool]:
        columns = known_columns_of(row, own)
        return len(columns), bool(MAY_HOLD_A_DATE & set(columns))

    plain = scan_plain_csv(path, recognise)
    if plain is not None:
        export = _opened(plain, recognise, settings, undated=undated)
        if export is not None:
            return [export]
    opened: list[Export] = []
    problems: list[DataProblem] = []
    for table in read_tables(path, recognise, sheet=settings.export.sheet):
        try:
            opened.extend(filter(None, [_opened(table, recognise, settings, undated=undated)]))
        except DataProblem as problem:
            problems.append(problem)
    if not opened:
        raise problems[0]
    opened[0].table.warnings.extend(map(str, problems))
    return opened


def _opened(
    table: ReadTable | PlainTable, recognise: Recognise, settings: Settings, *, undated: bool = False
) -> Export | None:
    """Work out what one table holds; None where one that was left where it lies turns out not to be plain."""
    headings = match_headings(table.headings, settings, sample_of(table.some_rows))
    undated_problem = why_undated(table, headings)
    if undated_problem and not (undated and len(headings.used) >= FEWEST_HEADINGS):
        raise undated_problem
    if isinstance(table, PlainTable):
        text = numbered_plain(table, _places(headings), _told(headings), recognise)
        if text is None:
            return None
    else:
        text = number_texts(table, _places(headings), _told(headings))
    names = privacy.name_words(name for column in NAME_COLUMNS for name in text.texts.get(column, []))
    text, dropped_text = _without_identifying_texts(text, headings)
    shape = shape_of(text.rows, headings)
    if shape in (VISIT, EARS):
        text = _ears_apart(text, settings)
    understood = understand(text.counts(UNDERSTOOD_COLUMNS), settings)
    if undated_problem:
        table.warnings.append(str(undated_problem))
    if not settings.export.time_zone and in_universal_time(understood):
        table.warnings.append(
            str(
                DataProblem(
                    "All times are written in universal time (Z) and were taken as written.",
                    'Set time_zone in [export], such as "Europe/London"; without it summer visits stand an hour off.',
                    file=table.file,
                )
            )
        )
    system = hashlib.blake2b("+".join(sorted(headings.columns)).encode(), digest_size=6).hexdigest()
    return Export(table, headings, text, understood, shape, system, dropped_text, names)


def _places(headings: Headings) -> dict[str, int]:
    """Say in which place of a row each known column stands."""
    return dict(zip(headings.columns, headings.used, strict=True))


def _told(headings: Headings) -> dict[str, list[int]]:
    """Say which places tell of the visit, and which of an ear."""
    return {
        f"{level}_cells": [place for place in headings.used if _tells_of(headings.all[place], level)]
        for level in ("visit", "ear")
    }


def shape_of(rows: pl.DataFrame, headings: Headings) -> str:
    """Say what a row of one table is.

    A row is an instrument pass where passes are numbered, or where many ears of
    a visit stand in several rows that differ in their method and in nothing that
    was found beforehand.

    Parameters
    ----------
    rows : polars.DataFrame
        With the numbers of texts.
    headings : Headings

    Returns
    -------
    str
        A key of ``row_columns.SHAPES_TOLD``.
    """
    columns = set(headings.columns)
    facts = {headings.all[place].base for place in headings.used} & set(EAR_FACTS)
    if "methods" in facts and ("pass_number" in columns or ("ear" in columns and _rows_are_passes(rows, columns))):
        return PASS
    if "ear" in columns:
        return EAR
    if not facts:
        return BOOKING
    return VISIT if MAY_HOLD_A_DATE & columns else EARS


def _rows_are_passes(rows: pl.DataFrame, columns: set[str]) -> bool:
    """Tell whether many ears stand in rows that differ in their method alone."""
    keys = [*_columns_that_name_a_visit(columns), "ear"]
    if len(keys) == 1 or not {*keys, "methods"} <= set(rows.columns):
        return False
    found_before = [fact for fact in FOUND_BEFOREHAND if fact in rows.columns]
    filled = [pl.col(key).is_not_null() if key in NOT_NUMBERED else pl.col(key) != EMPTY for key in (*keys, "methods")]
    told = [pl.col(fact).replace(EMPTY, None) for fact in found_before]
    ears = (
        rows.lazy()
        .filter(*filled)
        .unique("content")
        .group_by(keys)
        .agg(
            (pl.len() > 1).alias("several"),
            (pl.len() == pl.col("methods").n_unique()).alias("differ"),
            *(each.drop_nulls().n_unique().le(1).alias(fact) for fact, each in zip(found_before, told, strict=True)),
        )
    )
    passes = pl.all_horizontal("several", "differ", *found_before)
    several, alike, ears_in_all = (
        ears.select(pl.col("several").sum(), passes.sum().alias("passes"), pl.len()).collect().row(0)
    )
    return alike >= FEWEST_PASSES and alike >= SHARE_OF_PASSES * ears_in_all and alike >= SHARE_OF_SEVERAL * several


def _columns_that_name_a_visit(columns: set[str]) -> list[str]:
    """List the columns by which rows of one visit are known: its number, or the patient and the day."""
    if "visit_id" in columns:
        return ["visit_id"]
    patient = [column for column in (*NAME_COLUMNS, "patient_number", "birth_date") if column in columns]
    return [*patient, *sorted(DATES & columns)] if patient else []


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
    return _without_patients_as_staff(text), dropped


def _without_patients_as_staff(text: TextRows) -> TextRows:
    """Empty the few cells of sites and practitioners that hold the whole name of a patient of the file."""
    counts = text.counts(("site", "practitioner"))
    rare = {
        column: [each for each, (rows, _) in found.items() if rows <= AS_STAFF_BY_MISTAKE and " " in each.strip()]
        for column, found in counts.items()
    }
    if not any(rare.values()):
        return text
    patients = {privacy.identity(name) for name in full_names(text)}
    patients = {each for each in patients if " " in each.strip("|").strip()}
    for column, texts in rare.items():
        wrong = {each for each in texts if privacy.identity(each) in patients}
        if wrong:
            text = text.filled_from(
                column, column, ["" if each in wrong else each for each in text.texts[column]], over=True
            )
    return text


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
        text = text.filled_from(
            f"{fact}_{side}", fact, [getattr(sided[each], side) if each in sided else "" for each in texts]
        )
    return text.filled_from(fact, fact, ["" if each in sided else each for each in texts], over=True)


def attendance_logged(headings: Headings) -> bool:
    """Tell whether the file says which bookings were kept."""
    return "attendance" in headings.columns


def evidence_logged(headings: Headings) -> bool:
    """Tell whether the file has any column that shows that a patient came."""
    bases = {headings.all[place].base for place in headings.used}
    return bool(bases & {*EVIDENCE, *EAR_FACTS})


__all__ = ["Export", "attendance_logged", "evidence_logged", "open_export", "open_exports"]
