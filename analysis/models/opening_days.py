"""Whole months of the log, months ahead, and how much work the clinic's days bear in each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.diary_days import Weekdays, days_ahead, days_caught_up, days_worked, learn_weekdays
from analysis.models.new_patients import MONTHS_FOR_SEASON, MONTHS_FOR_TREND, fit_terms
from analysis.models.visit_history import EPOCH, History

MISSING_DAYS_ALLOWED = 1.0
"""Opening days a month may lack at an end of the log and still count as whole (our choice, no source)."""
LEAST_DAYS = 1.0
CAUGHT_UP_SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)
USUALLY_CAUGHT_UP = 0.5
"""Taken below 12 months, which cannot tell (our choice, no source)."""


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
        Opening days of each, in days of average size; expected ones ahead.
    open_per_day : float
        Opening days per calendar day.
    caught_up : float
        Share of what closed days would have borne that the next open days bear.
    """

    whole: pd.PeriodIndex
    ahead: pd.PeriodIndex
    rest: pd.PeriodIndex
    open_whole: np.ndarray
    open_ahead: np.ndarray
    open_rest: np.ndarray
    open_per_day: float
    caught_up: float

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
    Which weekdays the clinic opens on, and how much each bears, is learnt from
    its last year. In a busy clinic a day without any booking was closed; in a
    quiet one only a stretch of dates that is empty every year, too long for
    chance. What a closed day would have borne is partly lost and partly caught
    up on the next open days; the share is the one that makes the monthly totals
    likeliest. Days closed in every year of the log are expected closed again
    (``learn_closures``). The first and last month are whole if they lack at
    most one opening day.
    """
    week = learn_weekdays(history, first=first, last=last)
    span = pd.period_range(_period(first), _period(last), freq="M")
    starts, stops = (edge.tolist() for edge in month_edges(span))
    lacking = np.array(
        [
            week.open_days(start, min(first, stop)) + week.open_days(max(last + 1, start), stop)
            for start, stop in zip(starts, stops, strict=True)
        ]
    )
    fine = lacking <= MISSING_DAYS_ALLOWED
    whole, rest = span[fine], span[-1:] if not fine[-1] else span[:0]
    ahead = pd.period_range(span[-1] + 1, periods=months_ahead, freq="M")
    opened, caught_up = _opened(history, week, whole, first)
    coming = _coming(week, pd.PeriodIndex([*rest, *ahead], freq="M"), caught_up, (first, last))
    return Months(
        whole=whole,
        ahead=ahead,
        rest=rest,
        open_whole=opened,
        open_ahead=coming[len(rest) :],
        open_rest=coming[: len(rest)],
        open_per_day=float(week.sizes.sum() / 7),
        caught_up=caught_up,
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


def _expected(week: Weekdays, months: pd.PeriodIndex) -> np.ndarray:
    """Give the opening days of months by their weekdays alone."""
    starts, stops = (edge.tolist() for edge in month_edges(months))
    return np.array([max(LEAST_DAYS, week.expected(a, b)) for a, b in zip(starts, stops, strict=True)])


def _opened(history: History, week: Weekdays, whole: pd.PeriodIndex, first: int) -> tuple[np.ndarray, float]:
    """Give past months' opening days, and the likeliest share of closed days' work that is caught up on."""
    if not len(whole) or not len(week.opened):
        return _expected(week, whole), 0.0
    edges = month_edges(whole)
    lost = days_worked(week, edges)
    moved = days_caught_up(week, edges, first=first) - lost
    tried = {share: np.maximum(lost + share * moved, LEAST_DAYS) for share in CAUGHT_UP_SHARES}
    if np.allclose(moved, 0.0):
        return tried[0.0], 0.0
    totals = np.searchsorted(history.day, edges[1]) - np.searchsorted(history.day, edges[0])
    if len(whole) < MONTHS_FOR_TREND or not totals.any():
        return tried[USUALLY_CAUGHT_UP], USUALLY_CAUGHT_UP
    season = int(len(whole) >= MONTHS_FOR_SEASON)
    likely = {
        share: fit_terms(totals, whole, days, trend=True, harmonics=season, poisson=True).fit.log_likelihood
        for share, days in tried.items()
    }
    best = max(likely, key=lambda share: likely[share])
    return tried[best], best


def _coming(week: Weekdays, months: pd.PeriodIndex, caught_up: float, log: tuple[int, int]) -> np.ndarray:
    """Give the opening days expected in coming months."""
    if not len(week.opened):
        return _expected(week, months)
    starts, stops = month_edges(months)
    last = int(min(starts[0] - 1, log[1]))
    lost, moved = days_ahead(week, (starts, stops), first=log[0], last=last)
    return np.maximum((1 - caught_up) * lost + caught_up * moved, LEAST_DAYS)
