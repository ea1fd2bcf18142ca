"""The quarter asked for, and the whole quarters a log lets it be compared with."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analysis.derive.quarters import Quarter
from analysis.problems import NotEnough

THIS, LAST, YEAR = "this_quarter", "last_quarter", "year_before"
QUIET_START_DAYS = 7
"""A log may open on the quarter's first working day rather than its first (a rule of caution, no source)."""


@dataclass(frozen=True, slots=True)
class Periods:
    """The quarter asked for and the whole quarters it may be compared with.

    Attributes
    ----------
    whole : bool
        False where the log covers only part of the quarter; then ``compared`` is empty.
    first_day, last_day : pandas.Timestamp
        The days of the quarter that the log covers.
    compared : dict of str to Quarter
        ``last_quarter`` and ``year_before``, where the log covers them to both ends.
    """

    quarter: Quarter
    whole: bool
    first_day: pd.Timestamp
    last_day: pd.Timestamp
    compared: dict[str, Quarter]

    def split(self, moments: pd.Series) -> dict[str, pd.Series]:
        """Mark the rows of each period; the quarter's own stop at the log's last day."""
        ends = self.last_day + pd.Timedelta(days=1)
        marks = {THIS: self.quarter.holds(moments) & (moments < ends)}
        return marks | {name: quarter.holds(moments) for name, quarter in self.compared.items()}

    def within(self, moments: pd.Series) -> pd.Series:
        """Mark the rows of any period: of a long log these are few, and all that a quarter's answers count."""
        return pd.concat(self.split(moments), axis=1).any(axis=1)


def periods(quarter: Quarter, first_day: pd.Timestamp, last_day: pd.Timestamp) -> Periods:
    """Find which quarters a log covers whole.

    Parameters
    ----------
    quarter : Quarter
        The quarter asked for.
    first_day, last_day : pandas.Timestamp
        First and last day the log covers.

    Returns
    -------
    Periods

    Raises
    ------
    NotEnough
        If the log has no day in the quarter.

    Examples
    --------
    >>> found = periods(Quarter(2026, 3), pd.Timestamp("2026-04-02"), pd.Timestamp("2026-09-30"))
    >>> found.whole, [str(each) for each in found.compared.values()]
    (True, ['2026-Q2'])
    """
    if pd.isna(first_day) or pd.isna(last_day) or quarter.last_day < first_day or quarter.first_day > last_day:
        raise NotEnough(f"The log has no visit in {quarter.label}.", "Ask for a quarter that the log covers.")

    def covered(each: Quarter) -> bool:
        opens = first_day <= each.first_day + pd.Timedelta(days=QUIET_START_DAYS)
        return opens and last_day.normalize() >= each.last_day

    whole = covered(quarter)
    before = {LAST: quarter.previous, YEAR: quarter.same_last_year}
    return Periods(
        quarter=quarter,
        whole=whole,
        first_day=quarter.first_day if whole else max(quarter.first_day, first_day),
        last_day=min(quarter.last_day, last_day.normalize()),
        compared={name: each for name, each in before.items() if whole and covered(each)},
    )
