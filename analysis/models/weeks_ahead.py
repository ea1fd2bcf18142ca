"""The months' forecast shared over weeks: by the days the clinic opens, and how far weeks vary."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.models.diary_days import Weekdays, days_ahead, days_worked, learn_weekdays, weekday
from analysis.models.opening_days import Months, month_edges
from analysis.models.return_table import WEEK
from analysis.models.visit_history import KINDS, History

MONTHS_LOOKED_AT = 12
FEWEST_WEEKS = 8
"""Weeks of a whole month each that are needed to see how far weeks vary (our choice, no source)."""
LEAST_EXPECTED = 1.0
"""Parts of weeks of which fewer visits are expected say nothing of it (our choice, no source)."""
CATCH_UP_DAYS = 10
"""Opening days over which the work of a closed day is caught up on (our choice, no source)."""
HOLIDAY = 0.4
"""Opening days by which a week must fall short of the usual to be marked (our choice, no source)."""


@dataclass(frozen=True, eq=False)
class Weeks:
    """The weeks ahead, Monday first; those at either end may be cut by the months.

    Attributes
    ----------
    begins : numpy.ndarray of int
        First day of each within the months ahead, counted from 1 January 1970.
    days : numpy.ndarray of int
        Its days within these months, at most seven.
    opening_days : numpy.ndarray
        Opening days expected, in days of average size.
    usual : numpy.ndarray
        What so many days of the week would open without holidays.
    share : numpy.ndarray, shape (months, weeks)
        Share of each month's visits that falls in each week; rows add up to 1.
    spread : float
        Variance of weeks, given the month, as a multiple of chance; at least 1.
    a_month : float
        Visits of an average month looked at.
    past : numpy.ndarray, shape (past weeks, 2)
        First day and visits of the whole weeks of the months looked at.
    tried : numpy.ndarray, shape (parts of weeks, 3)
        Visits that came, month's visits and share expected, of past weeks or parts of them.
    """

    begins: np.ndarray
    days: np.ndarray
    opening_days: np.ndarray
    usual: np.ndarray
    share: np.ndarray
    spread: float
    a_month: float
    past: np.ndarray
    tried: np.ndarray

    @property
    def with_holidays(self) -> np.ndarray:
        """Which weeks are expected to open for fewer days than usual."""
        return self.opening_days < self.usual - HOLIDAY


def weeks_ahead(history: History, months: Months, *, first: int, last: int) -> Weeks:
    """Share the months ahead out over their weeks.

    Parameters
    ----------
    history : History
    months : Months
    first, last : int
        First and last day the log covers, counted from 1 January 1970.

    Returns
    -------
    Weeks

    Notes
    -----
    A day bears what its weekday usually does; a day expected to be closed bears
    nothing, and the ten opening days after it catch up as far as the clinic's
    months have shown. How far weeks vary beyond that is learnt from the last twelve whole
    months: Pearson's statistic of the weeks' visits, given each month's, by its
    degrees of freedom. Within a month no trend is supposed.
    """
    week = learn_weekdays(history, first=first, last=last)
    starts, stops = month_edges(months.ahead)
    days = np.arange(int(starts[0]), int(stops[-1]))
    opened, bears = _bears_ahead(week, months, days, first=first, last=last)
    of_week = (days - days[0] + weekday(days[:1])) // WEEK
    begins = days[np.flatnonzero(np.diff(of_week, prepend=-1))]
    share = _shares(bears, days, of_week, (starts, stops))
    tried, past, a_month = _past_weeks(history, week, months)
    many = int(of_week[-1]) + 1
    return Weeks(
        begins=begins,
        days=np.bincount(of_week, minlength=many),
        opening_days=np.bincount(of_week, weights=opened, minlength=many),
        usual=np.bincount(of_week, weights=week.sizes[weekday(days)], minlength=many),
        share=share,
        spread=_spread(tried),
        a_month=a_month,
        past=past,
        tried=tried[:, :3],
    )


def _bears_ahead(
    week: Weekdays, months: Months, days: np.ndarray, *, first: int, last: int
) -> tuple[np.ndarray, np.ndarray]:
    """Work each day ahead bears by itself, and with what it catches up on."""
    if not len(week.opened):
        return week.sizes[weekday(days)], week.sizes[weekday(days)]
    coming = np.arange(last + 1, int(days[-1]) + 1)
    open_work, _ = days_ahead(week, (coming, coming + 1), first=first, last=last)
    bears = caught_up_later(open_work, week.sizes[weekday(coming)], months.caught_up)
    return open_work[coming >= days[0]], bears[coming >= days[0]]


def caught_up_later(open_work: np.ndarray, usual: np.ndarray, share: float) -> np.ndarray:
    """Let the open days after a closed one bear a share of what it would have borne.

    Parameters
    ----------
    open_work : numpy.ndarray, shape (days,)
        What each day bears by itself; nought where it is closed.
    usual : numpy.ndarray, shape (days,)
        What its weekday usually bears.
    share : float
        Share of a closed day's work that is caught up on.

    Returns
    -------
    numpy.ndarray, shape (days,)

    Notes
    -----
    The work is spread over the ten opening days that follow, by what they bear.

    Examples
    --------
    >>> caught_up_later(np.array([1.0, 0.0, 1.0, 1.0]), np.ones(4), 0.5).tolist()
    [1.0, 0.0, 1.25, 1.25]
    """
    bears, opened = open_work.copy(), np.flatnonzero(open_work > 0)
    for day in np.flatnonzero((open_work == 0) & (usual > 0)):
        after = opened[opened > day][:CATCH_UP_DAYS]
        bears[after] += share * usual[day] * open_work[after] / max(float(open_work[after].sum()), 1e-9)
    return bears


def _shares(
    bears: np.ndarray, days: np.ndarray, of_week: np.ndarray, edges: tuple[np.ndarray, np.ndarray]
) -> np.ndarray:
    """Give each month's shares of the weeks; days count alike in a month that would not open at all."""
    rows = []
    for start, stop in zip(*edges, strict=True):
        inside = (days >= start) & (days < stop)
        work = bears[inside] if bears[inside].sum() > 0 else np.ones(int(inside.sum()))
        row = np.bincount(of_week[inside], weights=work, minlength=int(of_week[-1]) + 1)
        rows.append(row / row.sum())
    return np.array(rows)


def _past_weeks(history: History, week: Weekdays, months: Months) -> tuple[np.ndarray, np.ndarray, float]:
    """Set the visits of past weeks, or of their parts in each month, beside the month's and the share expected."""
    looked_at = months.whole[-MONTHS_LOOKED_AT:]
    starts, stops = month_edges(looked_at)
    days = np.arange(int(starts[0]), int(stops[-1]))
    bears = week.sizes[weekday(days)]
    if len(week.opened):
        bears = caught_up_later(days_worked(week, (days, days + 1)), bears, months.caught_up)
    came = np.bincount(history.day[(history.day >= days[0]) & (history.day <= days[-1])] - days[0], minlength=len(days))
    of_week = (days - days[0] + weekday(days[:1])) // WEEK
    share = _shares(bears, days, of_week, (starts, stops))
    rows = []
    for place, (start, stop) in enumerate(zip(starts, stops, strict=True)):
        inside = (days >= start) & (days < stop)
        counts = np.bincount(of_week[inside], weights=came[inside], minlength=share.shape[1])
        rows += [(counts[w], counts.sum(), share[place, w], place) for w in np.unique(of_week[inside])]
    length = np.bincount(of_week)
    begins = days[np.flatnonzero(np.diff(of_week, prepend=-1))]
    totals = np.bincount(of_week, weights=came)
    past = np.column_stack([begins, totals])[length == WEEK]
    return np.array(rows, dtype=float), past, float(came.sum() / len(looked_at))


def _spread(tried: np.ndarray) -> float:
    """Give Pearson's statistic of weeks, given their month, by its degrees of freedom; at least 1."""
    came, month_came, share, month = tried.T
    expected = month_came * share
    usable = expected >= LEAST_EXPECTED
    free = int(usable.sum()) - len(np.unique(month[usable]))
    if usable.sum() < FEWEST_WEEKS or free < 1:
        return 1.0
    return max(1.0, float(((came - expected)[usable] ** 2 / expected[usable]).sum() / free))


def drawn_by_week(drawn: np.ndarray, weeks: Weeks, rng: np.random.Generator) -> np.ndarray:
    """Share drawn visits out over the weeks.

    Parameters
    ----------
    drawn : numpy.ndarray, shape (futures, months, kinds)
        Visits of each month: whole numbers.
    weeks : Weeks
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray, shape (futures, weeks, kinds)
        Whole numbers; a month's weeks add up to it.

    Notes
    -----
    Which week a visit falls in is chance, given the weeks' shares
    (multinomial); where past weeks have varied more, shares do too, alike for
    every kind (Dirichlet).
    """
    found = np.zeros((len(drawn), len(weeks.begins), len(KINDS)))
    for month, share in enumerate(weeks.share):
        touched = np.flatnonzero(share > 0)
        shares = week_shares_drawn(share[touched], weeks, len(drawn), rng)
        found[:, touched] += rng.multinomial(drawn[:, month].astype(np.int64), shares[:, None]).transpose(0, 2, 1)
    return found


def week_shares_drawn(share: np.ndarray, weeks: Weeks, many: int, rng: np.random.Generator) -> np.ndarray:
    """Draw the shares of one month's weeks, as far apart as past weeks were; shape (many, weeks of the month)."""
    shares = np.broadcast_to(share, (many, len(share)))
    if weeks.spread > 1:
        steadiness = max((weeks.a_month - 1) / (weeks.spread - 1) - 1, 1.0)
        shares = np.maximum(rng.standard_gamma(steadiness * shares), 1e-12)
    return shares / shares.sum(axis=1, keepdims=True)
