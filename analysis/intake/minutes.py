"""Minutes in the chair, and how they are known."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import narwhals as nw
import polars as pl

from analysis.intake.clock_changes import clock_change_places
from analysis.intake.lookups import Frame, Lookup, beside, looked_up, translated
from analysis.intake.visit_moments import DAY_SECONDS
from analysis.settings import Settings

FEWEST_TO_JUDGE = 20
"""Visits a practitioner needs before habits of keeping time are judged."""
FEWEST_EXACT = 10
TIMES_AS_OFTEN = 3.0
"""How many times as often as its neighbours the exact slot length must come to count as filled in."""
ALMOST_ALL = 0.9
ROUND_TO = 5
NEAR_MINUTES = 3
"""How many minutes to either side of the slot's length count as its neighbours."""
SAME_MINUTE = 0.01
FAVOURED = 2.0
NEEDED = (
    "system", "practitioner", "attendance", "slot_start", "slot_minutes", "started_at", "ended_at", "minutes", "has_clock", "clock_shift",
)  # fmt: skip
GROUP, BETWEEN = ("system", "__who"), "\x1f"
SIGNS = ("__over", "__after_slot", "__over_from_slot")
"""Minutes over the slot's: of all visits, of the visit's end, and of visits that start on the slot."""


def habits_of(
    parts: Sequence[Any], settings: Settings, table: Callable[[Any], pl.DataFrame]
) -> Mapping[tuple[str, str], Sequence[str | None]]:
    """Find how each practitioner keeps time in each records system, over the whole log.

    Minutes look filled in from the slot where they are exactly the slot's, or the
    end is exactly the slot's end, or both start and end are the slot's, and with
    this practitioner (in this records system, of at least 20 timed visits) that
    comes at least 10 times and at least 3 times as often as its neighbours: the
    lengths 1 to 3 minutes shorter and longer, or with one who favours multiples of
    five those 5 minutes shorter and longer; for the last sign among visits that
    start on the slot. Times are rounded where at least 9 in 10 starts and ends
    that are not filled in (of minutes, where there are no times) are multiples
    of 5. The rule is our own; it has no published source.

    Parameters
    ----------
    parts : sequence of narwhals frame
        Visits with the attendance decided, in stretches.
    settings : Settings
    table : callable
        Brings a frame into memory.

    Returns
    -------
    mapping
        System and practitioner to ``yes`` for each of ``SIGNS`` that is a habit, and for rounding.
    """
    parts = [part.select(*NEEDED) for part in parts]
    counted = _together([table(_signs_counted(_timed(part, settings))) for part in parts])
    habits = counted.select(*GROUP, *(_too_often(name).alias(name) for name in SIGNS))
    found = {row[:2]: [*map(_yes, row[2:]), None] for row in habits.iter_rows()}
    rounds = _together([table(_rounds_counted(_with_filled(_timed(part, settings), found))) for part in parts])
    share = pl.col("__round") / pl.col("__judged")
    rounded = (pl.col("__judged") >= FEWEST_TO_JUDGE) & (share >= ALMOST_ALL)
    for *group, rounds_it in rounds.select(*GROUP, rounded).iter_rows():
        found[tuple(group)][-1] = _yes(rounds_it)
    return found


def with_minutes(visits: Frame, habits: Mapping[tuple[str, str], Sequence[str | None]], settings: Settings) -> Frame:
    """Give the minutes of each attended visit and how they are known.

    Minutes are the time from start to end, or else what a column of minutes
    says. A booking that was not kept has neither minutes nor a word on them.
    Where start and end are written with their offset from universal time, the
    minutes are those that passed, whatever was done to the clocks between.

    - ``missing``: no end, no start, and no minutes.
    - ``implausible``: outside ``settings.visit_time``, or the end before the start;
      minutes from an impossible order are emptied, and so are those over the hour
      that clocks leave out or repeat in ``settings.export.time_zone``.
    - ``filled_from_slot``: one of ``SIGNS`` where that is the practitioner's habit. True
      visits that happen to fill the slot are lost with them, about one in three at most.
    - ``rounded``: where rounding is the practitioner's habit.
    - ``timed``: all others.

    Parameters
    ----------
    visits : narwhals frame
        With the attendance decided.
    habits : mapping
        From ``habits_of``.
    settings : Settings

    Returns
    -------
    narwhals frame
        With ``minutes`` and ``minutes_quality``.
    """
    return beside(
        visits,
        lambda rows: _with_quality(_with_filled(_timed(rows, settings), habits)),
        on="visit_id",
        needs=NEEDED,
        gives=("minutes", "minutes_quality"),
    )


def _timed(visits: Frame, settings: Settings) -> Frame:
    """Give what can be said of the minutes of each visit by itself."""
    return visits.pipe(_with_clock_change, settings).pipe(_with_known_minutes).pipe(_with_plausibility, settings)


def _together(counts: Sequence[pl.DataFrame]) -> pl.DataFrame:
    """Add up what was counted in the stretches of the log."""
    return pl.concat(counts, how="vertical_relaxed").group_by(GROUP).sum()


def _yes(holds: bool | None) -> str | None:
    """Say yes, or nothing."""
    return "yes" if holds else None


def _with_clock_change(visits: Frame, settings: Settings) -> Frame:
    """Mark the visits whose start and end touch the hour that clocks leave out or repeat, offsets unknown."""
    col = nw.col
    changes = clock_change_places(settings.export.time_zone)
    if not changes:
        return visits.with_columns(nw.lit(False).alias("__clocks_changed"))
    day = (col("started_at") / DAY_SECONDS).floor()
    known = (day >= 0) & (day <= max(changes))
    visits = visits.with_columns(nw.when(known).then(day).otherwise(nw.lit(-1.0)).cast(nw.Int32).alias("__start_day"))
    outputs = {"__gone": nw.Float64, "__back": nw.Float64}
    visits = looked_up(visits, [Lookup("__start_day", outputs, changes, max(changes) + 1)])
    begins, ends = (col(name) - day * DAY_SECONDS for name in ("started_at", "ended_at"))
    touches = (begins < col("__back")) & (ends >= col("__gone")) & col("clock_shift").is_null()
    return visits.with_columns(nw.when(touches).then(nw.lit(True)).otherwise(nw.lit(False)).alias("__clocks_changed"))


def _with_known_minutes(visits: Frame) -> Frame:
    """Take minutes from start and end, or from the column."""
    col = nw.col
    attended = nw.coalesce(col("attendance"), nw.lit("")) == "attended"
    span = (col("ended_at") - col("started_at")) / 60 - nw.coalesce(col("clock_shift"), nw.lit(0.0))
    visits = visits.with_columns(
        attended.alias("__attended"), span.alias("__span"), nw.coalesce(col("practitioner"), nw.lit("")).alias("__who")
    )
    known = nw.when(col("__attended")).then(nw.coalesce(col("__span"), col("minutes")))
    return visits.with_columns(known.alias("__minutes"))


def _with_plausibility(visits: Frame, settings: Settings) -> Frame:
    """Judge whether minutes can be true, and set the slot's end beside them."""
    bounds = settings.visit_time
    minutes = nw.col("__minutes")
    plausible = ~minutes.is_null() & (minutes >= bounds.shortest_minutes) & (minutes <= bounds.longest_minutes)
    plausible = plausible & ~nw.col("__clocks_changed")
    after_slot = (nw.col("ended_at") - nw.col("slot_start")) / 60 - nw.col("slot_minutes")
    return visits.with_columns(
        plausible.alias("__plausible"),
        nw.when(plausible).then(minutes - nw.col("slot_minutes")).alias("__over"),
        nw.when(plausible & nw.col("has_clock")).then(after_slot).alias("__after_slot"),
        nw.when(plausible & (nw.col("started_at") == nw.col("slot_start")))
        .then(minutes - nw.col("slot_minutes"))
        .alias("__over_from_slot"),
        nw.when(plausible).then(_is_round(minutes)).alias("__round_minutes"),
    )


def _is_round(minutes: nw.Expr) -> nw.Expr:
    """Say (1 or 0) whether minutes are a multiple of 5."""
    steps = minutes / ROUND_TO
    return nw.when((steps - steps.round()).abs() < 1e-6).then(nw.lit(1.0)).otherwise(nw.lit(0.0))


def _signs_counted(visits: Frame) -> Frame:
    """Count, for each practitioner, how often each sign falls exactly on the slot and how often beside it."""
    flags, names = [], []
    for name in SIGNS:
        off = nw.col(name).abs()
        counted = {
            "exact": off < SAME_MINUTE,
            "near": (off >= 1 - SAME_MINUTE) & (off <= NEAR_MINUTES + SAME_MINUTE),
            "five": (off - ROUND_TO).abs() < SAME_MINUTE,
            "beside_five": ((off - ROUND_TO).abs() - 1).abs() < SAME_MINUTE,
        }
        for kind, which in counted.items():
            names.append(f"{name}_{kind}")
            flags.append(nw.when(which).then(nw.lit(1.0)).otherwise(nw.lit(0.0)).alias(names[-1]))
    plausible = visits.filter(nw.col("__plausible")).with_columns(*flags)
    return plausible.group_by(*GROUP).agg(nw.len().alias("__visits"), *(nw.col(name).sum() for name in names))


def _too_often(name: str) -> pl.Expr:
    """Say whether a practitioner's exact slot lengths come far more often than their neighbours.

    With one who favours multiples of five (those five minutes off come more than
    twice as often as those beside them) the neighbours are the multiples of five.
    """
    exact = pl.col(f"{name}_exact")
    near, five = pl.col(f"{name}_near") / (2 * NEAR_MINUTES), pl.col(f"{name}_five") / 2
    favours_fives = five > FAVOURED * pl.col(f"{name}_beside_five") / 4
    neighbours = pl.when(favours_fives).then(five).otherwise(near)
    return (pl.col("__visits") >= FEWEST_TO_JUDGE) & (exact >= FEWEST_EXACT) & (exact >= TIMES_AS_OFTEN * neighbours)


def _with_filled(visits: Frame, habits: Mapping[tuple[str, str], Sequence[str | None]]) -> Frame:
    """Say which visits have their end filled in from the slot, and which are by one who rounds."""
    col, lit = nw.col, nw.lit
    visits = visits.with_columns(
        nw.concat_str("system", "__who", separator=BETWEEN, ignore_nulls=False).alias("__group")
    )
    outputs = dict.fromkeys((*(f"{name}_habit" for name in SIGNS), "__rounds"), nw.String)
    visits = translated(visits, "__group", outputs, {BETWEEN.join(group): habit for group, habit in habits.items()})
    filled = [
        nw.coalesce((col(name).abs() < SAME_MINUTE) & (col(f"{name}_habit") == "yes"), lit(False)) for name in SIGNS
    ]
    return visits.with_columns(
        (filled[0] | filled[1] | filled[2]).alias("__filled"),
        nw.coalesce(col("__rounds") == "yes", lit(False)).alias("__rounded"),
    )


def _rounds_counted(visits: Frame) -> Frame:
    """Count, for each practitioner, the times of visits not filled in, and those on a multiple of 5."""
    col, lit = nw.col, nw.lit
    started, ended = (
        nw.when(col(name) % (60 * ROUND_TO) == 0).then(lit(0.5)).otherwise(lit(0.0))
        for name in ("started_at", "ended_at")
    )
    visits = visits.filter(col("__plausible") & ~col("__filled")).with_columns(
        nw.when(~col("__span").is_null()).then(started + ended).otherwise(col("__round_minutes")).alias("__round")
    )
    return visits.group_by(*GROUP).agg(col("__round").sum(), nw.len().alias("__judged"))


def _with_quality(visits: Frame) -> Frame:
    """Name how the minutes are known, and empty those of an impossible order."""
    col = nw.col
    minutes = nw.when((col("__minutes") >= 0) & ~col("__clocks_changed")).then(col("__minutes"))
    quality = (
        nw.when(~col("__attended"))
        .then(nw.lit(None, dtype=nw.String))
        .otherwise(
            nw.when(col("__minutes").is_null())
            .then(nw.lit("missing"))
            .otherwise(
                nw.when(~col("__plausible"))
                .then(nw.lit("implausible"))
                .otherwise(
                    nw.when(col("__filled"))
                    .then(nw.lit("filled_from_slot"))
                    .otherwise(nw.when(col("__rounded")).then(nw.lit("rounded")).otherwise(nw.lit("timed")))
                )
            )
        )
    )
    return visits.with_columns(minutes.alias("minutes"), quality.alias("minutes_quality"))
