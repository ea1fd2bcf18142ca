"""Whole months of the log, months ahead, and how many days the clinic opens in each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.visit_history import EPOCH, History

DAYS_LOOKED_AT = 364
"""Opening weekdays are learnt from the last 52 weeks."""
BUSY = 3.0
"""Visits per open day from which an empty weekday is taken for a closed one (our choice, no source)."""
MISSING_DAYS_ALLOWED = 1.0
"""Opening days a month may lack at an end of the log and still count as whole (our choice, no source)."""


@dataclass(frozen=True, eq=False)
class Months:
    """The log's whole months and the months ahead, with their opening days.

    Attributes
    ----------
    whole : pandas.PeriodIndex
        Months the log covers entirely, in order, without a gap.
    ahead : pandas.PeriodIndex
        Months to forecast: whole calendar months after the last day.
    rest : pandas.PeriodIndex
        The month the log breaks off in, where it is not whole; else empty.
        It must be walked through but is not forecast.
    open_whole, open_ahead, open_rest : numpy.ndarray
        Opening days of each; expected ones for what lies ahead.
    open_per_day : float
        Opening days per calendar day.
    """

    whole: pd.PeriodIndex
    ahead: pd.PeriodIndex
    rest: pd.PeriodIndex
    open_whole: np.ndarray
    open_ahead: np.ndarray
    open_rest: np.ndarray
    open_per_day: float

    @property
    def walked(self) -> pd.PeriodIndex:
        """Months from the day after the log to the end of the forecast."""
        return pd.PeriodIndex([*self.rest, *self.ahead], freq="M")

    @property
    def open_walked(self) -> np.ndarray:
        """Opening days of the months walked through."""
        return np.concatenate([self.open_rest, self.open_ahead])


def months_of(history: History, *, first: int, last: int, months_ahead: int) -> Months:
    """Find the whole months of a log and the months ahead of it.

    Parameters
    ----------
    history : History
        Attended visits and the days with any booking.
    first, last : int
        First and last day the log covers, counted from 1 January 1970.
    months_ahead : int
        Calendar months to look ahead.

    Returns
    -------
    Months

    Notes
    -----
    Which weekdays the clinic opens on is learnt from its last year. In a busy
    clinic a day without any booking was closed, and weekdays count by their
    visits, so that half days count for less; a month ahead is expected to be
    closed as much as the same month was in the years before. In a quiet
    clinic an empty day says little, so the calendar's weekdays count alone.
    The first and last month are whole if they lack at most one opening day.
    """
    shares = _weekday_shares(history.diary_days, first, last)
    ends = pd.PeriodIndex([_period(first), _period(last)])
    span = pd.period_range(ends[0], ends[1], freq="M")
    starts, stops = month_edges(span)
    lacking = np.array(
        [
            _expected_open(shares, a, min(first, b)) + _expected_open(shares, max(last + 1, a), b)
            for a, b in zip(starts, stops, strict=True)
        ]
    )
    fine = lacking <= MISSING_DAYS_ALLOWED
    whole = span[fine]
    rest = span[-1:] if not fine[-1] else span[:0]
    ahead = pd.period_range(span[-1] + 1, periods=months_ahead, freq="M")
    weights = _weekday_weights(history, last)
    opened, closing = _past_open(history, shares, weights, whole)
    sizes = shares * weights
    return Months(
        whole=whole,
        ahead=ahead,
        rest=rest,
        open_whole=opened,
        open_ahead=_ahead_open(sizes, ahead, closing),
        open_rest=_ahead_open(sizes, rest, closing),
        open_per_day=float(sizes.sum() / 7),
    )


def month_of_days(days: np.ndarray) -> pd.PeriodIndex:
    """Give the calendar month of each day.

    Examples
    --------
    >>> month_of_days(np.array([0, 31])).astype("str").tolist()
    ['1970-01', '1970-02']
    """
    return pd.PeriodIndex(pd.to_datetime(days, unit="D", origin="unix"), freq="M")


def month_edges(months: pd.PeriodIndex) -> tuple[np.ndarray, np.ndarray]:
    """Give the first day of each month and the day after its last.

    Examples
    --------
    >>> [edge.tolist() for edge in month_edges(pd.PeriodIndex(["1970-01"], freq="M"))]
    [[0], [31]]
    """
    starts = np.array([(month.start_time - EPOCH).days for month in months], dtype=np.int64)
    return starts, starts + np.array([month.days_in_month for month in months], dtype=np.int64)


def _period(day: int) -> pd.Period:
    """Give the month of a day."""
    return (EPOCH + pd.Timedelta(days=day)).to_period("M")


def _weekday(days: np.ndarray) -> np.ndarray:
    """Monday is 0; 1 January 1970 was a Thursday."""
    return (days + 3) % 7


def _weekday_weights(history: History, last: int) -> np.ndarray:
    """Size of each weekday by its visits a day over the last year; a full day everywhere in a quiet clinic."""
    days = history.diary_days[history.diary_days > last - DAYS_LOOKED_AT]
    visits = history.day[history.day > last - DAYS_LOOKED_AT]
    if not _busy(history):
        return np.ones(7)
    dates = np.bincount(_weekday(days), minlength=7)
    a_day = np.bincount(_weekday(visits), minlength=7) / np.maximum(dates, 1)
    return a_day / (len(visits) / len(days))


def _busy(history: History) -> bool:
    """Say whether an empty weekday can be taken for a closed one."""
    return len(history.day) >= BUSY * len(history.diary_days)


def _weekday_shares(diary_days: np.ndarray, first: int, last: int) -> np.ndarray:
    """Share of each weekday's dates, over the last year, that had any booking."""
    window = np.arange(max(first, last - DAYS_LOOKED_AT + 1), last + 1)
    had = np.bincount(_weekday(diary_days[diary_days >= window[0]]), minlength=7)
    dates = np.bincount(_weekday(window), minlength=7)
    return had / np.maximum(dates, 1)


def _expected_open(shares: np.ndarray, start: int, stop: int) -> float:
    """Count opening days expected from ``start`` up to, not including, ``stop``."""
    return float(shares[_weekday(np.arange(start, stop))].sum())


def _past_open(
    history: History, shares: np.ndarray, weights: np.ndarray, whole: pd.PeriodIndex
) -> tuple[np.ndarray, dict[int, float]]:
    """Count past months' opening days, and say how each month of the year differs from its weekdays."""
    starts, stops = month_edges(whole)
    expected = np.array([_expected_open(shares * weights, a, b) for a, b in zip(starts, stops, strict=True)])
    if not _busy(history):
        return expected, {}
    so_far = np.concatenate([[0.0], weights[_weekday(history.diary_days)].cumsum()])
    places = [np.searchsorted(history.diary_days, edge) for edge in (starts, stops)]
    actual = so_far[places[1]] - so_far[places[0]]
    ratios = pd.Series(actual / np.maximum(expected, 1e-9)).groupby(np.asarray(whole.month)).mean()
    return np.maximum(actual, 1.0), dict(zip(ratios.index.tolist(), ratios.tolist(), strict=True))


def _ahead_open(shares: np.ndarray, months: pd.PeriodIndex, closing: dict[int, float]) -> np.ndarray:
    """Count opening days expected in months ahead; at least one."""
    starts, stops = month_edges(months)
    return np.array(
        [
            max(1.0, _expected_open(shares, a, b) * closing.get(month.month, 1.0))
            for month, a, b in zip(months, starts, stops, strict=True)
        ]
    )
