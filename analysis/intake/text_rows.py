"""The rows of one export with every text numbered: distinct texts once, numbers in the rows.

Understanding happens on the distinct texts; the rows carry a number in the place
of each text (``EMPTY`` where nothing stands), so that every engine joins small
whole numbers instead of long texts.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import polars as pl

from analysis.intake.row_columns import columns_of_kind, kind_of
from analysis.intake.understanding import CLOCK_PART, DAY_PART, MOMENT_KINDS, Counts

EMPTY = -1
UNTIDY = "__untidy"
NOT_NUMBERED = ("visit_id",)
"""Different in almost every row."""
NUMBER = pl.Int32
DAY_AND_CLOCK = r"^(\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4})[ T](\d{1,2}:\d{2}(?::\d{2})?)$"
"""A date and a time in one cell: split, because there are few days and few times but many of both."""
DAY_AND_CLOCK_CELL = re.compile(DAY_AND_CLOCK)
MOST_LOOKED_AT = 2000


class Table(Protocol):
    """A table that was read.

    ``cells`` are its rows with a column ``c0``, ``c1``, … for each heading, ``top`` some rows at the top.
    Rows equal in every cell and under equal headings get the same mark.
    """

    @property
    def headings(self) -> tuple[str, ...]:
        """Give the headings, empty ones called after their place."""

    @property
    def cells(self) -> pl.LazyFrame:
        """Give all rows."""

    @property
    def some_rows(self) -> list[list[str]]:
        """Give some rows, spread over the table."""


@dataclass(eq=False)
class TextRows:
    """Numbered rows.

    Attributes
    ----------
    rows : polars.DataFrame
        ``source_row``, ``too_long``, ``content`` (a mark of the whole row), the counts of filled
        cells, and a number for each column of ``texts``.
    texts : dict
        Column to its distinct texts; a row's number is the place in this list.
    untidy : bool
        A cell was found that needs its edges tidied, where that was asked.
    """

    rows: pl.DataFrame
    texts: dict[str, list[str]] = field(default_factory=dict)
    untidy: bool = False
    row_count: int = field(init=False)

    def __post_init__(self) -> None:
        self.row_count = len(self.rows)

    def forget_rows(self) -> None:
        """Let the memory of the rows go, and of the texts that tell who patients are; how many rows there were stays known."""
        self.rows = self.rows.clear()
        self.texts = {column: texts for column, texts in self.texts.items() if column not in columns_of_kind("key")}

    def counts(self, columns: Sequence[str]) -> Counts:
        """Count the distinct texts of some columns, with the first row in which each stands."""
        found = [column for column in columns if column in self.texts]
        grouped = pl.collect_all(
            [
                self.rows.lazy()
                .filter(pl.col(column) != EMPTY)
                .group_by(column)
                .agg(pl.len().alias("rows"), pl.col("source_row").min().alias("first"))
                for column in found
            ]
        )
        return {
            column: dict(
                sorted((self.texts[column][number], (rows, first)) for number, rows, first in frame.iter_rows())
            )
            for column, frame in zip(found, grouped, strict=True)
        }

    def numbers(self, column: str) -> dict[str, int]:
        """Give the number of each distinct text of a column."""
        return {text: number for number, text in enumerate(self.texts.get(column, []))}

    def distinct(self, column: str) -> list[str]:
        """List the distinct texts of a column; of one that is not numbered, those of rows spread over all."""
        if column in self.texts:
            return sorted(self.texts[column])
        if column not in self.rows.columns:
            return []
        filled = self.rows[column].drop_nulls()
        return sorted(filled.gather_every(len(filled) // MOST_LOOKED_AT + 1).unique())

    def without(self, column: str) -> TextRows:
        """Leave a column out."""
        return TextRows(self.rows.drop(column), {name: texts for name, texts in self.texts.items() if name != column})

    def filled_from(self, column: str, source: str, written: Sequence[str], *, over: bool = False) -> TextRows:
        """Fill a column with ``written`` at the numbers of another, where it is empty or ``over`` whatever stands there."""
        before = [] if over else self.texts.get(column, [])
        distinct = [*before, *sorted({text for text in written if text} - set(before))]
        numbers = {text: number for number, text in enumerate(distinct)}
        pairs = {number: numbers[text] for number, text in enumerate(written) if text}
        found = (
            pl.col(source).replace_strict(list(pairs), list(pairs.values()), default=EMPTY, return_dtype=NUMBER)
            if pairs
            else pl.lit(EMPTY, NUMBER)
        )
        if before:
            found = pl.when(pl.col(column) == EMPTY).then(found).otherwise(pl.col(column))
        return TextRows(self.rows.with_columns(found.alias(column)), {**self.texts, column: distinct})


def number_texts(
    table: Table,
    places: Mapping[str, int],
    told: Mapping[str, Sequence[int]],
    *,
    untidy: Callable[[pl.Expr], pl.Expr] | None = None,
) -> TextRows:
    """Give each text of the columns that are used a number.

    Parameters
    ----------
    table : ReadTable or PlainTable
    places : mapping
        Known column to its place among the headings.
    told : mapping
        Name of a count to the places it counts filled cells of.
    untidy : callable, optional
        Tells of a text whether it needs tidying, in any column.

    Returns
    -------
    TextRows
    """
    signature = int.from_bytes(hashlib.blake2b("\x1f".join(table.headings).encode(), digest_size=8).digest(), "big")
    everything = pl.struct(pl.col(f"c{place}") for place in range(len(table.headings)))
    counted = [_filled(numbers).alias(name) for name, numbers in told.items()]
    kept = {name: pl.col(f"c{place}") for name, place in places.items() if name in NOT_NUMBERED}
    places = {name: place for name, place in places.items() if kind_of(name) != "drop" and name not in kept}
    together = _that_hold_both(
        table.some_rows,
        {name: place for name, place in places.items() if kind_of(name) in MOMENT_KINDS and name != "birth_date"},
    )
    texts = {name: pl.col(f"c{place}") for name, place in places.items() if name not in together}
    for name in together:
        texts |= _apart(name, pl.col(f"c{places[name]}"))
    numbered = {name: pl.Categorical(pl.Categories.random()) for name in texts}
    apart = [place for place in range(len(table.headings)) if place not in places.values()]
    strange = [untidy(pl.col(f"c{place}")) for place in apart] if untidy else []
    rows = table.cells.select(
        "source_row",
        "too_long",
        (everything.hash(signature % 2**63)).reinterpret(signed=True).alias("content"),
        *counted,
        *([pl.any_horizontal(strange).alias(UNTIDY)] if strange else []),
        *(text.alias(name) for name, text in kept.items()),
        *(text.cast(numbered[name]).alias(name) for name, text in texts.items()),
    ).collect(engine="streaming")
    return _with_numbers(rows, list(texts), untidy)


def _with_numbers(rows: pl.DataFrame, columns: Sequence[str], untidy: Callable[[pl.Expr], pl.Expr] | None) -> TextRows:
    """Take the distinct texts of categorical columns out, and leave their numbers."""
    strange = UNTIDY in rows.columns and bool(rows[UNTIDY].any())
    rows = rows.drop(UNTIDY, strict=False)
    texts: dict[str, list[str]] = {}
    for name in columns:
        text = _categories(rows[name])
        if len(text):
            strange = strange or (untidy is not None and text.to_frame().select(untidy(pl.col("text")).any()).item())
            texts[name] = text.to_list()
    numbers = [pl.col(name).to_physical().cast(NUMBER).fill_null(EMPTY) for name in texts]
    return TextRows(rows.drop(set(columns) - set(texts)).with_columns(*numbers), texts, strange)


def _categories(numbered: pl.Series) -> pl.Series:
    """List the texts of a categorical column that has its categories to itself, in the order of their numbers."""
    last = numbered.to_physical().max()
    numbers = pl.int_range(0 if last is None else int(last) + 1, dtype=pl.UInt32)  # type: ignore[arg-type]  # a whole number
    return pl.select(numbers.cat.to(numbered.dtype).cast(pl.String).alias("text")).to_series()


def _filled(places: Sequence[int]) -> pl.Expr:
    """Count the filled cells among some places."""
    if not places:
        return pl.lit(0, pl.Int64)
    return pl.sum_horizontal(pl.col(f"c{place}").is_not_null().cast(pl.Int64) for place in places)


def _that_hold_both(rows: Sequence[Sequence[str]], places: Mapping[str, int]) -> list[str]:
    """List the columns in which a date and a time stand together in a cell of some rows."""
    return [name for name, place in places.items() if any(DAY_AND_CLOCK_CELL.match(row[place]) for row in rows)]


def _apart(name: str, text: pl.Expr) -> dict[str, pl.Expr]:
    """Part cells of a date and a time; any other cell stays whole."""
    both = text.str.contains(DAY_AND_CLOCK)
    parts = text.str.extract_groups(DAY_AND_CLOCK)
    return {
        name: pl.when(~both).then(text),
        name + DAY_PART: parts.struct.field("1"),
        name + CLOCK_PART: parts.struct.field("2"),
    }
