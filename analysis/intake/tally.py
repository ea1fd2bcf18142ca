"""The count of rows kept and set aside, collected stretch by stretch."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

import polars as pl

from analysis.intake.conflicts import Conflict
from analysis.intake.filled import OF_EVERY_BOOKING, Filled, of_those_who_came


class Tally:
    """What became of every row.

    Parameters
    ----------
    read : mapping
        File to the number of its rows.

    Attributes
    ----------
    kept : Counter
        Rows kept, by file.
    aside : polars.DataFrame
        Rows set aside, with what is needed to tell why.
    order : dict
        A file's place among the files, to its name.
    without_clock : int
        Rows kept that have no time of day.
    joined : Counter
        Rows joined to the visit of their number, by file.
    ears_of_passes : Counter
        Ears whose rows are one pass of an instrument each, by file.
    too_many_passes : Counter
        Those of them with more passes than are told apart, by file.
    shared_numbers : int
        Visit numbers that stand for several visits.
    conflicts : list of Conflict
    contradictions : Counter
    bookings, attended, worked : Filled
        How many bookings, attended visits and ears have each fact.
    days : list
        Among others the first and the last start of a slot.
    """

    def __init__(self, read: Mapping[str, int]) -> None:
        self.read = dict(read)
        self.kept: Counter[str] = Counter()
        self.order: dict[int, str] = {}
        self.without_clock = 0
        self.joined: Counter[str] = Counter()
        self.ears_of_passes: Counter[str] = Counter()
        self.too_many_passes: Counter[str] = Counter()
        self.shared_numbers = 0
        self.conflicts: list[Conflict] = []
        self.contradictions: Counter[str] = Counter()
        self.bookings = self.attended = self.worked = Filled(0, {})
        self.days: list[Any] = []
        self._aside: list[pl.DataFrame] = []

    def rows_kept(self, counts: pl.DataFrame) -> None:
        """Add the rows of each file that were kept."""
        for row in counts.iter_rows(named=True):
            self.kept[row["source_file"]] += row["rows"]
            self.order[row["file_order"]] = row["source_file"]
            self.without_clock += row["without_clock"]
            self.joined[row["source_file"]] += row["rows_joined"]

    def passes(self, counts: pl.DataFrame) -> None:
        """Add the ears of each file whose rows are passes."""
        self.ears_of_passes.update(dict(counts.select("source_file", "ears").iter_rows()))
        self.too_many_passes.update(dict(counts.select("source_file", "too_many").iter_rows()))

    def rows_aside(self, rows: pl.DataFrame) -> None:
        """Add rows set aside."""
        if not rows.is_empty():
            self._aside.append(rows)
            self.order |= dict(rows.select("file_order", "source_file").unique().iter_rows())

    def contradiction(self, counts: pl.DataFrame) -> None:
        """Add the facts that exclude each other."""
        self.contradictions.update({what: int(count or 0) for what, count in counts.row(0, named=True).items()})

    def finished_ears(self, ears: pl.DataFrame) -> None:
        """Add what a finished part of the ears holds."""
        self.worked += Filled.of(ears.lazy())

    def finished_visits(self, visits: pl.DataFrame) -> None:
        """Add what a finished part of the visits holds."""
        came = visits.lazy().filter(pl.col("attendance") == "attended")
        self.bookings += Filled.of(visits.lazy().select(OF_EVERY_BOOKING))
        self.attended += Filled.of(came.select(of_those_who_came()))
        if len(visits):
            self.days += visits["slot_start"][[0, -1]].to_list()  # in their order

    @property
    def aside(self) -> pl.DataFrame:
        """Give all rows set aside."""
        return pl.concat(self._aside, how="vertical_relaxed") if self._aside else pl.DataFrame()

    def reasons(self) -> Counter[str]:
        """Count the rows set aside by reason."""
        counts: Counter[str] = Counter()
        for frame in self._aside:
            counts.update(dict(frame.group_by("reason").len().iter_rows()))
        return counts

    def check_nothing_lost(self) -> None:
        """Stop if rows read are not rows kept plus rows set aside: that would be a fault of the program."""
        told = Counter(self.kept)
        for frame in self._aside:
            told.update(dict(frame.group_by("source_file").len().iter_rows()))
        if told != Counter({file: rows for file, rows in self.read.items() if rows}):
            raise AssertionError(f"{sum(self.read.values())} rows were read, but {told.total()} were kept or set aside")
