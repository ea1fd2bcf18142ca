"""A large CSV that is plain, scanned where it lies: never whole in memory, never cut by Python.

Plain is UTF-8 without stray marks, blank lines or line breaks within a cell,
every quotation mark where it belongs. Whatever is not plain goes the slow way
of ``csv_text``; both give the same cells.
"""

from __future__ import annotations

import csv
import io
import mmap
import os
import re
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from analysis.intake.csv_text import DELIMITERS, choose_delimiter, decode, take_hint
from analysis.intake.file_checks import check_file, check_unchanged
from analysis.intake.limits import LONGEST_LINE_BYTES, MOST_COLUMNS
from analysis.intake.read_table import LOOK_FOR_HEADINGS_IN, Recognise, are_headings, headings_of
from analysis.intake.text_rows import TextRows, number_texts

SMALLEST_BYTES = 4 * 1024**2
"""Smaller files are read by Python, which forgives more."""
BLOCK_BYTES = 32 * 1024**2
START_BYTES = 256 * 1024
SOME_PLACES, SOME_BYTES = 32, 16 * 1024
QUOTE, LINE_FEED, CARRIAGE_RETURN, TAB, SPACE = (ord(mark) for mark in '"\n\r\t ')


@dataclass(frozen=True, eq=False)
class PlainTable:
    """One table of text left where it lies; see ``ReadTable`` for the fields both have.

    Attributes
    ----------
    path : Path
    delimiter : str
    skipped : int
        Lines before the first row.
    lines : int
        Lines in the file, up to the last with anything in it.
    tidy : bool
        No space stands at the edge of a cell and no cell is an empty pair of marks, as far as has been seen.
    known : os.stat_result
        What the system knew of the file before it was read.
    """

    path: Path
    file: str
    headings: tuple[str, ...]
    delimiter: str
    skipped: int
    lines: int
    tidy: bool
    facts: dict[str, Any]
    known: os.stat_result
    warnings: list[str] = field(default_factory=list)

    @cached_property
    def cells(self) -> pl.LazyFrame:
        """Give the rows with any cell filled: ``source_row``, ``too_long`` and a column ``c0``, ``c1``, … a heading."""
        names = [f"c{place}" for place in range(len(self.headings))]
        scanned = pl.scan_csv(
            self.path,
            separator=self.delimiter,
            has_header=False,
            skip_lines=self.skipped,
            schema=dict.fromkeys(names, pl.String),
            row_index_name="source_row",
            row_index_offset=self.skipped + 1,
        )
        if not self.tidy:
            scanned = scanned.with_columns(_tidied(pl.col(*names)))
        return scanned.with_columns(pl.col("source_row").cast(pl.Int64), pl.lit(False).alias("too_long")).filter(
            pl.any_horizontal(pl.col(*names).is_not_null())
        )

    @cached_property
    def some_rows(self) -> list[list[str]]:
        """Give some rows from places spread over the file."""
        rows: list[list[str]] = []
        with self.path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as whole:
            for number in range(SOME_PLACES):
                first = whole.find(b"\n", len(whole) * number // SOME_PLACES) + 1
                piece = whole[first : first + SOME_BYTES]
                text = piece[: piece.rfind(b"\n") + 1].decode("utf-8", "replace")
                cut = [row for row in csv.reader(io.StringIO(text, newline=""), delimiter=self.delimiter) if row]
                rows += [[cell.strip() for cell in row] for row in cut if len(row) == len(self.headings)]
        return rows


def scan_plain_csv(path: Path, recognise: Recognise, *, smallest_bytes: int = SMALLEST_BYTES) -> PlainTable | None:
    """Scan a CSV where it lies, if it is large and plain.

    Parameters
    ----------
    path : Path
    recognise : callable
        Tells headings from other rows.
    smallest_bytes : int, optional
        Smaller files are left to the slow way.

    Returns
    -------
    PlainTable or None
        None where the slow way is needed.
    """
    known = check_file(path)
    if known.st_size < max(smallest_bytes, 1):
        return None
    try:
        opened = path.open("rb")
    except OSError:
        return None  # the slow way says why
    with opened as file:
        start = file.read(START_BYTES)
        if len(start) == START_BYTES:
            start = start[: start.rfind(b"\n") + 1]
        read = _start_of(start, recognise)
        if read is None:
            return None
        headings, delimiter, skipped = read
        with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as whole:
            lines = _plain_lines(whole, delimiter)
    if lines is None:
        return None
    facts: dict[str, Any] = {
        "kind": "csv",
        "encoding": "UTF-8",
        "delimiter": DELIMITERS[delimiter],
        "heading_row": skipped,
    }
    return PlainTable(path, path.name, headings, delimiter, skipped, lines, True, facts, known)


def _start_of(start: bytes, recognise: Recognise) -> tuple[tuple[str, ...], str, int] | None:
    """Find the headings, the delimiter and how many lines stand before the first row."""
    if start.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")) or b"\x00" in start:
        return None
    text, encoding = decode("", start)
    if encoding != "UTF-8":
        return None
    mark, rest = take_hint(text)
    delimiter = mark or choose_delimiter(rest, lambda row: recognise(row[:MOST_COLUMNS])[0])
    if delimiter is None or mark:
        return None
    grid = [[cell.strip() for cell in row] for row in _first_rows(rest, delimiter)]
    place, headings = headings_of(grid, recognise)
    if place is None or any("\n" in cell for row in grid for cell in row):
        return None
    if len(headings) > MOST_COLUMNS or len(headings) != len(grid[place]):
        return None
    return headings, delimiter, place + 1


def _first_rows(text: str, delimiter: str) -> Sequence[list[str]]:
    """Cut the first rows."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    return [row for row, _ in zip(reader, range(LOOK_FOR_HEADINGS_IN), strict=False)]


def _plain_lines(whole: mmap.mmap, delimiter: str) -> int | None:
    """Count the lines, up to the last with anything in it; None where the file is not plain."""
    everything = np.frombuffer(whole, dtype=np.uint8)
    end = len(everything)
    while end and everything[end - 1] in (LINE_FEED, CARRIAGE_RETURN):
        end -= 1
    blocks = [(place, min(place + BLOCK_BYTES, end)) for place in range(0, end, BLOCK_BYTES)]
    with ThreadPoolExecutor(min(len(blocks), os.cpu_count() or 1) or 1) as side_by_side:
        counted = list(side_by_side.map(lambda block: _plain_feeds(everything, block[0], block[1], delimiter), blocks))
    return None if None in counted else 1 + sum(feeds for feeds in counted if feeds is not None)


def _plain_feeds(everything: np.ndarray, place: int, end: int, delimiter: str) -> int | None:
    """Count the line feeds of one block; None where it is not plain."""
    block = everything[place:end]
    feeds = np.flatnonzero(block == LINE_FEED)
    low = int(np.count_nonzero(block < SPACE))
    returns = int(np.count_nonzero(block == CARRIAGE_RETURN)) if low != len(feeds) else 0
    if low != len(feeds) + returns and low != len(feeds) + returns + int(np.count_nonzero(block == TAB)):
        return None
    if returns and not bool(np.all(everything[feeds + place - 1] == CARRIAGE_RETURN)):
        return None
    lengths = np.diff(feeds)
    if not len(feeds) or (
        len(lengths) and not 1 + bool(returns) < lengths.min() <= lengths.max() <= LONGEST_LINE_BYTES
    ):
        return None
    if (block == QUOTE).any() and not _quotes_in_place(everything, place, len(block), delimiter):
        return None
    return len(feeds)


def _tidied(text: pl.Expr) -> pl.Expr:
    """Take the spaces off the edges of cells; what is empty then is no text."""
    text = text.str.replace_all("\u00a0", " ", literal=True).str.strip_chars()
    return pl.when(text != "").then(text)


def _quotes_in_place(everything: np.ndarray, place: int, length: int, delimiter: str) -> bool:
    """Tell whether every quotation mark opens a cell, closes one, or stands beside another."""
    marks = np.flatnonzero(everything[place : place + length] == QUOTE) + place
    edges = np.array([ord(delimiter), LINE_FEED, CARRIAGE_RETURN, QUOTE])
    before = np.where(marks > 0, everything[np.maximum(marks - 1, 0)], LINE_FEED)
    after = np.where(marks < len(everything) - 1, everything[np.minimum(marks + 1, len(everything) - 1)], LINE_FEED)
    return bool(np.all(np.isin(before, edges) | np.isin(after, edges)))


def _needs_tidying(text: pl.Expr) -> pl.Expr:
    """Tell whether a cell is other than its tidy form."""
    return text.str.contains("\u00a0", literal=True) | (text.str.strip_chars() != text) | (text == "")


def numbered_plain(
    table: PlainTable, places: Mapping[str, int], told: Mapping[str, Sequence[int]], recognise: Recognise
) -> TextRows | None:
    """Give each text of a plain table a number; None where it turns out not to be plain.

    Cells are taken as they stand, which is fast; only where the distinct texts
    show that some need their edges tidied is the table read again for that.
    """
    try:
        text = number_texts(table, places, told, untidy=_needs_tidying)
        if text.untidy:
            table = replace(table, tidy=False)
            text = number_texts(table, places, told)
    except (pl.exceptions.ComputeError, pl.exceptions.SchemaError):
        return None  # a row longer than the headings, or bytes that are no UTF-8
    last = text.rows["source_row"].max()
    if last is None or int(last) > table.lines:  # type: ignore[arg-type]  # the column holds whole numbers
        return None
    if _headings_again(table, text, recognise):
        return None
    check_unchanged(table.path, table.known, table.known.st_size)
    table.facts.update(blank_rows=table.lines - table.skipped - len(text.rows), rows=len(text.rows))
    return text


def _headings_again(table: PlainTable, text: TextRows, recognise: Recognise) -> bool:
    """Tell whether headings stand again on the way down, as where exports were put one below the other."""
    for column in ("date", "slot_start", "started_at"):
        strange = [number for number, each in enumerate(text.texts.get(column, [])) if not re.search(r"\d", each)]
        if strange:
            where = text.rows.lazy().filter(pl.col(column).is_in(strange)).select("source_row")
            rows = table.cells.join(where, on="source_row", how="semi").drop("source_row", "too_long").collect()
            if any(are_headings([cell or "" for cell in row], recognise) for row in rows.iter_rows()):
                return True
    return False
