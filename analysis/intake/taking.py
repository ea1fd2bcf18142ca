"""Taking a clinic's exports in: every row kept or set aside with a reason."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any

import narwhals as nw
import pandas as pd
import polars as pl

from analysis.intake.bookings import contradictions, ears_and_bookings, judged
from analysis.intake.cleaning import cleaned
from analysis.intake.clock_changes import zone_of
from analysis.intake.conflicts import conflicts_found
from analysis.intake.duplicates import ROWS_A_FILE, repeats_told, with_repeats
from analysis.intake.engines import Engine, engine_for
from analysis.intake.exports import Export, attendance_logged, evidence_logged, open_exports
from analysis.intake.headers import own_columns
from analysis.intake.joining import JOINED, with_visits_joined
from analysis.intake.lookups import Frame
from analysis.intake.passes import MOST_PASSES
from analysis.intake.patients import how_patients_are_told_apart, with_patients
from analysis.intake.privacy import no_name_of
from analysis.intake.record import intake_record
from analysis.intake.row_columns import ALWAYS_CARRIED, PASS, VISIT_TEXTS, columns_of_kind, facts_told
from analysis.intake.rules import LATEST, REASONS, with_reason
from analysis.intake.set_aside import ASIDE_COLUMNS, aside_table
from analysis.intake.shapes import minutes_differ_by_ear, only_ear_and_visit_columns, with_minutes_by_ear
from analysis.intake.tally import Tally
from analysis.intake.typed_tables import ear_table, visit_table
from analysis.intake.understanding import CODED_KINDS, coded_as
from analysis.intake.visit_moments import DAY_SECONDS
from analysis.intake.visit_names import shared_numbers, with_visit_id
from analysis.intake.words import check_words
from analysis.problems import DataProblem
from analysis.schema import EAR_ROWS, SET_ASIDE, VISITS, typed_frame
from analysis.settings import Settings


@dataclass(frozen=True, eq=False)
class Intake:
    """What was taken in.

    Attributes
    ----------
    tables : dict
        ``visits``, ``ears`` and ``set_aside`` of ``schema`` as lazy Polars frames.
    record : dict
        What was read, understood, not understood and set aside; see ``record``.
    engine : Engine
        Holds what the tables are read from.
    """

    tables: dict[str, pl.LazyFrame]
    record: dict[str, Any]
    engine: Engine

    @property
    def in_turn(self) -> bool:
        """Tell whether the rows were too many to be held at once."""
        return self.record["rows_in"] > self.engine.rows_at_once

    @cached_property
    def visits(self) -> pd.DataFrame:
        """One row a booking, as the suite's pandas frame."""
        return typed_frame(VISITS, self.tables["visits"].collect().to_pandas())

    @cached_property
    def ears(self) -> pd.DataFrame:
        """One row an ear at a visit, as the suite's pandas frame."""
        return typed_frame(EAR_ROWS, self.tables["ears"].collect().to_pandas())

    @cached_property
    def set_aside(self) -> pd.DataFrame:
        """One row for each row of the exports that could not be used, as the suite's pandas frame."""
        return typed_frame(SET_ASIDE, self.tables["set_aside"].collect().to_pandas())


def take_in(
    paths: Sequence[Path],
    settings: Settings,
    key: bytes,
    *,
    latest: dt.datetime = LATEST,
    progress: Callable[[str], None] | None = None,
) -> Intake:
    """Take exports in.

    A file that cannot be used is named in ``record["problems"]`` and the others
    are taken in. Every row of the others is kept or set aside, which is checked
    on every run. The exports are only read.

    Parameters
    ----------
    paths : sequence of Path
        The exports, in any order.
    settings : Settings
    key : bytes
        The clinic's secret for pseudonyms.
    latest : datetime, optional
        Rows dated after it are set aside; without it only impossible years are.
    progress : callable, optional
        Told the name of each step as it begins.

    Returns
    -------
    Intake
        Visits sorted by the start of the slot, then by visit; the same files
        give the same tables, whatever their order.

    Raises
    ------
    DataProblem
        If the settings name a column, word or code that does not exist, or none of the files can be used.
    """
    say = progress or (lambda _: None)
    check_settings(settings)
    exports, problems = _open_all(sorted(paths, key=lambda path: path.name), settings, say)
    with engine_for(settings, sum(export.text.row_count for export in exports)) as engine:
        say("cleaning")
        parts, counted = _cleaned_parts(exports, key, engine)
        shapes = frozenset(export.shape for export in exports)
        rows = with_reason(with_visits_joined(_in_order(parts, engine), shapes), latest=latest)
        say("finding duplicates")
        kept, tally = _without_repeats(rows, exports, _stretches(rows, counted, engine), engine)
        say("making visits and ears")
        visits, ears = _bookings(kept, exports, tally, settings, engine)
    set_aside = aside_table(exports, tally)
    record = intake_record(exports, problems, visits, ears, tally)
    record["to_mend"] = [*_dates_ahead(set_aside), *record["to_mend"]]
    return Intake({"visits": visits, "ears": ears, "set_aside": set_aside.lazy()}, record, engine)


def _cleaned_parts(exports: list[Export], key: bytes, engine: Engine) -> tuple[list[tuple[str, Any]], int]:
    """Clean the rows of every file, so many at once as the engine takes."""
    spelling = _tidy_spelling(exports)
    facts = facts_told([*ALWAYS_CARRIED, *(column for export in exports for column in export.text.texts)])
    parts, counted = [], 0
    for number, export in enumerate(exports):
        rows = _chain_rows(export, key)
        counted += len(rows)
        for place in range(0, max(len(rows), 1), engine.rows_at_once):
            frame = engine.frame(rows.slice(place, engine.rows_at_once))
            part = cleaned(frame, export.understood, export.text.texts, spelling, facts)
            if len(exports) > 1 or len(rows) > engine.rows_at_once:  # else it is used once, further down
                part = engine.kept(part, f"cleaned-{number}-{place}")
            parts.append((export.table.file, part))
        export.text.forget_rows()
    return parts, counted


def _chain_rows(export: Export, key: bytes) -> pl.DataFrame:
    """Give the rows of one export, with what is known of the file and the patients' pseudonyms."""
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
    for column in VISIT_TEXTS:
        counts: Counter[str] = Counter()
        for export in exports:
            counts.update({text: rows for text, (rows, _) in export.text.counts([column]).get(column, {}).items()})
        best: dict[str, str] = {}
        for text, _ in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
            best.setdefault(_alike(text), text)
        spelling[column] = {
            text: " ".join(best[_alike(text)].split()) for text in counts if not no_name_of(column, text)
        }
    return spelling


def _in_order(parts: list[tuple[str, Any]], engine: Engine) -> Any:
    """Put the files together, the one whose log ends last at the end, and give each row its place."""
    ends: dict[str, float] = {file: 0.0 for file, _ in parts[:1]}
    for file, part in parts if len(parts) > 1 else ():
        end = engine.table(part.select(nw.col("slot_start").max()))["slot_start"].item()
        ends[file] = max(ends.get(file, float("-inf")), float("-inf") if end is None else end)
    order = {file: place for place, file in enumerate(sorted(ends, key=lambda file: (ends[file], file)))}
    numbered = [part.with_columns(nw.lit(order[file], dtype=nw.Int64).alias("file_order")) for file, part in parts]
    rows = nw.concat(numbered, how="vertical")
    return rows.with_columns((nw.col("source_row") + nw.col("file_order") * ROWS_A_FILE).alias("place"))


def _stretches(rows: Any, counted: int, engine: Engine) -> list[nw.Expr | None]:
    """Cut the log into stretches of days of so many rows as the engine takes; no visit spans two."""
    start = nw.col("slot_start")
    if counted <= engine.rows_at_once:
        return [None]
    days = engine.table(
        rows.select((start / DAY_SECONDS).floor().alias("day")).group_by("day").agg(nw.len().alias("rows"))
    )
    days = (
        days.drop_nulls().sort("day").with_columns((pl.col("rows").cum_sum() // engine.rows_at_once).alias("stretch"))
    )
    firsts = [day * DAY_SECONDS for day in days.group_by("stretch", maintain_order=True).first()["day"]][1:]
    if not firsts:
        return [None]
    between = [(start >= low) & (start < high) for low, high in pairwise(firsts)]
    return [start.is_null() | (start < firsts[0]), *between, start >= firsts[-1]]


def _without_repeats(
    rows: Any, exports: list[Export], stretches: list[nw.Expr | None], engine: Engine
) -> tuple[list[Any], Tally]:
    """Find what repeats, stretch by stretch; give the rows kept and the count of all others."""
    kept_parts, tally = [], Tally({export.table.file: export.text.row_count for export in exports})
    for number, stretch in enumerate(stretches):
        rows_here = engine.kept(rows if stretch is None else rows.filter(stretch), f"rows-{number}")
        fit, unfit = _parted(rows_here)
        told = engine.kept(repeats_told(fit), f"told-{number}")
        kept, again = _parted(with_repeats(fit, told))
        tally.rows_aside(
            engine.table(unfit.with_columns(nw.lit(None, dtype=nw.Float64).alias("kept_place")).select(*ASIDE_COLUMNS))
        )
        aside = engine.table(again.select(*ASIDE_COLUMNS))
        tally.rows_aside(aside)
        if (aside["reason"] != "exact_duplicate").any():
            tally.conflicts += conflicts_found(kept, again, engine.table)
        tally.rows_kept(engine.table(_kept_counts(kept)))
        kept_parts.append(kept)
    tally.check_nothing_lost()
    return kept_parts, tally


def _kept_counts(kept: Frame) -> Frame:
    """Count the rows kept of each file, and those without a time of day."""
    without = nw.when(nw.col("has_clock")).then(nw.lit(0)).otherwise(nw.lit(1))
    joined = nw.when(nw.coalesce(nw.col("joined"), nw.lit("")) == JOINED).then(nw.lit(1)).otherwise(nw.lit(0))
    return (
        kept.with_columns(without.alias("without_clock"), joined.alias("rows_joined"))
        .group_by("source_file", "file_order")
        .agg(nw.len().alias("rows"), nw.col("without_clock").sum(), nw.col("rows_joined").sum())
    )


def _ears_of_passes(named: Frame) -> Frame:
    """Count the ears that the passes kept of each file are of."""
    passes = named.filter(nw.col("shape") == PASS).with_columns(nw.coalesce(nw.col("ear"), nw.lit("")).alias("__ear"))
    ears = passes.group_by("source_file", "visit_id", "__ear").agg(nw.len().alias("__passes"))
    too_many = nw.when(nw.col("__passes") > MOST_PASSES).then(nw.lit(1)).otherwise(nw.lit(0))
    return (
        ears.with_columns(too_many.alias("too_many"))
        .group_by("source_file")
        .agg(nw.len().alias("ears"), nw.col("too_many").sum())
    )


def _bookings(
    kept: list[Any], exports: list[Export], tally: Tally, settings: Settings, engine: Engine
) -> tuple[pl.LazyFrame, pl.LazyFrame]:
    """Make visits and ears of the rows kept."""
    shapes = frozenset(export.shape for export in exports)
    several_systems = len({export.system for export in exports}) > 1
    by_ear = minutes_differ_by_ear(kept, shapes, engine.table)
    shared = shared_numbers(kept, engine.table)
    visit_parts, ear_parts = [], []
    for number, rows in enumerate(kept):
        named = engine.kept(
            with_visit_id(
                with_minutes_by_ear(rows, by_ear, shapes), shared, engine.table, several_systems=several_systems
            ).pipe(only_ear_and_visit_columns),
            f"named-{number}",
        )
        if PASS in shapes:
            tally.passes(engine.table(_ears_of_passes(named)))
        ears, visits = ears_and_bookings(named, shapes)
        visit_parts.append(
            engine.kept(visits, f"visits-{number}").with_columns(nw.lit(number, dtype=nw.Int64).alias("__stretch"))
        )
        ear_parts.append(engine.kept(ears, f"ears-{number}"))
        tally.contradiction(engine.table(contradictions(visit_parts[-1])))
    visits = judged(nw.concat(visit_parts, how="vertical"), settings)
    if len(visit_parts) > 1:
        visits = engine.kept(visits, "judged")
    visit_tables, ear_tables = [], []
    for number, ears in enumerate(ear_parts):
        mine = visit_table(engine.table(visits.filter(nw.col("__stretch") == number)))
        visit_tables.append(engine.typed(mine, f"visit-table-{number}"))
        ear_tables.append(engine.typed(ear_table(engine.table(ears), mine), f"ear-table-{number}"))
    return pl.concat(visit_tables), pl.concat(ear_tables)


def _parted(rows: Frame) -> tuple[Frame, Frame]:
    """Part the rows that are fit from those with a reason against them; what a step left behind goes."""
    rows = rows.select(*(column for column in rows.collect_schema().names() if not column.startswith("__")))
    no_reason = nw.col("reason").is_null()
    return rows.filter(no_reason), rows.filter(~no_reason)


def _alike(text: str) -> str:
    """Bring a name to the form in which spellings are compared."""
    return " ".join(text.casefold().split())


def _dates_ahead(set_aside: pl.DataFrame) -> list[str]:
    """Write one message for each row dated further ahead than anybody books."""
    why, remedy = REASONS["ahead_date"].why, REASONS["ahead_date"].remedy
    return [
        str(
            DataProblem(
                f"{why[:1].upper()}{why[1:]}; the row is set aside.",
                remedy,
                file=file,
                row=int(row),
                column=column,
                value=value,
            )
        )
        for file, row, reason, column, value, _ in set_aside.iter_rows()
        if reason == why
    ]


def check_settings(settings: Settings) -> None:
    """Refuse settings that name a column, a word's column or a code that does not exist."""
    own_columns(settings)
    zone_of(settings.export.time_zone)
    check_words(settings, {coded_as(column) for column in columns_of_kind(*CODED_KINDS)})


def _open_all(
    paths: Sequence[Path], settings: Settings, say: Callable[[str], None]
) -> tuple[list[Export], list[DataProblem]]:
    """Open every file that can be opened, and collect what is wrong with the others."""
    twice = [name for name, count in Counter(path.name for path in paths).items() if count > 1]
    if twice:
        raise DataProblem("Two files have the same name.", "Give one of them another name.", file=twice[0])
    exports, problems = [], []
    for path in paths:
        say(f"reading {path.name}")
        try:
            exports.extend(open_exports(path, settings))
        except DataProblem as problem:
            problems.append(problem)
    if not exports and len(problems) == 1:
        raise problems[0]
    if not exports:
        raise DataProblem(
            "None of the exports can be used." if problems else "There are no exports.",
            " ".join(map(str, problems)) or "Name at least one file.",
        )
    return exports, problems
