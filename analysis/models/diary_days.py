"""How much of a clinic's work each day bears: weekdays, half days, closures and catching up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.models.closures import USUAL, Closures, learn_closures
from analysis.models.visit_history import History

DAYS_LOOKED_AT = 364
"""Weekdays are learnt from the last 52 weeks."""
BUSY = 3.0
"""Visits per open day from which an empty weekday is taken for a closed one (our choice, no source)."""
LONGEST_BACKLOG_DAYS = 31


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
    closures : Closures
        Days closed in every year of the log, which are expected closed again.
    opened : numpy.ndarray of int
        Days of the log taken for opening days: in a busy clinic those with any
        booking; in a quiet one every usual day but the closures.
    """

    shares: np.ndarray
    sizes: np.ndarray
    busy: bool
    closures: Closures
    opened: np.ndarray

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
    past = np.arange(first, last + 1)
    window = past[-DAYS_LOOKED_AT:]
    days = history.diary_days[history.diary_days >= window[0]]
    seen = np.bincount(weekday(days), minlength=7)
    shares = seen / np.maximum(np.bincount(weekday(window), minlength=7), 1)
    busy = bool(len(history.day) >= BUSY * len(history.diary_days))
    closures = learn_closures(history.diary_days, past, shares[weekday(past)], told_by_a_day=busy)
    opened = history.diary_days if busy else past[(shares[weekday(past)] > 0) & ~closures.on(past)]
    visits = history.day[history.since(window[0])]
    if not busy or not len(visits):
        return Weekdays(shares, shares, busy, closures, opened)
    a_day = np.bincount(weekday(visits), minlength=7) / np.maximum(seen, 1)
    return Weekdays(shares, shares * a_day / (len(visits) / len(days)), busy, closures, opened)


def days_worked(week: Weekdays, edges: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Work borne by the days the clinic was open: what a closed day would have borne is lost.

    Parameters
    ----------
    week : Weekdays
    edges : (numpy.ndarray, numpy.ndarray)
        First day of each month and the day after its last.

    Returns
    -------
    numpy.ndarray, shape (months,)
    """
    opened = week.opened
    share = week.shares if week.busy else 1 - _share_closed(week, np.arange(opened[0], opened[-1] + 1))
    size = np.divide(week.sizes, share, out=np.zeros(7), where=share > 0)
    return _between(np.concatenate([[0.0], size[weekday(opened)].cumsum()]), opened, edges)


def days_caught_up(week: Weekdays, edges: tuple[np.ndarray, np.ndarray], *, first: int) -> np.ndarray:
    """Work borne by the days the clinic was open, each bearing that of closed days before it too.

    Parameters
    ----------
    week : Weekdays
    edges : (numpy.ndarray, numpy.ndarray)
        First day of each month and the day after its last.
    first : int
        First day the log covers.

    Returns
    -------
    numpy.ndarray, shape (months,)
    """
    opened = week.opened
    dates = np.arange(min(first, int(opened[0])), int(opened[-1]) + 1)
    due = week.sizes[weekday(dates)].cumsum()
    return _between(np.concatenate([[0.0], due[opened - dates[0]]]), opened, edges)


def days_ahead(
    week: Weekdays, edges: tuple[np.ndarray, np.ndarray], *, first: int, last: int
) -> tuple[np.ndarray, np.ndarray]:
    """Work the days of coming months should bear, with closed days' work lost, and with it caught up on.

    Parameters
    ----------
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
    Days that were closed in every year of the log, such as 25 December, are
    expected closed (``learn_closures``). Work left since the last open day of
    the log waits for the first one ahead.
    """
    past = np.arange(first, last + 1)
    begun = max(int(week.opened[-1]), last - LONGEST_BACKLOG_DAYS) + 1
    dates = np.arange(begun, int(edges[1][-1]))
    bears = np.divide(week.sizes, 1 - _share_closed(week, past), out=np.zeros(7), where=week.sizes > 0)
    opened = dates[(dates > last) & ~week.closures.on(dates)]
    if not len(opened):
        return np.zeros(len(edges[0])), np.zeros(len(edges[0]))
    lost = np.concatenate([[0.0], bears[weekday(opened)].cumsum()])
    due = week.sizes[weekday(dates)].cumsum()
    caught_up = np.concatenate([[0.0], due[opened - dates[0]]])
    return _between(lost, opened, edges), _between(caught_up, opened, edges)


def _share_closed(week: Weekdays, past: np.ndarray) -> np.ndarray:
    """Share of each weekday's dates of the last year that are closed every year; never all of them."""
    window = past[-DAYS_LOOKED_AT:]
    closed = np.bincount(weekday(window[week.closures.on(window)]), minlength=7)
    share = closed / np.maximum(np.bincount(weekday(window), minlength=7), 1)
    return np.where(week.shares >= USUAL, np.minimum(share, 0.9), 0.0)


def _between(so_far: np.ndarray, days: np.ndarray, edges: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Take what was borne within each month out of what was borne so far."""
    start, stop = (np.searchsorted(days, edge) for edge in edges)
    return so_far[stop] - so_far[start]
