"""Rows of either shape to visits and ears: one row a visit with both ears, or one row an ear."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Sequence
from typing import Any

import narwhals as nw
import polars as pl

from analysis.intake.duplicates import ROWS_A_FILE
from analysis.intake.lookups import Frame, beside, translated
from analysis.intake.privacy import may_identify
from analysis.intake.row_columns import EAR_FACTS, SIDED_EAR_FACTS, SIDES, VISIT_FACTS

REFERENCE = re.compile(r"(?!.*[^\W\d_]{4})[\w/.#-]{1,24}")
"""A visit number as records systems write it; one with words in it may hold a name and is hashed."""
FROM_MAIN_ROW = (
    "source_file",
    "source_row",
    "system",
    "attendance_logged",
    "evidence_logged",
    "has_clock",
    "patient_key",
    "tells_of_ear",
    "clock_shift",
)
PLAIN_NUMBER = r"^[A-Za-z]{0,3}[/.#-]?[0-9]{1,8}$"
"""A visit number that can be no name, phone or national number, so that it need not be looked at one by one."""
TIMES_BY_EAR = {"minutes": "minutes", "span": "__span"}
TIMED_BY_EAR_FROM = 0.2
"""Share of visits with both ears whose two minutes must differ before they count as each ear's own."""


def shared_numbers(parts: Sequence[Any], table: Callable[[Any], pl.DataFrame]) -> list[str]:
    """List the visit numbers that several visits share (two systems both counting from 1).

    Parameters
    ----------
    parts : sequence of narwhals frame
        All rows kept, in stretches.
    table : callable
        Brings a frame into memory.

    Returns
    -------
    list of str
    """
    col = nw.col
    numbers = nw.concat([part.select("visit_number", "visit_key") for part in parts], how="vertical")
    keys = numbers.filter(~col("visit_number").is_null()).group_by("visit_number").agg(
        col("visit_key").min().alias("low"), col("visit_key").max().alias("high")
    )
    return sorted(table(keys.filter(col("low") != col("high")).select("visit_number"))["visit_number"])


def with_visit_id(rows: Frame, shared: Sequence[str], table: Callable[[Any], pl.DataFrame]) -> Frame:
    """Name each visit and put the names beside the rows.

    By the log's own number where it is one and unique, else by a hash. A number
    that two visits share is told apart by letters behind it, which depend on
    nothing but the visit itself.

    Parameters
    ----------
    rows : narwhals frame
        With ``visit_number`` and ``visit_key``.
    shared : sequence of str
        From ``shared_numbers``.
    table : callable
        Brings a frame into memory.

    Returns
    -------
    narwhals frame
        With ``visit_id``.
    """
    return beside(
        rows, lambda few: _named(few, shared, table), on="place", needs=("visit_number", "visit_key"), gives=("visit_id",)
    )


def _named(rows: Frame, shared: Sequence[str], table: Callable[[Any], pl.DataFrame]) -> Frame:
    """Name each visit."""
    col = nw.col
    rows = translated(rows, "visit_number", {"__shared": nw.Float64}, {number: (1.0,) for number in shared})
    plain = col("visit_number").str.contains(PLAIN_NUMBER)
    to_hash = col("visit_number").is_null() | ~col("__shared").is_null()
    hashes = {key: (_short_hash(key),) for key in _texts(rows.filter(to_hash), "visit_key", table)}
    rows = translated(rows, "visit_key", {"__hash": nw.String}, hashes)
    strange = {
        text: (text if REFERENCE.fullmatch(text) and not may_identify(text) else _short_hash(text),)
        for text in _texts(rows.filter(~plain), "visit_number", table)
    }
    rows = translated(rows, "visit_number", {"__strange": nw.String}, strange)
    rows = rows.with_columns(
        nw.coalesce(nw.when(plain).then(col("visit_number")), col("__strange")).alias("__shown"),
        nw.when(to_hash).then(col("__hash")).alias("__hash"),
    )
    told_apart = nw.concat_str(col("__shown"), col("__hash"), separator="-", ignore_nulls=False)
    rows = rows.with_columns(nw.coalesce(told_apart, col("__shown"), col("__hash")).alias("visit_id"))
    # a visit whose rows came by different ways (number here, patient there) has one name
    return rows.with_columns(col("visit_id").min().over("visit_key").alias("visit_id"))


def _short_hash(text: str) -> str:
    """Give a short name that depends on the text alone."""
    return hashlib.blake2b(text.encode(), digest_size=6).hexdigest()


def _texts(rows: Frame, column: str, table: Callable[[Any], pl.DataFrame]) -> list[str]:
    """List a column's different texts, in order."""
    return sorted(table(rows.select(column).filter(~nw.col(column).is_null()).unique(column))[column])


def ears_of(rows: Frame) -> Frame:
    """Give one row an ear with any fact.

    In a row a visit, what is said without naming an ear goes to each ear of
    which something else is said, but not to an ear found clear beside one that
    was not; where no ear is named at all, the ear stays empty.

    Parameters
    ----------
    rows : narwhals frame
        Kept rows with ``visit_id``.

    Returns
    -------
    narwhals frame
        visit_id, ear and ``EAR_FACTS``.
    """
    by_visit = _with_ears_said(rows.filter(nw.col("shape") == "visit"))
    parts = [_one_side(by_visit, side) for side in SIDES]
    parts.append(_no_side(by_visit))
    by_ear = rows.filter(nw.col("shape") == "ear")
    parts += [_ear_row(by_ear, side) for side in (*SIDES, None)]
    ears = nw.concat(parts, how="vertical")
    return ears.filter(_any_of(EAR_FACTS))


def _any_of(columns: tuple[str, ...]) -> nw.Expr:
    """Tell whether a row holds any of some facts."""
    return nw.any_horizontal(*(~nw.col(column).is_null() for column in columns), ignore_nulls=False)


def _with_ears_said(rows: Frame) -> Frame:
    """Mark of which ears a row says something, and which are clear."""
    rows = rows.with_columns(
        *(_any_of(tuple(f"{fact}_{side}" for fact in EAR_FACTS)).alias(f"__says_{side}") for side in SIDES)
    )
    return rows.with_columns(
        *((nw.coalesce(nw.col(f"grade_{side}"), nw.lit("")) == "clear").alias(f"__clear_{side}") for side in SIDES)
    )


def _one_side(rows: Frame, side: str) -> Frame:
    """Give the rows of one ear from rows a visit."""
    col = nw.col
    other = "left" if side == "right" else "right"
    clear_beside_work = col(f"__clear_{side}") & col(f"__says_{other}") & ~col(f"__clear_{other}")
    takes_shared = col(f"__says_{side}") & ~clear_beside_work
    alone = takes_shared & ~col(f"__says_{other}")
    shared = {fact: nw.when(alone if fact == "ear_minutes" else takes_shared).then(col(fact)) for fact in EAR_FACTS}
    facts = [nw.coalesce(col(f"{fact}_{side}"), shared[fact]).alias(fact) for fact in EAR_FACTS]
    return rows.select("visit_id", nw.lit(side).alias("ear"), *facts)


def _no_side(rows: Frame) -> Frame:
    """Give what rows a visit say of an ear that is not named."""
    unnamed = rows.filter(~nw.col("__says_left") & ~nw.col("__says_right"))
    return unnamed.select("visit_id", nw.lit(None, dtype=nw.String).alias("ear"), *EAR_FACTS)


def _ear_row(rows: Frame, side: str | None) -> Frame:
    """Give the rows of one ear from rows an ear; "both" stands for each, without minutes of its own."""
    col = nw.col
    if side is None:
        unnamed = rows.filter(col("ear").is_null())
        return unnamed.select("visit_id", nw.lit(None, dtype=nw.String).alias("ear"), *EAR_FACTS)
    mine = rows.filter((col("ear") == side) | (col("ear") == "both"))
    facts = {fact: nw.coalesce(col(fact), col(f"{fact}_{side}")) for fact in EAR_FACTS}
    facts["ear_minutes"] = nw.when(col("ear") == side).then(facts["ear_minutes"])
    return mine.select("visit_id", nw.lit(side).alias("ear"), *(facts[fact].alias(fact) for fact in EAR_FACTS))


def visits_of(rows: Frame) -> Frame:
    """Give one row a visit.

    A visit told in several rows (one an ear) takes its facts from the fullest
    row, and what that lacks from the others; it starts with the earliest start
    and ends with the latest end.

    Parameters
    ----------
    rows : narwhals frame
        Kept rows with ``visit_id``.

    Returns
    -------
    narwhals frame
        visit_id, ``VISIT_FACTS`` and what the later steps need.
    """
    col = nw.col
    rows = rows.with_columns(_any_of(SIDED_EAR_FACTS).alias("tells_of_ear"))
    order = col("visit_cells") * ROWS_A_FILE * 1000 - col("place")
    rows = rows.with_columns(order.alias("__main_rank"), nw.len().over("visit_id").alias("__rows"))
    alone = rows.filter(col("__rows") == 1).select("visit_id", *FROM_MAIN_ROW, *VISIT_FACTS)
    several = rows.filter(col("__rows") > 1)
    several = several.with_columns(col("__main_rank").max().over("visit_id").alias("__main"))
    main = several.filter(col("__main_rank") == col("__main")).select("visit_id", *FROM_MAIN_ROW, *VISIT_FACTS)
    several = several.with_columns(_as_number(col("tells_of_ear")).alias("__tells"))
    others = several.group_by("visit_id").agg(*_from_the_others(), col("__tells").max().alias("__tells"))
    joined: Any = main.join(others, on="visit_id", how="left").with_columns((col("__tells") > 0).alias("tells_of_ear"))
    facts = [_filled_from_others(fact) for fact in VISIT_FACTS]
    return nw.concat([alone, joined.select("visit_id", *FROM_MAIN_ROW, *facts)], how="vertical")


def _as_number(flag: nw.Expr) -> nw.Expr:
    """Write true as 1 and false as 0."""
    return nw.when(flag).then(nw.lit(1)).otherwise(nw.lit(0))


def _from_the_others() -> list[nw.Expr]:
    """Summarise the rows of a visit: the earliest start, the latest of all else."""
    return [
        (nw.col(fact).min() if fact in ("started_at", "arrived_at") else nw.col(fact).max()).alias(f"__{fact}")
        for fact in VISIT_FACTS
    ]


def _filled_from_others(fact: str) -> nw.Expr:
    """Take a fact from the main row, or from the others where it lacks there; times from all rows."""
    other = nw.col(f"__{fact}")
    if fact in ("started_at", "ended_at"):
        return other.alias(fact)
    return nw.coalesce(nw.col(fact), other).alias(fact)


def minutes_differ_by_ear(parts: Sequence[Any], table: Callable[[Any], pl.DataFrame]) -> frozenset[str]:
    """Tell whether minutes, or starts and ends, differ between the two ears of more visits than slips would explain.

    Parameters
    ----------
    parts : sequence of narwhals frame
        All rows kept, in stretches.
    table : callable
        Brings a frame into memory.

    Returns
    -------
    frozenset of str
        ``minutes``, ``span``, both or neither.
    """
    by_ear = nw.concat(
        [_with_span(part).filter(nw.col("shape") == "ear").select("visit_key", "minutes", "__span") for part in parts],
        how="vertical",
    )
    return frozenset(name for name, column in TIMES_BY_EAR.items() if _differs(by_ear, column, table))


def with_minutes_by_ear(rows: Frame, by_ear: frozenset[str]) -> Frame:
    """Give each ear its own minutes where the log times ears apart.

    Where rows are ears, minutes that differ between the two ears of many visits
    are the ear's, not the visit's; so are starts and ends.

    Parameters
    ----------
    rows : narwhals frame
    by_ear : frozenset of str
        From ``minutes_differ_by_ear``.
    """
    col = nw.col
    rows = _with_span(rows)
    for name, column in TIMES_BY_EAR.items():
        if name not in by_ear:
            continue
        mine = nw.when((col("shape") == "ear") & (col(column) >= 0)).then(col(column))
        rows = rows.with_columns(nw.coalesce(col("ear_minutes"), mine).alias("ear_minutes"))
        if name == "minutes":
            rows = rows.with_columns(nw.when(col("shape") != "ear").then(col("minutes")).alias("minutes"))
    return rows


def _with_span(rows: Frame) -> Frame:
    """Add the minutes from start to end."""
    span = (nw.col("ended_at") - nw.col("started_at")) / 60 - nw.coalesce(nw.col("clock_shift"), nw.lit(0.0))
    return rows.with_columns(span.alias("__span"))


def _differs(rows: Frame, column: str, table: Callable[[Any], pl.DataFrame]) -> bool:
    """Tell whether a number differs between the two ears of more visits than slips would explain."""
    found = table(
        rows.filter(~nw.col(column).is_null())
        .group_by("visit_key")
        .agg(nw.len().alias("rows"), nw.col(column).min().alias("low"), nw.col(column).max().alias("high"))
        .filter(nw.col("rows") > 1)
        .select((nw.col("low") != nw.col("high")).cast(nw.Float64).mean().alias("share"))
    )["share"].item()
    return found is not None and float(found) > TIMED_BY_EAR_FROM
