"""Small tables joined to rows: what a text, or the number of a text, means."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import narwhals as nw

Frame = TypeVar("Frame", nw.DataFrame[Any], nw.LazyFrame[Any])
Texts = Mapping[str, Sequence[str]]
"""Column to its distinct texts; a row holds the place of its text in this list."""
KEY = "__key"


@dataclass(frozen=True)
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
    """

    column: str
    outputs: Mapping[str, Any]
    table: Mapping[Any, Sequence[Any]]


def numbered(column: str, outputs: Mapping[str, Any], table: Mapping[str, Sequence[Any]], texts: Texts) -> Lookup:
    """Make a lookup by the numbers of texts of one by the texts themselves."""
    return Lookup(column, outputs, {number: table[text] for number, text in enumerate(texts[column]) if text in table})


def looked_up(frame: Frame, lookups: Sequence[Lookup]) -> Frame:
    """Look texts up in small tables and add what is found.

    Parameters
    ----------
    frame : narwhals frame, eager or lazy
    lookups : sequence of Lookup

    Returns
    -------
    narwhals frame
        With the outputs of all; empty where the text is not in its table.
    """
    for each in lookups:
        if each.table:
            frame = frame.join(_small_table(frame, each), left_on=each.column, right_on=KEY, how="left")
    nothing = [
        nw.lit(None, dtype=dtype).alias(name)
        for each in lookups
        if not each.table
        for name, dtype in each.outputs.items()
    ]
    return frame.with_columns(*nothing) if nothing else frame


def _small_table(frame: Frame, lookup: Lookup) -> Any:
    """Make the table of a lookup in the engine of a frame."""
    columns: dict[str, list[Any]] = {KEY: list(lookup.table)}
    for place, name in enumerate(lookup.outputs):
        columns[name] = [values[place] for values in lookup.table.values()]
    by_text = isinstance(columns[KEY][0], str)
    schema = {KEY: nw.String if by_text else nw.Int32, **lookup.outputs}
    if frame.implementation.is_pyspark():
        from analysis.intake.spark import small_table

        return small_table(frame, columns, schema)
    table = nw.from_dict(columns, schema=schema, backend=frame.implementation)
    return table.lazy() if isinstance(frame, nw.LazyFrame) else table


def beside(
    frame: Frame, step: Callable[[Frame], Frame], *, on: str, needs: Sequence[str], gives: Sequence[str]
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
