"""The rows of all exports, cleaned, in stretches of days: so many at once as the engine takes; no visit spans two."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

import narwhals as nw
import polars as pl

from analysis.intake.cleaning import cleaned
from analysis.intake.duplicates import ROWS_A_FILE
from analysis.intake.engines import Engine
from analysis.intake.exports import Export, attendance_logged, evidence_logged
from analysis.intake.joining import with_visits_joined
from analysis.intake.lookups import Frame
from analysis.intake.patients import how_patients_are_told_apart, with_patients
from analysis.intake.privacy import lone_person, name_words, no_name_of
from analysis.intake.row_columns import ALWAYS_CARRIED, EAR, EARS, PASS, VISIT_TEXTS, facts_told
from analysis.intake.visit_moments import DAY_SECONDS

START = "slot_start"
FEWEST_OF_A_SITE, RARE = 5, 0.05
"""Rows, and the share of all, below which an address or a name with a title is no site but a patient's (our choice)."""


def rows_in_stretches(exports: list[Export], rows: list[pl.DataFrame], engine: Engine) -> Iterator[Frame]:
    """Give the cleaned rows of all exports, a stretch of the log at a time.

    Rows of ears that take their day from a visit elsewhere are joined to it
    first. Where there are none and the rows are too many to be held at once, they
    are parted by their day before they are cleaned.

    Parameters
    ----------
    exports : list of Export
        Their numbered rows are let go of.
    rows : list of polars.DataFrame
        Of each export, from ``chain_rows``.
    engine : Engine

    Yields
    ------
    narwhals frame
        From ``with_visits_joined``, with ``place``.
    """
    shapes = frozenset(export.shape for export in exports)
    files = _Files(exports, rows, engine)
    if files.count <= engine.rows_at_once:
        yield with_visits_joined(files.in_order(files.whole()), shapes)
    elif {EARS, EAR, PASS} & shapes:
        joined = with_visits_joined(files.in_order(files.put_by()), shapes)
        for stretch in _between(_first_days(_days_of(joined, engine), engine.rows_at_once)):
            yield joined.filter(stretch)
    else:
        for parts in files.by_day():
            yield with_visits_joined(files.in_order(parts), shapes)


class _Files:
    """The numbered rows of all exports, and how those of each are cleaned."""

    def __init__(self, exports: list[Export], rows: list[pl.DataFrame], engine: Engine) -> None:
        self.exports, self.rows, self.engine = exports, rows, engine
        self.spelling = _tidy_spelling(exports)
        self.facts = facts_told([*ALWAYS_CARRIED, *(column for export in exports for column in export.text.texts)])
        for export in exports:
            export.text.forget_rows()
        self.count = sum(map(len, self.rows))
        self.order: dict[str, int] = {}

    def clean(self, export: Export, rows: pl.DataFrame) -> Any:
        """Clean some rows of one export."""
        frame = self.engine.frame(rows)
        return cleaned(frame, export.understood, export.text.texts, self.spelling, self.facts)

    def whole(self) -> list[tuple[str, Any]]:
        """Give the rows of each file, cleaned."""
        parts = [self.clean(export, rows) for export, rows in zip(self.exports, self.rows, strict=True)]
        if len(parts) > 1:  # else they are used once, further down
            parts = [self.engine.kept(part) for part in parts]
            ends = [self.engine.table(part.select(nw.col(START).max()))[START].item() for part in parts]
            self._put_in_order(ends)
        return list(zip(_names(self.exports), parts, strict=True))

    def put_by(self) -> list[tuple[str, Any]]:
        """Give the rows of each file, cleaned and put by so many at once as the engine takes."""
        parts, ends = [], []
        for number, (export, rows) in enumerate(zip(self.exports, self.rows, strict=True)):
            at_once = self.engine.rows_at_once
            pieces = [
                self.engine.put_by(self.clean(export, rows.slice(place, at_once)), f"cleaned-{number}-{place}")
                for place in range(0, max(len(rows), 1), at_once)
            ]
            latest = [self.engine.table(piece.select(nw.col(START).max()))[START].item() for piece in pieces]
            ends.append(max((end for end in latest if end is not None), default=None))
            parts += [(export.table.file, piece) for piece in pieces]
        self.rows = []
        self._put_in_order(ends)
        return parts

    def by_day(self) -> Iterator[list[tuple[str, Any]]]:
        """Give the rows of each stretch of days, by file, cleaned."""
        starts = [
            self.engine.table(self.clean(export, rows).select(START))[START]
            for export, rows in zip(self.exports, self.rows, strict=True)
        ]
        self._put_in_order([start.max() for start in starts])  # type: ignore[misc]  # a column of numbers
        days = [(start / DAY_SECONDS).floor().alias("day") for start in starts]
        firsts = _first_days(pl.concat(days).value_counts(name="rows"), self.engine.rows_at_once)
        stretches = [pl.Series(firsts).search_sorted(day, side="right") for day in days]
        for number in range(len(firsts) + 1):
            parts = []
            for export, rows, of_row in zip(self.exports, self.rows, stretches, strict=True):
                here = rows.filter(of_row == number)
                if len(here):
                    parts.append((export.table.file, self.clean(export, here)))
            if parts:
                yield parts

    def _put_in_order(self, ends: Sequence[float | None]) -> None:
        """Put the file whose log ends last at the end."""
        latest: dict[str, float] = {}
        for file, end in zip(_names(self.exports), ends, strict=True):
            latest[file] = max(latest.get(file, float("-inf")), float("-inf") if end is None else end)
        self.order = {file: place for place, file in enumerate(sorted(latest, key=lambda file: (latest[file], file)))}

    def in_order(self, parts: list[tuple[str, Any]]) -> Any:
        """Put parts of the files together, and give each row its place."""
        numbered = [
            part.with_columns(nw.lit(self.order.get(file, 0), dtype=nw.Int64).alias("file_order"))
            for file, part in parts
        ]
        rows = nw.concat(numbered, how="vertical")
        return rows.with_columns((nw.col("source_row") + nw.col("file_order") * ROWS_A_FILE).alias("place"))


def _names(exports: Sequence[Export]) -> list[str]:
    """List the file of each export; the sheets of a workbook are one file."""
    return [export.table.file for export in exports]


def _days_of(rows: Any, engine: Engine) -> pl.DataFrame:
    """Count the rows of each day."""
    day = (nw.col(START) / DAY_SECONDS).floor().alias("day")
    return engine.table(rows.select(day).group_by("day").agg(nw.len().alias("rows")))


def _first_days(days: pl.DataFrame, rows_at_once: int) -> list[float]:
    """Give the day with which each stretch after the first begins."""
    days = days.drop_nulls().sort("day").with_columns(stretch=pl.col("rows").cum_sum() // rows_at_once)
    return days.group_by("stretch", maintain_order=True).first()["day"].to_list()[1:]


def _between(firsts: Sequence[float]) -> list[nw.Expr]:
    """Tell the rows of each stretch; those without a day are of the first."""
    start = nw.col(START)
    if not firsts:
        return [start.is_null() | ~start.is_null()]
    seconds = [day * DAY_SECONDS for day in firsts]
    between = [(start >= low) & (start < high) for low, high in pairwise(seconds)]
    return [start.is_null() | (start < seconds[0]), *between, start >= seconds[-1]]


def chain_rows(export: Export, key: bytes) -> pl.DataFrame:
    """Give the rows of one export, with what is known of the file and the patients' pseudonyms.

    Parameters
    ----------
    export : Export
    key : bytes
        The clinic's secret for pseudonyms.

    Returns
    -------
    polars.DataFrame
        What ``cleaning.cleaned`` begins with; what identifies a patient is gone.
    """
    told_apart_by = how_patients_are_told_apart(export.headings.columns)
    births = {text: each.day for text, each in export.understood.moments.get("birth_date", {}).items() if each.day}
    rows = with_patients(export.text, told_apart_by, births, key)
    number = "visit_id" if "visit_id" in rows.columns else None
    return rows.with_columns(
        pl.lit(export.table.file).alias("source_file"),
        pl.lit(export.system).alias("system"),
        pl.lit(export.shape).alias("shape"),
        pl.lit(attendance_logged(export.headings)).alias("attendance_logged"),
        pl.lit(evidence_logged(export.headings)).alias("evidence_logged"),
        (pl.col(number) if number else pl.lit(None, pl.String)).alias("visit_number"),
        pl.lit(0, pl.Int64).alias("file_order"),
    ).drop("visit_id", strict=False)


def _tidy_spelling(exports: list[Export]) -> dict[str, dict[str, str]]:
    """Give names of sites and practitioners that differ only in case or spaces their commonest spelling."""
    spelling = {}
    patients = frozenset[str]().union(*(export.names for export in exports))
    for column in VISIT_TEXTS:
        counts: Counter[str] = Counter()
        for export in exports:
            counts.update({text: rows for text, (rows, _) in export.text.counts([column]).get(column, {}).items()})
        best: dict[str, str] = {}
        rows: Counter[str] = Counter()
        for text, many in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
            best.setdefault(_alike(text), text)
            rows[_alike(text)] += many
        fewest = min(FEWEST_OF_A_SITE, RARE * rows.total())
        homes = {each for each in rows if column == "site" and rows[each] < fewest and _is_a_home(best[each], patients)}
        spelling[column] = {
            text: " ".join(best[_alike(text)].split())
            for text in counts
            if not no_name_of(column, text) and _alike(text) not in homes
        }
    return spelling


def _is_a_home(text: str, patients: frozenset[str]) -> bool:
    """Say whether what stands as a site in few rows is a home visit's address, or the patient."""
    named = name_words([text])
    return lone_person(text) or (bool(named) and named <= patients)


def _alike(text: str) -> str:
    """Bring a name to the form in which spellings are compared."""
    return " ".join(text.casefold().split())
