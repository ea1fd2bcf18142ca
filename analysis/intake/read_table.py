"""A grid of text cut into headings and rows."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import polars as pl

from analysis.intake.limits import MOST_COLUMNS
from analysis.problems import DataProblem

SIDE_WORDS = frozenset(("left", "right", "l", "r", "lt", "rt"))
EAR_WORDS = SIDE_WORDS | {"ear", "side", "the"}
DIGIT = re.compile(r"\d")
FEWEST_HEADINGS = 3
"""Known headings that make a row on the way down a row of headings."""
MOST_TITLE_LINES = 5
"""Lines above headings on the way down among which titles are looked for."""
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
    def some_rows(self) -> list[list[str]]:
        """Give the rows, all of which are at hand."""
        return self.rows


def table_of(
    file: str, grid: list[list[str]], facts: dict[str, Any], recognise: Recognise, warnings: Sequence[str] = ()
) -> ReadTable:
    """Cut a grid of text into headings and rows; see ``tables_of``."""
    return tables_of(file, grid, facts, recognise, warnings)[0]


def tables_of(
    file: str, grid: list[list[str]], facts: dict[str, Any], recognise: Recognise, warnings: Sequence[str] = ()
) -> list[ReadTable]:
    """Cut a grid of text into headings and rows.

    A row that repeats the headings on the way down is passed over and counted, and so
    is a title above it, a line with one cell; one with other headings begins a table of its own, as where the exports of
    two records systems were put one below the other.

    Parameters
    ----------
    file : str
        Name of the file, or of the sheet in it.
    grid : list of list of str
    facts : dict
        What is known of the file.
    recognise : callable
    warnings : sequence of str, optional

    Returns
    -------
    list of ReadTable
        The first is called as the file; others also after the row they begin in.

    Raises
    ------
    DataProblem
        If there are no headings, too many of them, or no row below them.
    """
    start, headings = headings_of(grid, recognise)
    if start is None:
        raise DataProblem(
            "This is no table.", "Export the log as CSV or XLSX with one row of headings above the rows.", file=file
        )
    again = [at for at in range(start + 1, len(grid)) if are_headings(grid[at], recognise)]
    tables: list[ReadTable] = []
    for first, rows_to in _parts(grid, start, again):
        part_headings = headings if first == start else _named(grid[first])
        name = f"{file}, from row {first + 1}" if tables else file
        repeated = [at for at in again if first < at < rows_to]
        titles = _titles_above(grid, again, first, rows_to)
        rows = [(at + 1, grid[at]) for at in range(first + 1, rows_to) if at not in repeated and at not in titles]
        told = facts | {"heading_row": first + 1} | ({"headings_again": len(repeated)} if repeated else {})
        told |= {"titles_again": len(titles)} if titles else {}
        made = _cut(name, part_headings, rows, told, [] if tables else warnings)
        tables += [made] if made.rows else []
    if not tables:
        raise DataProblem(
            "There are headings but no rows.", "Export it again, or take it out of the folder.", file=file
        )
    return tables


def _parts(grid: list[list[str]], start: int, again: list[int]) -> list[tuple[int, int]]:
    """Give the row of headings of each part, and the row behind its last."""
    begins = [start]
    for at in again:
        if _texts(grid[at]) != _texts(grid[begins[-1]]):
            begins.append(at)
    return list(zip(begins, [*begins[1:], len(grid)], strict=True))


def _titles_above(grid: list[list[str]], again: list[int], first: int, rows_to: int) -> set[int]:
    """Find the lines right above headings on the way down that hold one cell, blank lines between."""
    titles: set[int] = set()
    for at in (each for each in again if first < each <= rows_to):
        for above in range(at - 1, max(first, at - 1 - MOST_TITLE_LINES), -1):
            filled = sum(map(bool, grid[above]))
            if filled > 1:
                break
            titles |= {above} if filled else set()
    return titles


def _texts(cells: list[str]) -> list[str]:
    """Give the cells of a row of headings in the form in which they are compared."""
    texts = [" ".join(cell.casefold().split()) for cell in cells]
    while texts and not texts[-1]:
        texts.pop()
    return texts


def are_headings(cells: list[str], recognise: Recognise) -> bool:
    """Tell whether a row on the way down is headings: no digit in it, and most cells known, a date among them."""
    if not cells or DIGIT.search("".join(cells)):
        return False
    filled = [cell for cell in cells if cell]
    if len(filled) < FEWEST_HEADINGS:
        return False
    known, dated = recognise(filled[:MOST_COLUMNS])
    return dated and known >= FEWEST_HEADINGS and known * 2 >= len(filled)


def _cut(
    file: str,
    headings: tuple[str, ...],
    numbered: list[tuple[int, list[str]]],
    facts: dict[str, Any],
    warnings: Sequence[str],
) -> ReadTable:
    """Bring rows to the width of their headings."""
    width = len(headings)
    if width > MOST_COLUMNS:
        raise DataProblem(f"The table has more than {MOST_COLUMNS} columns.", "Export only the log itself.", file=file)
    filled = [(number, cells) for number, cells in numbered if any(cells)]
    rows = [(cells[:width] + [""] * width)[:width] for _, cells in filled]
    long = frozenset(number for number, cells in filled if any(cells[width:]))
    facts = facts | {"blank_rows": len(numbered) - len(filled), "rows": len(rows)}
    return ReadTable(file, headings, rows, [number for number, _ in filled], long, facts, list(warnings))


def heading_row(grid: list[list[str]], recognise: Recognise) -> int | None:
    """Find the row of headings; of headings in two rows, the lower."""
    return headings_of(grid, recognise)[0]


def headings_of(grid: list[list[str]], recognise: Recognise) -> tuple[int | None, tuple[str, ...]]:
    """Find the headings: the row, or the two rows one above the other, with most known headings.

    Of two rows the upper holds what spans several columns below ("Left ear" over
    "Grade" and "Method"). Without known headings it is the first row with two cells.

    Returns
    -------
    tuple of (int or None, tuple of str)
        The row above the first row of the table, and the headings.
    """
    top = [row[: MOST_COLUMNS + 1] for row in grid[:LOOK_FOR_HEADINGS_IN]]
    sure = next((place for place, row in enumerate(top) if are_headings(row, recognise)), len(top))
    top = top[: sure + 2]  # what stands further down may be the headings of another table
    best, found = 1, None
    for place, row in enumerate(top):
        for headings in (_named(row), *([_joined(top[place - 1], row, recognise)] if place else [])):
            known = recognise(headings[:MOST_COLUMNS])[0]
            if known > best:
                best, found = known, (place, headings)
    if found is not None:
        return found
    first = next((place for place, row in enumerate(top) if sum(map(bool, row)) >= 2), None)
    return (None, ()) if first is None else (first, _named(top[first]))


def _named(cells: list[str]) -> tuple[str, ...]:
    """Name the headings of one row; an empty one is called after its place."""
    width = max((place + 1 for place, cell in enumerate(cells) if cell), default=0)
    return tuple(cell or f"(column {place})" for place, cell in enumerate(cells[:width], start=1))


def _joined(upper: list[str], lower: list[str], recognise: Recognise) -> tuple[str, ...]:
    """Join two rows of headings, the upper of which spans several columns of the lower."""
    width = max(len(upper), len(lower))
    above, below = ([*row, *[""] * (width - len(row))] for row in (upper, lower))
    cells = []
    for own, span, cell in zip(above, _spans(above), below, strict=True):
        both = f"{span} {cell}"
        takes_span = span and cell and span != cell and (_is_side(span) or _is_side(cell))
        if takes_span and recognise([both])[0]:
            cells.append(both)
        else:
            cells.append(cell or own)
    return _named(cells)


def _spans(above: list[str]) -> list[str]:
    """Spread each cell over the empty ones right of it; the last no further than the one before it reached."""
    starts = [place for place, cell in enumerate(above) if cell and (place == 0 or above[place - 1] != cell)]
    spread = list(above)
    for number, place in enumerate(starts):
        end = starts[number + 1] if number + 1 < len(starts) else len(above)
        if number + 1 == len(starts) and number and _is_side(above[starts[number - 1]]):
            end = min(end, place + place - starts[number - 1])
        for at in range(place, end):
            spread[at] = above[place]
    return spread


def _is_side(text: str) -> bool:
    """Tell whether a heading only names an ear."""
    words = text.casefold().replace(".", " ").split()
    return len(words) <= 3 and bool(words) and set(words) <= EAR_WORDS and bool(set(words) & SIDE_WORDS)
