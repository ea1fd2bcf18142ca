"""How much of a clinic's work each day bears: weekdays, half days, closures and catching up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.visit_history import History

DAYS_LOOKED_AT = 364
"""Weekdays are learnt from the last 52 weeks."""
BUSY = 3.0
"""Visits per open day from which an empty weekday is taken for a closed one (our choice, no source)."""
LONGEST_BACKLOG_DAYS = 31
USUAL = 0.5
"""Share of its dates from which a weekday is a usual opening day (our choice, no source)."""


@dataclass(frozen=True, eq=False)
class Weekdays:
    """A clinic's week, Monday first.

    Attributes
    ----------
    shares : numpy.ndarray, shape (7,)
        Share of each weekday's dates on which the clinic opened.
    sizes : numpy.ndarray, shape (7,)
        Work each weekday's date bears on average, in opening days of the
        average size: half days and seldom opened days count for less.
    busy : bool
        Whether an empty weekday can be taken for a closed one.
    """

    shares: np.ndarray
    sizes: np.ndarray
    busy: bool

    def expected(self, start: int, stop: int) -> float:
        """Sum the work expected from day ``start`` up to, not including, ``stop``."""
        return float(self.sizes[weekday(np.arange(start, stop))].sum())

    def open_days(self, start: int, stop: int) -> float:
        """Count opening days expected from day ``start`` up to, not including, ``stop``."""
        return float(self.shares[weekday(np.arange(start, stop))].sum())


def weekday(days: np.ndarray) -> np.ndarray:
    """Give the weekday of days counted from 1 January 1970, a Thursday; Monday is 0.

    Examples
    --------
    >>> weekday(np.array([0, 4])).tolist()
    [3, 0]
    """
    return (days + 3) % 7


def learn_weekdays(history: History, *, first: int, last: int) -> Weekdays:
    """Learn a clinic's week from the last 52 weeks of its diary.

    Parameters
    ----------
    history : History
    first, last : int
        First and last day the log covers, counted from 1 January 1970.

    Returns
    -------
    Weekdays
        In a quiet clinic, with fewer than three visits an open day, every
        opening day counts as a full one, since an empty day says little.
    """
    window = np.arange(max(first, last - DAYS_LOOKED_AT + 1), last + 1)
    days = history.diary_days[history.diary_days >= window[0]]
    opened = np.bincount(weekday(days), minlength=7)
    shares = opened / np.maximum(np.bincount(weekday(window), minlength=7), 1)
    busy = bool(len(history.day) >= BUSY * len(history.diary_days))
    visits = history.day[history.day >= window[0]]
    if not busy or not len(visits):
        return Weekdays(shares, shares, busy)
    a_day = np.bincount(weekday(visits), minlength=7) / np.maximum(opened, 1)
    return Weekdays(shares, shares * a_day / (len(visits) / len(days)), busy)


def days_worked(history: History, week: Weekdays, edges: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Work borne by the days the clinic was open: what a closed day would have borne is lost.

    Parameters
    ----------
    history : History
    week : Weekdays
    edges : (numpy.ndarray, numpy.ndarray)
        First day of each month and the day after its last.

    Returns
    -------
    numpy.ndarray, shape (months,)
    """
    opened = history.diary_days
    size = np.divide(week.sizes, week.shares, out=np.zeros(7), where=week.shares > 0)
    return _between(np.concatenate([[0.0], size[weekday(opened)].cumsum()]), opened, edges)


def days_caught_up(history: History, week: Weekdays, edges: tuple[np.ndarray, np.ndarray], *, first: int) -> np.ndarray:
    """Work borne by the days the clinic was open, each bearing that of closed days before it too.

    Parameters
    ----------
    history : History
    week : Weekdays
    edges : (numpy.ndarray, numpy.ndarray)
        First day of each month and the day after its last.
    first : int
        First day the log covers.

    Returns
    -------
    numpy.ndarray, shape (months,)
    """
    opened = history.diary_days
    dates = np.arange(min(first, int(opened[0])), int(opened[-1]) + 1)
    due = week.sizes[weekday(dates)].cumsum()
    return _between(np.concatenate([[0.0], due[opened - dates[0]]]), opened, edges)


def days_ahead(
    history: History, week: Weekdays, edges: tuple[np.ndarray, np.ndarray], *, first: int, last: int
) -> tuple[np.ndarray, np.ndarray]:
    """Work the days of coming months should bear, with closed days' work lost, and with it caught up on.

    Parameters
    ----------
    history : History
    week : Weekdays
    edges : (numpy.ndarray, numpy.ndarray)
        First day of each coming month and the day after its last, without a gap.
    first, last : int
        First and last day the log covers.

    Returns
    -------
    (numpy.ndarray, numpy.ndarray)
        Both of shape (months,).

    Notes
    -----
    A date on which the clinic was closed in every year of the log in which it
    fell on a usual opening day, such as 25 December, is expected closed. Work
    left since the last open day of the log waits for the first one ahead.
    """
    past = np.arange(first, last + 1)
    begun = max(int(history.diary_days[-1]), last - LONGEST_BACKLOG_DAYS) + 1
    dates = np.arange(begun, int(edges[1][-1]))
    always = _always_closed(history, week, past)
    bears = np.divide(week.sizes, 1 - _share_closed(week, past, always), out=np.zeros(7), where=week.sizes > 0)
    opened = dates[(dates > last) & ~np.isin(_calendar_day(dates), always)]
    if not len(opened):
        return np.zeros(len(edges[0])), np.zeros(len(edges[0]))
    lost = np.concatenate([[0.0], bears[weekday(opened)].cumsum()])
    due = week.sizes[weekday(dates)].cumsum()
    caught_up = np.concatenate([[0.0], due[opened - dates[0]]])
    return _between(lost, opened, edges), _between(caught_up, opened, edges)


def _calendar_day(days: np.ndarray) -> np.ndarray:
    """Give month and day of the month as one number, 1225 for 25 December."""
    dates = pd.to_datetime(days, unit="D", origin="unix")
    return np.asarray(dates.month) * 100 + np.asarray(dates.day)


def _always_closed(history: History, week: Weekdays, past: np.ndarray) -> np.ndarray:
    """Find the dates of the year on which the clinic was never open, though it was a usual opening day."""
    usual = past[week.shares[weekday(past)] >= USUAL]
    opened = pd.Series(np.isin(usual, history.diary_days)).groupby(_calendar_day(usual)).any()
    return opened.index[~opened.to_numpy()].to_numpy()


def _share_closed(week: Weekdays, past: np.ndarray, always: np.ndarray) -> np.ndarray:
    """Share of each weekday's dates of the last year that are always closed; never all of them."""
    window = past[-DAYS_LOOKED_AT:]
    closed = np.bincount(weekday(window[np.isin(_calendar_day(window), always)]), minlength=7)
    share = closed / np.maximum(np.bincount(weekday(window), minlength=7), 1)
    return np.where(week.shares >= USUAL, np.minimum(share, 0.9), 0.0)


def _between(so_far: np.ndarray, days: np.ndarray, edges: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Take what was borne within each month out of what was borne so far."""
    start, stop = (np.searchsorted(days, edge) for edge in edges)
    return so_far[stop] - so_far[start]
