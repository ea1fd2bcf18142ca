"""From rows of any engine to the tables of ``schema``, the same to the byte whatever the engine."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from analysis.schema import EAR_ROWS, VISITS, Column, Table

ROWS_A_GROUP = 262_144
MICROSECONDS = 1_000_000
IN_ORDER = ("slot_start", "source_file", "source_row")
"""Visits' own names may hang on the clinic's key; where they stand in the exports does not."""
NOT_KEPT = ("missed", "cancelled_late", "cancelled", "moved")


def visit_table(visits: pl.DataFrame) -> pl.DataFrame:
    """Give visits their types and their order: by the slot's start, then as the exports have them."""
    return typed(VISITS, visits).sort(*IN_ORDER)


def ear_table(ears: pl.DataFrame, visits: pl.DataFrame) -> pl.DataFrame:
    """Give ears their types and the order of their visits.

    What is said of ears in bookings that were not kept is left out: defaults of
    the records system. What several rows say of one ear becomes one row.

    Parameters
    ----------
    ears : polars.DataFrame
    visits : polars.DataFrame
        ``visit_id``, ``attendance`` and what their visits are ordered by.
    """
    came = visits.sort(*IN_ORDER).with_row_index("order")
    came = came.filter(pl.col("attendance").is_in(NOT_KEPT).not_().fill_null(True))
    order = ears.select("visit_id").join(
        came.select("visit_id", pl.col("order").cast(pl.Int64)), on="visit_id", how="left", maintain_order="left"
    )
    rows = typed(EAR_ROWS, ears.rename({"ear_minutes": "minutes"})).with_columns(order["order"])
    place = rows.select(_place_in_order()).to_series()
    rows = rows[place.arg_sort(nulls_last=True).head(len(place) - place.null_count())]  # moved once, not filtered first
    again = (pl.col("order") == pl.col("order").shift()) & (pl.col("ear") == pl.col("ear").shift())
    if rows.select(again.any()).item():  # "both" in one row and the same ear in another
        rows = _one_row_an_ear(rows)
    return rows.drop("order")


def _place_in_order() -> pl.Expr:
    """Give the place of an ear's row: by visit, then left, right and not named; one number sorts faster than two."""
    return pl.col("order") * 3 + pl.col("ear").to_physical().cast(pl.Int64).fill_null(2)


def _one_row_an_ear(rows: pl.DataFrame) -> pl.DataFrame:
    """Take each fact of an ear from the fullest row that tells it."""
    facts = [name for name in EAR_ROWS.names if name not in ("visit_id", "ear")]
    filled = pl.sum_horizontal(pl.col(fact).is_not_null().cast(pl.Int32) for fact in facts)
    named = rows.filter(pl.col("ear").is_not_null()).sort(
        "order", "ear", filled, *facts, descending=[False, False, True, *[False] * len(facts)], nulls_last=True
    )
    named = named.group_by("order", "ear", maintain_order=True).agg(pl.all().drop_nulls().first())
    unnamed = rows.filter(pl.col("ear").is_null())
    return pl.concat([named.select(rows.columns), unnamed]).sort("order", "ear", nulls_last=True, maintain_order=True)


def typed(table: Table, frame: pl.DataFrame) -> pl.DataFrame:
    """Give a frame a table's columns, in order, with its types; what the frame lacks comes out empty."""
    return frame.select(
        (_typed(column, frame.schema.get(column.name)) if column.name in frame.columns else pl.lit(None))
        .cast(_type(column))
        .alias(column.name)
        for column in table.columns
    )


def _type(column: Column) -> pl.DataType | type[pl.DataType]:
    """Give the Polars type of a column."""
    if column.codes:
        return code_type(column)
    types: dict[str, type[pl.DataType] | pl.DataType] = {
        "text": pl.String, "number": pl.Float64, "count": pl.Int64, "yes_no": pl.Boolean,
        "moment": pl.Datetime("us"), "day": pl.Datetime("us"),
    }  # fmt: skip
    return types[column.kind]


def code_type(column: Column) -> pl.Enum:
    """Give the Polars type that holds a column's codes and nothing else."""
    return pl.Enum(list(column.codes))


def _typed(column: Column, dtype: pl.DataType | None) -> pl.Expr:
    """Turn what the chain gives into what the table holds: yes and no, seconds since 1970."""
    if column.kind == "yes_no" and dtype == pl.String:
        return pl.col(column.name) == "yes"
    if column.kind in ("moment", "day") and dtype is not None and dtype.is_numeric():
        return (pl.col(column.name) * MICROSECONDS).cast(pl.Int64)
    return pl.col(column.name)


def write_table(path: Path, table: pl.LazyFrame) -> None:
    """Write a table as Parquet; equal tables give equal bytes.

    Raises
    ------
    OSError
        If the disk is full or may not be written.
    """
    try:
        table.sink_parquet(path, compression="zstd", compression_level=1, statistics=False, row_group_size=ROWS_A_GROUP)
    except pl.exceptions.ComputeError as error:  # how Polars tells of a disk that is full
        raise OSError(str(error)) from error
