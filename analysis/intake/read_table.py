"""A grid of text cut into headings and rows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import polars as pl

from analysis.problems import DataProblem

MOST_COLUMNS = 2000
LOOK_FOR_HEADINGS_IN = 15
"""Rows at the top among which the headings are looked for; titles may stand above them."""

Recognise = Callable[[Sequence[str]], tuple[int, bool]]
"""Says of a row of texts how many are known headings, and whether one of them is a date."""


@dataclass(frozen=True, eq=False)
class ReadTable:
    """One table of text as it stands in a file.

    Attributes
    ----------
    file : str
        The file's name, without the path to it.
    headings : tuple of str
        As they stand; an empty one is called after its place.
    rows : list of list of str
        The cells, one list a row, as long as the headings; empty text where empty.
    source_rows : list of int
        The row's number as a spreadsheet counts.
    too_long : frozenset of int
        Numbers of rows with more cells than headings.
    facts : dict
        Kind, encoding, delimiter, sheet, sheets, heading row, blank rows.
    warnings : list of str
        What the owner should know although the table could be read.
    """

    file: str
    headings: tuple[str, ...]
    rows: list[list[str]]
    source_rows: list[int]
    too_long: frozenset[int]
    facts: dict[str, Any]
    warnings: list[str] = field(default_factory=list)

    @cached_property
    def cells(self) -> pl.LazyFrame:
        """Give the rows as a frame: ``source_row``, ``too_long`` and a column ``c0``, ``c1``, … a heading."""
        columns = {f"c{place}": [row[place] or None for row in self.rows] for place in range(len(self.headings))}
        return pl.LazyFrame(
            {
                "source_row": self.source_rows,
                "too_long": [number in self.too_long for number in self.source_rows],
                **columns,
            },
            schema={"source_row": pl.Int64, "too_long": pl.Boolean, **dict.fromkeys(columns, pl.String)},
        )

    @property
    def top(self) -> pl.LazyFrame:
        """Give the rows, all of which are at hand."""
        return self.cells


def table_of(
    file: str, grid: list[list[str]], facts: dict[str, Any], recognise: Recognise, warnings: Sequence[str] = ()
) -> ReadTable:
    """Cut a grid of text into headings and rows."""
    start = heading_row(grid, recognise)
    if start is None:
        raise DataProblem(
            "This is no table.", "Export the log as CSV or XLSX with one row of headings above the rows.", file=file
        )
    width = max((place + 1 for place, cell in enumerate(grid[start]) if cell), default=0)
    if width > MOST_COLUMNS:
        raise DataProblem(f"The table has more than {MOST_COLUMNS} columns.", "Export only the log itself.", file=file)
    above = grid[start - 1] if start else []
    headings = named_headings(grid[start][:width], above)
    rows, numbers, long, blank = [], [], set(), 0
    for number, cells in enumerate(grid[start + 1 :], start=start + 2):
        if not any(cells):
            blank += 1
            continue
        if any(cells[width:]):
            long.add(number)
        rows.append((cells[:width] + [""] * width)[:width])
        numbers.append(number)
    facts = facts | {"heading_row": start + 1, "blank_rows": blank, "rows": len(rows)}
    if not rows:
        raise DataProblem(
            "There are headings but no rows.", "Export it again, or take it out of the folder.", file=file
        )
    return ReadTable(file, headings, rows, numbers, frozenset(long), facts, list(warnings))


def heading_row(grid: list[list[str]], recognise: Recognise) -> int | None:
    """Find the row of headings: the one with most known headings, or else the first with two cells."""
    top = [row[:MOST_COLUMNS] for row in grid[:LOOK_FOR_HEADINGS_IN]]
    known = [recognise(row)[0] for row in top]
    if known and max(known) >= 2:
        return known.index(max(known))
    return next((place for place, row in enumerate(top) if sum(map(bool, row)) >= 2), None)


def named_headings(cells: list[str], above: list[str]) -> tuple[str, ...]:
    """Name the headings: with "left" or "right" from a merged cell above, and empty ones by their place."""
    sides, side = [], ""
    for place in range(len(cells)):
        cell = above[place] if place < len(above) else ""
        side = cell or side
        sides.append(side if _is_side(side) else "")
    named = [f"{side} {cell}".strip() for side, cell in zip(sides, cells, strict=True)]
    return tuple(name or f"(column {place})" for place, name in enumerate(named, start=1))


def _is_side(text: str) -> bool:
    """Tell whether a merged cell above the headings names an ear."""
    return bool(set(text.casefold().split()) & {"left", "right"}) and len(text.split()) <= 3
