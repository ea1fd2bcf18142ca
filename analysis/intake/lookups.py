"""Small tables joined to rows: what a text, or the number of a text, means."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import narwhals as nw
import pandas as pd
import polars as pl

Frame = TypeVar("Frame", nw.DataFrame[Any], nw.LazyFrame[Any])
Texts = Mapping[str, Sequence[str]]
"""Column to its distinct texts; a row holds the place of its text in this list."""
KEY = "__key"
POLARS_TYPES: dict[Any, Any] = {nw.String: pl.String, nw.Float64: pl.Float64}


@dataclass(frozen=True, eq=False)
class Lookup:
    """A small table from what stands in one column to what it means.

    Attributes
    ----------
    column : str
        The column of text, or of the numbers of texts.
    outputs : mapping
        Names and types of the columns to add.
    table : mapping
        Text or number to one value for each output.
    size : int
        How many texts are numbered.
    """

    column: str
    outputs: Mapping[str, Any]
    table: Mapping[Any, Sequence[Any]]
    size: int = 0

    @property
    def by_text(self) -> bool:
        """Tell whether texts are looked up, not their numbers."""
        return isinstance(next(iter(self.table)), str)

    def lists(self) -> dict[str, pl.Series]:
        """Give each output as a list by number."""
        nothing = [None] * len(self.outputs)
        rows = [self.table.get(number, nothing) for number in range(self.size)]
        return {
            name: pl.Series(name, [row[place] for row in rows], dtype=POLARS_TYPES[dtype])
            for place, (name, dtype) in enumerate(self.outputs.items())
        }


def numbered(column: str, outputs: Mapping[str, Any], table: Mapping[str, Sequence[Any]], texts: Texts) -> Lookup:
    """Make a lookup by the numbers of texts of one by the texts themselves."""
    there = {number: table[text] for number, text in enumerate(texts[column]) if text in table}
    return Lookup(column, outputs, there, len(texts[column]))


def looked_up(frame: Frame, lookups: Sequence[Lookup]) -> Frame:
    """Look texts, or numbers of texts, up in small tables and add what is found.

    A number is a place in the table, which pandas and Polars reach into; any
    other engine, and every text, is joined.

    Parameters
    ----------
    frame : narwhals frame, eager or lazy
    lookups : sequence of Lookup

    Returns
    -------
    narwhals frame
        With the outputs of all; empty where nothing is found.
    """
    empty = [
        nw.lit(None, dtype=dtype).alias(name)
        for each in lookups
        if not each.table
        for name, dtype in each.outputs.items()
    ]
    by_place = [each for each in lookups if each.table and not each.by_text and _can_reach(frame)]
    if by_place:
        frame = _reached(frame, by_place)
    for each in lookups:
        if each.table and each not in by_place:
            frame = frame.join(_small_table(frame, each), left_on=each.column, right_on=KEY, how="left")
    return frame.with_columns(*empty) if empty else frame


def _can_reach(frame: Frame) -> bool:
    """Tell whether the engine can reach into a list by place."""
    return frame.implementation.is_polars() or frame.implementation.is_pandas()


def _reached(frame: Frame, lookups: Sequence[Lookup]) -> Frame:
    """Add what stands in each table at the place a row names; nothing at a place below zero."""
    native: Any = frame.to_native()
    if frame.implementation.is_polars():
        there = {each.column: pl.when(pl.col(each.column) >= 0).then(pl.col(each.column)) for each in lookups}
        outputs = [
            pl.lit(values).gather(there[each.column]).alias(name)
            for each in lookups
            for name, values in each.lists().items()
        ]
        return nw.from_native(native.with_columns(outputs))
    taken = {}
    for each in lookups:
        places = native[each.column].to_numpy()
        for name, values in each.lists().items():
            array = pd.array(values.to_list(), dtype="str" if values.dtype == pl.String else "float64")
            taken[name] = pd.Series(array.take(places, allow_fill=True), index=native.index)
    return nw.from_native(native.assign(**taken))


def _small_table(frame: Frame, lookup: Lookup) -> Any:
    """Make the table of a lookup in the engine of a frame."""
    columns: dict[str, list[Any]] = {KEY: list(lookup.table)}
    for place, name in enumerate(lookup.outputs):
        columns[name] = [values[place] for values in lookup.table.values()]
    schema = {KEY: nw.String if lookup.by_text else nw.Int32, **lookup.outputs}
    if frame.implementation.is_pyspark():
        from analysis.intake.spark import small_table

        return small_table(frame, columns, schema)
    table = nw.from_dict(columns, schema=schema, backend=frame.implementation)
    return table.lazy() if isinstance(frame, nw.LazyFrame) else table


def beside(
    frame: Frame,
    step: Callable[[Frame], Frame],
    *,
    on: str,
    needs: Sequence[str],
    gives: Sequence[str],
) -> Frame:
    """Run a step on the few columns it needs and join what it gives.

    Engines that copy the columns of a frame at each step copy few so.

    Parameters
    ----------
    frame : narwhals frame
    step : callable
        Frame to frame, keeping the rows.
    on : str
        A column that names each row.
    needs, gives : sequence of str
        Columns the step needs, and those taken from it.
    """
    if isinstance(frame, nw.LazyFrame):  # copies nothing, so the step runs on the frame itself
        before = [column for column in frame.collect_schema().names() if column not in gives]
        return step(frame).select(*before, *gives)
    given = step(frame.select(on, *needs)).select(on, *gives)
    return frame.drop(*(column for column in gives if column in needs)).join(given, on=on, how="left")


def translated(frame: Frame, column: str, outputs: Mapping[str, Any], table: Mapping[str, Sequence[Any]]) -> Frame:
    """Look the texts of one column up in one small table."""
    return looked_up(frame, [Lookup(column, outputs, table)])
