"""What each visit is called: its number, as far as it may be stored, else a hash of what tells it from others."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from typing import Any

import narwhals as nw
import polars as pl

from analysis.intake.lookups import Frame, beside, translated

HASH_BYTES = 8
"""At ten million visits without a number, two of one name are then once in 370,000 logs; with six bytes, once in six."""


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
    numbers = numbers.filter(~col("visit_number").is_null())
    several = numbers.group_by("visit_number").agg(nw.len().alias("rows")).filter(col("rows") > 1)
    if table(several.select(nw.len().alias("rows")))["rows"].item() == 0:
        return []
    keys = (
        numbers.join(several.select("visit_number"), on="visit_number", how="inner")
        .group_by("visit_number")
        .agg(col("visit_key").min().alias("low"), col("visit_key").max().alias("high"))
    )
    return sorted(table(keys.filter(col("low") != col("high")).select("visit_number"))["visit_number"])


def with_visit_id(
    rows: Frame, shared: Sequence[str], table: Callable[[Any], pl.DataFrame], *, several_systems: bool
) -> Frame:
    """Name each visit and put the names beside the rows.

    By its number where that is unique, else by a hash. A number
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
    several_systems : bool
        Rows come from several kinds of export; only then can one visit have two numbers.

    Returns
    -------
    narwhals frame
        With ``visit_id``.
    """
    return beside(
        rows,
        lambda few: _named(few, shared, table, several_systems),
        on="place",
        needs=("visit_number", "visit_key"),
        gives=("visit_id",),
    )


def _named(rows: Frame, shared: Sequence[str], table: Callable[[Any], pl.DataFrame], several_systems: bool) -> Frame:
    """Name each visit."""
    col = nw.col
    rows = translated(rows, "visit_number", {"__shared": nw.Float64}, dict.fromkeys(shared, (1.0,)))
    to_hash = col("visit_number").is_null() | ~col("__shared").is_null()
    found = table(rows.select(nw.when(to_hash).then(nw.lit(1)).otherwise(nw.lit(0)).sum().alias("hashes")))
    hashes = {key: (_short_hash(key),) for key in _texts(rows.filter(to_hash), "visit_key", table, found["hashes"])}
    rows = translated(rows, "visit_key", {"__hash": nw.String}, hashes)
    rows = rows.with_columns(nw.when(to_hash).then(col("__hash")).alias("__hash"))
    told_apart = nw.concat_str(col("visit_number"), col("__hash"), separator="-", ignore_nulls=False)
    rows = rows.with_columns(nw.coalesce(told_apart, col("visit_number"), col("__hash")).alias("visit_id"))
    if not several_systems:
        return rows
    # a visit whose rows came by different ways (number here, patient there) has one name
    return rows.with_columns(col("visit_id").min().over("visit_key").alias("visit_id"))


def _short_hash(text: str) -> str:
    """Give a short name that depends on the text alone."""
    return hashlib.blake2b(text.encode(), digest_size=HASH_BYTES).hexdigest()


def _texts(rows: Frame, column: str, table: Callable[[Any], pl.DataFrame], found: pl.Series) -> list[str]:
    """List a column's different texts, in order, where there are any rows."""
    if not found.item():
        return []
    return sorted(table(rows.select(column).filter(~nw.col(column).is_null()).unique(column))[column])
