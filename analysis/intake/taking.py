"""Taking a clinic's exports in: every row kept or set aside with a reason."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import narwhals as nw
import pandas as pd
import polars as pl

from analysis.intake.bookings import contradictions, ears_and_bookings
from analysis.intake.clock_changes import zone_of
from analysis.intake.conflicts import DIFFERENT_ROWS, conflicts_found, conflicts_of_several_rows
from analysis.intake.duplicates import repeats_told, with_repeats
from analysis.intake.engines import Engine, engine_for
from analysis.intake.exports import Export, open_exports
from analysis.intake.headers import own_columns
from analysis.intake.joining import JOINED
from analysis.intake.lookups import Frame
from analysis.intake.minutes import habits_of, with_minutes
from analysis.intake.passes import MOST_PASSES
from analysis.intake.record import intake_record
from analysis.intake.row_columns import BOOKING, PASS, VISIT, VISIT_CODES, VISIT_TEXTS, columns_of_kind
from analysis.intake.rules import LATEST, REASONS, with_reason, without_impossible_order
from analysis.intake.set_aside import ASIDE_COLUMNS, aside_table
from analysis.intake.shapes import minutes_differ_by_ear, only_what_visits_need, with_minutes_by_ear
from analysis.intake.stretches import chain_rows, rows_in_stretches
from analysis.intake.tally import Tally
from analysis.intake.typed_tables import IN_ORDER, ear_table, visit_table
from analysis.intake.understanding import CODED_KINDS, coded_as
from analysis.intake.visit_names import shared_numbers, with_visit_id
from analysis.intake.words import check_words
from analysis.problems import DataProblem
from analysis.schema import EAR_ROWS, SET_ASIDE, VISITS, typed_frame
from analysis.settings import Settings, intake_marks


@dataclass(frozen=True, eq=False)
class Intake:
    """What was taken in.

    Attributes
    ----------
    parts : dict
        ``visits``, ``ears`` and ``set_aside`` of ``schema`` as lazy Polars frames, one after the
        other; an ear and its visit stand at the same place.
    record : dict
        What was read, understood, not understood and set aside; see ``record``.
    engine : Engine
        Holds what the tables are read from.
    """

    parts: dict[str, list[pl.LazyFrame]]
    record: dict[str, Any]
    engine: Engine

    @cached_property
    def tables(self) -> dict[str, pl.LazyFrame]:
        """Each table as one lazy Polars frame."""
        return {name: pl.concat(parts) for name, parts in self.parts.items()}

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
    with ThreadPoolExecutor(1) as behind:  # patients of one file are hashed while the next is read
        hashed: list[Future[pl.DataFrame]] = []
        files = sorted(paths, key=lambda path: path.name)
        exports, problems = _open_all(
            files, settings, say, lambda one: hashed.append(behind.submit(chain_rows, one, key))
        )
        rows = [each.result() for each in hashed]
    with engine_for(settings, sum(export.text.row_count for export in exports)) as engine:
        say("cleaning and finding repeats")
        kept, tally = _without_repeats(exports, rows_in_stretches(exports, rows, engine), latest, engine)
        say("making visits and ears")
        visits, ears = _bookings(kept, exports, tally, settings, engine)
    set_aside = aside_table(exports, tally)
    record = intake_record(exports, problems, tally)
    record["settings"] = intake_marks(settings)
    record["to_mend"] = [*_dates_ahead(set_aside), *record["to_mend"]]
    return Intake({"visits": visits, "ears": ears, "set_aside": [set_aside.lazy()]}, record, engine)


def _without_repeats(
    exports: list[Export], stretches: Iterator[Any], latest: dt.datetime, engine: Engine
) -> tuple[list[Any], Tally]:
    """Find what cannot be used and what repeats, stretch by stretch; give the rows kept and the count of all others."""
    kept_parts, tally = [], Tally({export.table.file: export.text.row_count for export in exports})
    several = _told_in_several_rows(exports)
    for number, stretch in enumerate(stretches):
        rows = engine.kept(with_reason(stretch, latest=latest))
        kept, aside = _parted(with_repeats(rows, engine.kept(repeats_told(rows))))
        told_aside = engine.table(aside.select(*ASIDE_COLUMNS))
        tally.rows_aside(told_aside)
        if told_aside["reason"].is_in(DIFFERENT_ROWS).any():
            tally.conflicts += conflicts_found(kept, aside, engine.table)
        if several:
            tally.conflicts += conflicts_of_several_rows(kept, several, engine.table)
        tally.rows_kept(engine.table(_kept_counts(kept)))
        kept_parts.append(engine.put_by(only_what_visits_need(kept), f"kept-{number}"))
    tally.check_nothing_lost()
    return kept_parts, tally


def _told_in_several_rows(exports: list[Export]) -> list[str]:
    """List the facts of a visit that rows of one ear or one pass may contradict each other in."""
    told = {column for export in exports if export.shape not in (BOOKING, VISIT) for column in export.headings.columns}
    return [fact for fact in (*VISIT_TEXTS, *VISIT_CODES, "fee", "softening_days", "slot_minutes") if fact in told]


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
) -> tuple[list[pl.LazyFrame], list[pl.LazyFrame]]:
    """Make visits and ears of the rows kept."""
    shapes = frozenset(export.shape for export in exports)
    several_systems = len({export.system for export in exports}) > 1
    by_ear = minutes_differ_by_ear(kept, shapes, engine.table)
    shared = shared_numbers(kept, engine.table)
    tally.shared_numbers = len(shared)
    visit_parts, ear_tables = [], []
    for number, rows in enumerate(kept):
        rows = with_minutes_by_ear(rows, by_ear, shapes)
        named = engine.kept(with_visit_id(rows, shared, engine.table, several_systems=several_systems))
        if PASS in shapes:
            tally.passes(engine.table(_ears_of_passes(named)))
        ears, bookings = ears_and_bookings(named, shapes)
        bookings = engine.put_by(without_impossible_order(bookings), f"visits-{number}")
        tally.contradiction(engine.table(contradictions(bookings)))
        order = engine.table(bookings.select("visit_id", "attendance", *IN_ORDER))
        finished = ear_table(engine.table(ears), order)
        tally.finished_ears(finished)
        ear_tables.append(engine.typed(finished, f"ear-table-{number}"))
        visit_parts.append(bookings)
    habits = habits_of(visit_parts, settings, engine.table)
    visit_tables = []
    for number, part in enumerate(visit_parts):
        finished = visit_table(engine.table(with_minutes(part, habits, settings)))
        tally.finished_visits(finished)
        visit_tables.append(engine.typed(finished, f"visit-table-{number}"))
    return visit_tables, ear_tables


def _parted(rows: Frame) -> tuple[Frame, Frame]:
    """Part the rows that are fit from those with a reason against them; what a step left behind goes."""
    rows = rows.select(*(column for column in rows.collect_schema().names() if not column.startswith("__")))
    no_reason = nw.col("reason").is_null()
    return rows.filter(no_reason), rows.filter(~no_reason)


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
    paths: Sequence[Path], settings: Settings, say: Callable[[str], None], opened: Callable[[Export], None]
) -> tuple[list[Export], list[DataProblem]]:
    """Open every file that can be opened, telling of each as it is, and collect what is wrong with the others."""
    twice = [name for name, count in Counter(path.name for path in paths).items() if count > 1]
    if twice:
        raise DataProblem("Two files have the same name.", "Give one of them another name.", file=twice[0])
    exports, problems = [], []
    for path in paths:
        say(f"reading {path.name}")
        try:
            found = open_exports(path, settings)
        except DataProblem as problem:
            problems.append(problem)
            continue
        exports.extend(found)
        for export in found:
            opened(export)
    if not exports and len(problems) == 1:
        raise problems[0]
    if not exports:
        raise DataProblem(
            "None of the exports can be used." if problems else "There are no exports.",
            " ".join(map(str, problems)) or "Name at least one file.",
        )
    return exports, problems
