"""One export, from its file to rows of text with known columns and what their texts mean."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import narwhals as nw
import pandas as pd

from analysis.intake import privacy, times
from analysis.intake.both_ears import Sided, split_sides
from analysis.intake.cleaning import Frame, translated
from analysis.intake.headers import Heading, Headings, known_columns_of, match_headings, own_columns
from analysis.intake.heading_content import sample_of
from analysis.intake.read_table import ReadTable
from analysis.intake.readers import read_tables
from analysis.intake.row_columns import BOOKING, EAR, EAR_FACTS, EARS, EVIDENCE, PASS, VISIT, kind_of, text_columns
from analysis.intake.understanding import Counts, Understanding, understand
from analysis.intake.vocabulary import heading_entries
from analysis.intake.words import NOTHING, SURE, read_words
from analysis.problems import DataProblem
from analysis.settings import Settings

DATES = frozenset(("date", "slot_start"))
MAY_HOLD_A_DATE = frozenset(("date", "slot_start", "started_at"))
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
    frame : pandas.DataFrame
        Text columns under their known names, every one of ``text_columns``.
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

    table: ReadTable
    headings: Headings
    frame: pd.DataFrame
    understood: Understanding
    shape: str
    system: str
    dropped_text: dict[str, str]
    names: frozenset[str]

    def heading_of(self, column: str) -> str:
        """Give the heading under which a column stands in the file."""
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


def open_exports(path: Path, settings: Settings) -> list[Export]:
    """Read every table of one export and work out what each holds; nothing is kept.

    A file holds several tables where sheets of a workbook belong together, or
    where the headings change on the way down.

    Parameters
    ----------
    path : Path
    settings : Settings

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

    opened: list[Export] = []
    problems: list[DataProblem] = []
    for table in read_tables(path, recognise, sheet=settings.export.sheet):
        try:
            opened.append(_opened(table, settings))
        except DataProblem as problem:
            problems.append(problem)
    if not opened:
        raise problems[0]
    opened[0].table.warnings.extend(map(str, problems))
    return opened


def _opened(table: ReadTable, settings: Settings) -> Export:
    """Work out what one table holds."""
    headings = match_headings(table.headings, settings, sample_of(table.rows))
    _need_a_date(table, headings)
    frame = _text_frame(table, headings)
    names = privacy.name_words(text for column in NAME_COLUMNS for text in frame[column].dropna().unique())
    frame, dropped_text = _without_identifying_texts(frame, headings)
    shape = shape_of(nw.from_native(frame), headings)
    if shape in (VISIT, EARS):
        frame = _ears_apart(nw.from_native(frame), _filled_columns(frame), settings).to_native()
    understood = understand(distinct_counts(nw.from_native(frame), _filled_columns(frame)), settings)
    system = hashlib.blake2b("+".join(sorted(headings.columns)).encode(), digest_size=6).hexdigest()
    return Export(table, headings, frame, understood, shape, system, dropped_text, names)


def shape_of(frame: Frame, headings: Headings) -> str:
    """Say what a row of one table is.

    A row is an instrument pass where passes are numbered, or where many ears of
    a visit stand in several rows that differ in their method and in nothing that
    was found beforehand.

    Parameters
    ----------
    frame : narwhals frame
        Columns of text.
    headings : Headings

    Returns
    -------
    str
        A key of ``row_columns.SHAPES_TOLD``.
    """
    columns = set(headings.columns)
    facts = {headings.all[place].base for place in headings.used} & set(EAR_FACTS)
    if "methods" in facts and ("pass_number" in columns or ("ear" in columns and _rows_are_passes(frame, columns))):
        return PASS
    if "ear" in columns:
        return EAR
    if not facts:
        return BOOKING
    return VISIT if MAY_HOLD_A_DATE & columns else EARS


def _rows_are_passes(frame: Frame, columns: set[str]) -> bool:
    """Tell whether many ears stand in rows that differ in their method alone."""
    keys = [*_columns_that_name_a_visit(columns), "ear"]
    if len(keys) == 1:
        return False
    rows = frame.lazy().filter(
        ~nw.col("methods").is_null(), ~nw.any_horizontal(*(nw.col(k).is_null() for k in keys), ignore_nulls=False)
    )
    ears = (
        rows.unique("content")
        .group_by(keys)
        .agg(
            nw.len().alias("rows"),
            nw.col("methods").n_unique().alias("methods"),
            *(nw.col(fact).min().alias(f"{fact}_from") for fact in FOUND_BEFOREHAND),
            *(nw.col(fact).max().alias(f"{fact}_to") for fact in FOUND_BEFOREHAND),
        )
    )
    same = [
        nw.col(f"{fact}_from").is_null() | (nw.col(f"{fact}_from") == nw.col(f"{fact}_to")) for fact in FOUND_BEFOREHAND
    ]
    found = ears.select(
        (nw.col("rows") > 1).alias("several"),
        (
            (nw.col("rows") > 1) & (nw.col("rows") == nw.col("methods")) & nw.all_horizontal(*same, ignore_nulls=False)
        ).alias("passes"),
    ).collect()
    several, passes = (int(found[name].sum() or 0) for name in ("several", "passes"))
    return passes >= FEWEST_PASSES and passes >= SHARE_OF_PASSES * len(found) and passes >= SHARE_OF_SEVERAL * several


def _columns_that_name_a_visit(columns: set[str]) -> list[str]:
    """List the columns by which rows of one visit are known: its number, or the patient and the day."""
    if "visit_id" in columns:
        return ["visit_id"]
    patient = [column for column in (*NAME_COLUMNS, "patient_number", "birth_date") if column in columns]
    return [*patient, *sorted(DATES & columns)] if patient else []


def _need_a_date(table: ReadTable, headings: Headings) -> None:
    """Refuse a table that neither dates its rows nor names the visits whose ears it tells of."""
    columns = set(headings.columns)
    if MAY_HOLD_A_DATE & columns:
        return
    tells_of_ears = any(headings.all[place].base in EAR_FACTS for place in headings.used)
    if "visit_id" in columns and tells_of_ears and not _an_unknown_column_holds_dates(table, headings):
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


def _an_unknown_column_holds_dates(table: ReadTable, headings: Headings) -> bool:
    """Tell whether a column that is not understood may hold the dates that are missed."""
    for place, heading in enumerate(headings.all):
        texts = {row[place] for row in table.rows if row[place]} if not heading.column else set()
        if texts and sum(times.read_date(text).day is not None for text in texts) > len(texts) / 2:
            return True
    return False


def _text_frame(table: ReadTable, headings: Headings) -> pd.DataFrame:
    """Put the used columns under their known names, the others out, and where each row stood beside."""
    columns = dict(zip(headings.columns, headings.used, strict=True))
    empty = [None] * len(table.rows)
    filled = {
        name: [row[columns[name]] or None for row in table.rows] if name in columns else empty
        for name in text_columns()
    }
    frame = pd.DataFrame(filled, dtype="str")
    frame["source_file"] = pd.Series([table.file] * len(table.rows), dtype="str")
    frame["source_row"] = pd.Series(table.source_rows, dtype="int64")
    for level in ("visit", "ear"):
        places = [place for place in headings.used if _tells_of(headings.all[place], level)]
        counts = [sum(1 for place in places if row[place]) for row in table.rows]
        frame[f"{level}_cells"] = pd.Series(counts, dtype="int64")
    frame["content"] = pd.Series(table.contents(), dtype="str")
    frame["too_long"] = pd.Series([number in table.too_long for number in table.source_rows], dtype="bool")
    return frame


def _tells_of(heading: Heading, level: str) -> bool:
    """Tell whether a column holds a fact of the visit, or of an ear."""
    return heading_entries()[heading.base]["level"] == level and not heading.identifying and heading.column != "ear"


def _without_identifying_texts(frame: pd.DataFrame, headings: Headings) -> tuple[pd.DataFrame, dict[str, str]]:
    """Empty the columns kept as text whose values look as if they told who a patient is."""
    dropped = {}
    for column in KEPT_TEXT_COLUMNS:
        distinct = frame[column].dropna().unique().tolist()
        looks = privacy.what_it_identifies(distinct)
        staff_like = looks in MAY_BE_STAFF_OR_SITES[column]
        if (
            staff_like
            and column != "visit_id"
            and len(distinct) >= FEWEST_DIFFERENT
            and len(distinct) > LARGEST_SHARE * len(frame)
        ):
            looks = "more different values than the rows would have"
        elif staff_like:
            looks = ""
        if looks:
            heading = next(headings.all[place].text for place in headings.used if headings.all[place].column == column)
            dropped[heading] = looks
            frame = frame.assign(**{column: pd.Series([None] * len(frame), dtype="str", index=frame.index)})
    return _without_patients_as_staff(frame), dropped


def _without_patients_as_staff(frame: pd.DataFrame) -> pd.DataFrame:
    """Empty the few cells of sites and practitioners that hold the whole name of a patient of the file."""
    full_names = frame["patient_name"].fillna(frame["first_name"].fillna("") + " " + frame["surname"].fillna(""))
    patients = {privacy.identity(text) for text in full_names.unique()}
    patients = {each for each in patients if " " in each.strip("|").strip()}
    for column in ("site", "practitioner"):
        counts = frame[column].value_counts()
        rare = [text for text in counts.index[counts <= AS_STAFF_BY_MISTAKE] if privacy.identity(text) in patients]
        if rare:
            frame = frame.assign(**{column: frame[column].where(~frame[column].isin(rare))})
    return frame


def _ears_apart(frame: Frame, filled: Sequence[str], settings: Settings) -> Frame:
    """Cut cells that speak of both ears, where a row is a visit."""
    for fact in (each for each in EAR_FACTS if each in filled):
        texts = distinct_texts(frame, fact)
        known = read_words(fact, texts) if kind_of(fact) not in ("minutes", "percent") and texts else {}
        sided = {
            text: found
            for text in texts
            if (text not in known or known[text].certainty not in (SURE, NOTHING))
            and text not in settings.words.get(fact, {})
            and not (found := split_sides(text, may_trail=fact != "outcome")).rest
        }
        if sided:
            frame = _put_apart(frame, fact, sided)
    return frame


def _put_apart(frame: Frame, fact: str, sided: dict[str, Sided]) -> Frame:
    """Move what a cell says of each ear into that ear's column, unless something stands there."""
    outputs = {"__left": nw.String, "__right": nw.String, "__sided": nw.String}
    table = {text: (each.left or None, each.right or None, "yes") for text, each in sided.items()}
    frame = translated(frame, fact, outputs, table)
    return frame.with_columns(
        nw.coalesce(nw.col(f"{fact}_left"), nw.col("__left")).alias(f"{fact}_left"),
        nw.coalesce(nw.col(f"{fact}_right"), nw.col("__right")).alias(f"{fact}_right"),
        nw.when(nw.col("__sided").is_null()).then(nw.col(fact)).alias(fact),
    ).drop(*outputs)


def distinct_texts(frame: Frame, column: str) -> list[str]:
    """List a column's different texts, in order."""
    found = frame.lazy().select(column).filter(~nw.col(column).is_null()).unique(column).collect()
    return sorted(found[column].to_list())


def _filled_columns(frame: pd.DataFrame) -> list[str]:
    """List the columns of text in which anything stands."""
    return [column for column in text_columns() if frame[column].notna().any()]


def distinct_counts(frame: Frame, columns: Sequence[str]) -> Counts:
    """Count the different texts of some columns, with the first row in which each stands."""
    counts = {}
    for column in columns:
        grouped = (
            frame.lazy()
            .select(column, "source_row")
            .filter(~nw.col(column).is_null())
            .group_by(column)
            .agg(nw.len().alias("rows"), nw.col("source_row").min().alias("first"))
            .collect()
        )
        found = zip(*(grouped[name].to_list() for name in (column, "rows", "first")), strict=True)
        counts[column] = {text: (int(rows), int(first)) for text, rows, first in sorted(found)}
    return counts


def attendance_logged(headings: Headings) -> bool:
    """Tell whether the file says which bookings were kept."""
    return "attendance" in headings.columns


def evidence_logged(headings: Headings) -> bool:
    """Tell whether the file has any column that shows that a patient came."""
    bases = {headings.all[place].base for place in headings.used}
    return bool(bases & {*EVIDENCE, *EAR_FACTS})


__all__ = [
    "Export",
    "attendance_logged",
    "distinct_counts",
    "distinct_texts",
    "evidence_logged",
    "open_export",
    "open_exports",
]
