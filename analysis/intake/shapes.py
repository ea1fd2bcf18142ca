"""Rows of any shape to visits and ears: one row a visit, a visit with both ears, an ear, or an instrument pass."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import Any

import narwhals as nw
import polars as pl

from analysis.intake.duplicates import ROWS_A_FILE
from analysis.intake.lookups import Frame
from analysis.intake.passes import ORDER, passes_joined
from analysis.intake.row_columns import EAR, EARS, PASS, SIDES, VISIT, VISIT_FACTS, facts_told, sided

FROM_MAIN_ROW = (
    "source_file",
    "source_row",
    "system",
    "attendance_logged",
    "evidence_logged",
    "has_clock",
    "patient_key",
    "clock_shift",
    "tells_of_ear",
)
OF_THE_ROW = ("visit_number", "visit_key", "alone", "place", "shape", "ear", "pass_number", "visit_cells")
TIMED_BY_ROW = ("shape", "visit_key", "ear", "ear_minutes", "minutes", "__span")
TIMED_BY_EAR_FROM = 0.2
"""Share of visits told in several rows whose minutes must differ before they count as each row's own."""


def only_what_visits_need(rows: Frame) -> Frame:
    """Keep what visits, their ears and their names are made of."""
    main = [name for name in FROM_MAIN_ROW if name != "tells_of_ear"]
    facts = sided(facts_told(rows.collect_schema().names()))
    return rows.select(*main, *OF_THE_ROW, *VISIT_FACTS, *facts)


def ears_of(rows: Frame, shapes: Collection[str]) -> Frame:
    """Give one row an ear with any fact.

    In a row a visit, what is said without naming an ear goes to each ear of
    which something else is said, but not to an ear found clear beside one that
    was not; where no ear is named at all, the ear stays empty.

    Parameters
    ----------
    rows : narwhals frame
        Kept rows with ``visit_id``.
    shapes : collection of str
        What rows of the files are; what none is costs nothing.

    Returns
    -------
    narwhals frame
        visit_id, ear and the facts any file tells.
    """
    col = nw.col
    rows = rows.with_columns(
        col("place").alias("__place"), col("pass_number").alias("__pass"), col("started_at").alias("__at")
    )
    facts: tuple[str, ...] = facts_told(rows.collect_schema().names())
    told, parts = ("visit_id", "ear", *facts), []
    if {VISIT, EARS} & set(shapes):
        parts.append(_ears_of_visits(rows.filter(col("shape").is_in((VISIT, EARS))), facts).select(*told))
    if EAR in shapes:
        parts.append(_ears_of_ears(rows.filter(col("shape") == EAR), facts).select(*told))
    if PASS in shapes:
        parts.append(_ears_of_passes(rows.filter(col("shape") == PASS), facts))
    if not parts:
        return rows.select(*told).filter(nw.lit(False) & col("ear").is_null())
    return nw.concat(parts, how="vertical").filter(_any_of(facts))


def _ears_of_passes(passes: Frame, facts: Sequence[str]) -> Frame:
    """Give the ears of rows that are one pass of an instrument each."""
    col = nw.col
    by_side = col("ear").is_null() & _any_of(tuple(f"{fact}_{side}" for fact in facts for side in SIDES))
    by_pass = nw.concat(
        [_ears_of_visits(passes.filter(by_side), facts), _ears_of_ears(passes.filter(~by_side), facts)], how="vertical"
    )
    return passes_joined(by_pass.filter(_any_of(facts)), facts)


def _ears_of_visits(rows: Frame, facts: Sequence[str]) -> Frame:
    """Give the ears of rows that tell of both."""
    rows = _with_ears_said(rows, facts)
    parts = [_one_side(rows, "left", facts), _one_side(rows, "right", facts), _no_side(rows, facts)]
    return nw.concat(parts, how="vertical")


def _ears_of_ears(rows: Frame, facts: Sequence[str]) -> Frame:
    """Give the ears of rows that tell of one."""
    return nw.concat([_ear_row(rows, side, facts) for side in (*SIDES, None)], how="vertical")


def _any_of(columns: Sequence[str]) -> nw.Expr:
    """Tell whether a row holds any of some facts."""
    return nw.any_horizontal(*(~nw.col(column).is_null() for column in columns), ignore_nulls=False)


def _with_ears_said(rows: Frame, facts: Sequence[str]) -> Frame:
    """Mark of which ears a row says something, and which are clear."""
    rows = rows.with_columns(
        *(_any_of(tuple(f"{fact}_{side}" for fact in facts)).alias(f"__says_{side}") for side in SIDES)
    )
    return rows.with_columns(
        *((nw.coalesce(nw.col(f"grade_{side}"), nw.lit("")) == "clear").alias(f"__clear_{side}") for side in SIDES)
    )


def _one_side(rows: Frame, side: str, facts: Sequence[str]) -> Frame:
    """Give the rows of one ear from rows a visit."""
    col = nw.col
    other = "left" if side == "right" else "right"
    clear_beside_work = col(f"__clear_{side}") & col(f"__says_{other}") & ~col(f"__clear_{other}")
    takes_shared = col(f"__says_{side}") & ~clear_beside_work
    alone = takes_shared & ~col(f"__says_{other}")
    shared = {fact: nw.when(alone if fact == "ear_minutes" else takes_shared).then(col(fact)) for fact in facts}
    own = [nw.coalesce(col(f"{fact}_{side}"), shared[fact]).alias(fact) for fact in facts]
    return rows.select("visit_id", nw.lit(side).alias("ear"), *own, *ORDER)


def _no_side(rows: Frame, facts: Sequence[str]) -> Frame:
    """Give what rows a visit say of an ear that is not named."""
    unnamed = rows.filter(~nw.col("__says_left") & ~nw.col("__says_right"))
    return unnamed.select("visit_id", nw.lit(None, dtype=nw.String).alias("ear"), *facts, *ORDER)


def _ear_row(rows: Frame, side: str | None, facts: Sequence[str]) -> Frame:
    """Give the rows of one ear from rows an ear; "both" stands for each, without minutes of its own."""
    col = nw.col
    if side is None:
        unnamed = rows.filter(col("ear").is_null())
        return unnamed.select("visit_id", nw.lit(None, dtype=nw.String).alias("ear"), *facts, *ORDER)
    mine = rows.filter((col("ear") == side) | (col("ear") == "both"))
    own = {fact: nw.coalesce(col(fact), col(f"{fact}_{side}")) for fact in facts}
    own["ear_minutes"] = nw.when(col("ear") == side).then(own["ear_minutes"])
    told = (own[fact].alias(fact) for fact in facts)
    return mine.select("visit_id", nw.lit(side).alias("ear"), *told, *ORDER)


def visits_of(rows: Frame) -> Frame:
    """Give one row a visit.

    A visit told in several rows (one an ear, one an instrument pass, or a booking
    with its ears) takes its facts from the fullest row, and what that lacks from
    the others; it starts with the earliest start and ends with the latest end.

    Parameters
    ----------
    rows : narwhals frame
        Kept rows with ``visit_id``, and ``alone`` where no other row tells of the visit.

    Returns
    -------
    narwhals frame
        visit_id, ``VISIT_FACTS`` and what the later steps need.
    """
    col = nw.col
    rows = rows.with_columns(_any_of(sided(facts_told(rows.collect_schema().names()))).alias("tells_of_ear"))
    told = ("visit_id", *FROM_MAIN_ROW, *VISIT_FACTS)
    order = col("visit_cells") * ROWS_A_FILE * 1000 - col("place")
    counted = rows.filter(~col("alone")).with_columns(order.alias("__rank"), nw.len().over("visit_id").alias("__rows"))
    single = counted.filter(col("__rows") == 1).select(*told)
    several = _visits_of_several(counted.filter(col("__rows") > 1)).select(*told)
    return nw.concat([rows.filter(col("alone")).select(*told), single, several], how="vertical")


def _visits_of_several(rows: Frame) -> Frame:
    """Give one row a visit of visits that several rows tell of."""
    col = nw.col
    several = rows.with_columns(col("__rank").max().over("visit_id").alias("__main"))
    main = several.filter(col("__rank") == col("__main")).select("visit_id", *FROM_MAIN_ROW, *VISIT_FACTS)
    several = several.with_columns(_as_number(col("tells_of_ear")).alias("__tells"))
    others = several.group_by("visit_id").agg(*_from_the_others(), col("__tells").max().alias("__tells_of_ear"))
    joined: Any = main.join(others, on="visit_id", how="left")
    joined = joined.with_columns((col("__tells_of_ear") > 0).alias("tells_of_ear"))
    return joined.with_columns(*(_filled_from_others(fact) for fact in VISIT_FACTS))


def _as_number(flag: nw.Expr) -> nw.Expr:
    """Write true as 1 and false as 0."""
    return nw.when(flag).then(nw.lit(1)).otherwise(nw.lit(0))


def _from_the_others() -> list[nw.Expr]:
    """Summarise the rows of a visit: the earliest start, the latest of all else."""
    earliest = nw.when((nw.col("shape") == PASS) & nw.col("has_clock")).then(nw.col("slot_start")).min()
    return [
        earliest.alias("__earliest"),
        *(
            (nw.col(fact).min() if fact in ("started_at", "arrived_at") else nw.col(fact).max()).alias(f"__{fact}")
            for fact in VISIT_FACTS
        ),
    ]


def _filled_from_others(fact: str) -> nw.Expr:
    """Take a fact from the main row, or from the others where it lacks there; times from all rows."""
    other = nw.col(f"__{fact}")
    if fact in ("started_at", "ended_at"):
        return other.alias(fact)
    if fact == "slot_start":  # passes may each have a time of their own; a day alone stands at midnight
        return (
            nw.when(nw.col("__earliest") < nw.col(fact)).then(nw.col("__earliest")).otherwise(nw.col(fact)).alias(fact)
        )
    return nw.coalesce(nw.col(fact), other).alias(fact)


def minutes_differ_by_ear(
    parts: Sequence[Any], shapes: Collection[str], table: Callable[[Any], pl.DataFrame]
) -> frozenset[str]:
    """Tell which minutes differ between the rows of one visit more often than slips would explain.

    Parameters
    ----------
    parts : sequence of narwhals frame
        All rows kept, in stretches.
    shapes : collection of str
        What rows of the files are.
    table : callable
        Brings a frame into memory.

    Returns
    -------
    frozenset of str
        ``minutes`` and ``__span`` (start to end) where they differ between the rows of a visit,
        ``ear_minutes`` where they differ between the passes of an ear.
    """
    if not {EAR, PASS} & set(shapes):
        return frozenset()
    rows = nw.concat([_with_span(part).select(*TIMED_BY_ROW) for part in parts], how="vertical")
    found = {column for column in ("minutes", "__span") if _differs(rows, column, ("visit_key",), table)}
    if PASS in shapes and _differs(_with_own_minutes(rows, found), "ear_minutes", ("visit_key", "ear"), table):
        found.add("ear_minutes")
    return frozenset(found)


def with_minutes_by_ear(rows: Frame, by_ear: Collection[str], shapes: Collection[str]) -> Frame:
    """Give each ear its own minutes where the log times ears apart.

    Where rows are ears, minutes that differ between the two ears of many visits
    are the ear's, not the visit's; so are starts and ends. Where rows are passes
    of an instrument, each has its share, and the ear's are their sum.

    Parameters
    ----------
    rows : narwhals frame
    by_ear : collection of str
        From ``minutes_differ_by_ear``.
    shapes : collection of str
        What rows of the files are.
    """
    rows = _with_own_minutes(_with_span(rows), by_ear)
    return _with_minutes_once(rows) if PASS in shapes and "ear_minutes" not in by_ear else rows


def _with_span(rows: Frame) -> Frame:
    """Add the minutes from start to end."""
    span = (nw.col("ended_at") - nw.col("started_at")) / 60 - nw.coalesce(nw.col("clock_shift"), nw.lit(0.0))
    return rows.with_columns(span.alias("__span"))


def _with_own_minutes(rows: Frame, by_ear: Collection[str]) -> Frame:
    """Take minutes that are the row's own for those of its ear."""
    col = nw.col
    of_an_ear = col("shape").is_in((EAR, PASS))
    for source in ("minutes", "__span"):
        if source not in by_ear:
            continue
        mine = nw.when(of_an_ear & (col(source) >= 0)).then(col(source))
        rows = rows.with_columns(nw.coalesce(col("ear_minutes"), mine).alias("ear_minutes"))
        if source == "minutes":
            rows = rows.with_columns(nw.when(~of_an_ear).then(col("minutes")).alias("minutes"))
    return rows


def _with_minutes_once(rows: Frame) -> Frame:
    """Leave an ear's minutes in its first pass alone where all its passes repeat them."""
    col = nw.col
    first = col("place").min().over("visit_key", "ear")
    repeated = (col("shape") == PASS) & (col("place") > first)
    return rows.with_columns(nw.when(~repeated).then(col("ear_minutes")).alias("ear_minutes"))


def _differs(rows: Frame, column: str, keys: Sequence[str], table: Callable[[Any], pl.DataFrame]) -> bool:
    """Tell whether a number differs between the rows of one visit, or ear, more often than slips would explain."""
    found = table(
        rows.filter(nw.col("shape").is_in((EAR, PASS)) & ~nw.col(column).is_null())
        .with_columns(*(nw.coalesce(nw.col(key), nw.lit("")).alias(key) for key in keys))
        .group_by(*keys)
        .agg(nw.len().alias("rows"), nw.col(column).min().alias("low"), nw.col(column).max().alias("high"))
        .filter(nw.col("rows") > 1)
        .select((nw.col("low") != nw.col("high")).cast(nw.Float64).mean().alias("share"))
    )["share"].item()
    return found is not None and float(found) > TIMED_BY_EAR_FROM
