"""Quarters of the calendar year: which days they hold and how they are called."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd

from analysis.problems import DataProblem


@dataclass(frozen=True, slots=True, order=True)
class Quarter:
    """One quarter of a calendar year, written ``2026-Q3``.

    Parameters
    ----------
    year : int
        Calendar year.
    number : int
        1 (January to March) to 4 (October to December).

    Notes
    -----
    Quarters sort by time, and ``str`` gives the written form back, so that
    ``Quarter.parse(str(quarter)) == quarter``.

    Examples
    --------
    >>> quarter = Quarter.parse("2026-Q3")
    >>> quarter.first_day.date().isoformat(), quarter.last_day.date().isoformat()
    ('2026-07-01', '2026-09-30')
    >>> str(quarter.previous), str(quarter.same_last_year), quarter.label
    ('2026-Q2', '2025-Q3', 'July to September 2026')
    """

    year: int
    number: int

    @classmethod
    def parse(cls, text: str) -> Quarter:
        """Read a quarter as people write it: ``2026-Q3``, ``2026q3``, ``2026 Q3``.

        Parameters
        ----------
        text : str
            Year first, then Q and the quarter's number.

        Returns
        -------
        Quarter

        Raises
        ------
        DataProblem
            If the text is anything else.

        Examples
        --------
        >>> Quarter.parse(" 2026q1 ")
        Quarter(year=2026, number=1)
        """
        match = re.fullmatch(r"\s*(\d{4})[\s-]?[Qq]([1-4])\s*", text)
        if match is None:
            raise DataProblem("This is not a quarter.", "Write the year, then Q1 to Q4, such as 2026-Q3.", value=text)
        return cls(int(match[1]), int(match[2]))

    @classmethod
    def holding(cls, day: pd.Timestamp) -> Quarter:
        """Find the quarter a day falls in.

        Examples
        --------
        >>> str(Quarter.holding(pd.Timestamp("2026-10-01")))
        '2026-Q4'
        """
        return cls(day.year, day.quarter)

    @classmethod
    def last_complete(cls, last_day: pd.Timestamp) -> Quarter:
        """Find the last quarter a log covers to its end.

        Parameters
        ----------
        last_day : pandas.Timestamp
            Last day the log covers; a time of day is ignored.

        Returns
        -------
        Quarter
            The quarter ending on ``last_day``, or the one before the quarter it falls in.

        Examples
        --------
        >>> str(Quarter.last_complete(pd.Timestamp("2026-09-30"))), str(Quarter.last_complete(pd.Timestamp("2026-09-29")))
        ('2026-Q3', '2026-Q2')
        """
        current = cls.holding(last_day)
        return current if last_day.normalize() == current.last_day else current.previous

    @property
    def first_day(self) -> pd.Timestamp:
        """First day, at midnight."""
        return pd.Timestamp(self.year, 3 * self.number - 2, 1)

    @property
    def last_day(self) -> pd.Timestamp:
        """Last day, at midnight; visits on that day still belong to the quarter."""
        return self.next.first_day - pd.Timedelta(days=1)

    @property
    def next(self) -> Quarter:
        """The quarter after."""
        return Quarter(self.year + 1, 1) if self.number == 4 else Quarter(self.year, self.number + 1)

    @property
    def previous(self) -> Quarter:
        """The quarter before."""
        return Quarter(self.year - 1, 4) if self.number == 1 else Quarter(self.year, self.number - 1)

    @property
    def same_last_year(self) -> Quarter:
        """The same quarter of the year before, so that seasons compare like with like."""
        return Quarter(self.year - 1, self.number)

    @property
    def label(self) -> str:
        """The quarter as people say it: ``July to September 2026``."""
        return f"{self.first_day:%B} to {self.last_day:%B} {self.year}"

    def holds(self, moments: pd.Series) -> pd.Series:
        """Mark the moments that fall in the quarter.

        Parameters
        ----------
        moments : pandas.Series of datetime64
            Days or moments; an empty one falls in no quarter.

        Returns
        -------
        pandas.Series of bool

        Examples
        --------
        >>> moments = pd.Series(pd.to_datetime(["2026-09-30 17:55", "2026-10-01 00:00", None]))
        >>> Quarter(2026, 3).holds(moments).tolist()
        [True, False, False]
        """
        return (moments >= self.first_day) & (moments < self.next.first_day)

    def __str__(self) -> str:
        """Write it as ``2026-Q3``."""
        return f"{self.year}-Q{self.number}"
