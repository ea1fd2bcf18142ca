"""Days on which a clinic is expected closed again: the same dates every year, and holidays whose date moves."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from analysis.models.visit_history import EPOCH

DATES = 366
USUAL = 0.5
"""Share of its dates from which a weekday is a usual opening day (our choice, no source)."""
LONGEST_GAP = 6
"""Dates in a row, fallen on no usual opening day, that are taken for closed between two closed ones: less than a week
(our choice, no source)."""
CHANCE = 0.001
"""Chance below which no booking on a stretch of dates means closed, where an empty day alone says little (our choice,
no source)."""
AT_THE_ENDS = 1 / 3
"""Dates at either end of such a stretch are left out while chance would leave them empty more often than this (our
choice, no source)."""
FEWEST_YEARS, MOVING_CHANCE = 2, 0.01
"""Years in which a moving holiday must have been without a booking, and how seldom chance alone may make it so (our
choice, no source)."""
MONDAY = 0
FROM_EASTER = (-2, 1, 39, 50)
"""Days after Easter Sunday of Good Friday, Easter Monday, Ascension Day and Whit Monday."""
NO_HOLIDAY = -1


@dataclass(frozen=True, eq=False)
class Closures:
    """Days on which the clinic is expected closed again.

    Attributes
    ----------
    dates : numpy.ndarray of bool, shape (366,)
        Dates of the year, 29 February counted.
    holidays : numpy.ndarray of int
        Codes of the moving holidays (``moving_holidays``).
    """

    dates: np.ndarray
    holidays: np.ndarray

    def on(self, days: np.ndarray) -> np.ndarray:
        """Say for each day, counted from 1 January 1970, whether it is one."""
        closed = self.dates[date_of_year(days)]
        return closed | np.isin(moving_holidays(days), self.holidays).any(axis=0)


def date_of_year(days: np.ndarray) -> np.ndarray:
    """Give the place of each day's date in a leap year: 0 for 1 January, 365 for 31 December.

    Examples
    --------
    >>> date_of_year(np.array([0, 59, 364])).tolist()  # 1 January, 1 March and 31 December 1970
    [0, 60, 365]
    """
    return _looked_up(days)[0]


def moving_holidays(days: np.ndarray) -> np.ndarray:
    """Give the codes of the moving holidays a day may be: one by Easter, one by the month's Mondays.

    Parameters
    ----------
    days : numpy.ndarray of int, shape (n,)
        Counted from 1 January 1970.

    Returns
    -------
    numpy.ndarray of int, shape (2, n)
        A code of each sort; -1 where the day is none. Good Friday is 98, Easter
        Monday 101; the first Monday of May is 1051, the last one 1052.

    Examples
    --------
    >>> of_2026 = pd.to_datetime(["2026-04-03", "2026-05-04", "2026-05-25", "2026-05-26"])
    >>> moving_holidays((of_2026 - pd.Timestamp("1970-01-01")).days.to_numpy()).tolist()
    [[98, -1, 150, -1], [-1, 1051, 1052, -1]]
    """
    return _looked_up(days)[1:]


def _looked_up(days: np.ndarray) -> np.ndarray:
    """Look days up in the calendar: date of the year, holiday by Easter, holiday by the month's Mondays."""
    if not len(days):
        return np.empty((3, 0), dtype=np.int64)
    first, last = (int(day.astype("datetime64[Y]").astype(int)) + 1970 for day in _ends(days))
    start, table = _calendar(first, last)
    return table[:, days - start]


def _ends(days: np.ndarray) -> tuple[np.datetime64, np.datetime64]:
    """Give the earliest and the latest of days."""
    return np.datetime64(int(days.min()), "D"), np.datetime64(int(days.max()), "D")


@cache
def _calendar(first: int, last: int) -> tuple[int, np.ndarray]:
    """Lay out the calendar of some years: its first day, and for each day the three rows of ``_looked_up``."""
    when = pd.date_range(pd.Timestamp(year=first, month=1, day=1), pd.Timestamp(year=last, month=12, day=31))
    days = (when - EPOCH).days.to_numpy()
    date = np.asarray(when.day_of_year - 1 + ((when.month > 2) & ~when.is_leap_year), dtype=np.int64)
    easter = {year: (pd.Timestamp(year=year, month=1, day=1) + pd.offsets.Easter()) for year in range(first, last + 1)}
    after = days - np.array([(easter[year] - EPOCH).days for year in when.year])
    by_easter = np.where(np.isin(after, FROM_EASTER), 100 + after, NO_HOLIDAY)
    first_week, last_week = np.asarray(when.day <= 7), np.asarray(when.day > when.days_in_month - 7)
    monday = np.asarray(when.day_of_week == MONDAY) & (first_week | last_week)
    by_month = np.where(monday, 1000 + 10 * np.asarray(when.month) + np.where(first_week, 1, 2), NO_HOLIDAY)
    return int(days[0]), np.stack([date, by_easter, by_month])


def learn_closures(diary_days: np.ndarray, past: np.ndarray, shares: np.ndarray, *, told_by_a_day: bool) -> Closures:
    """Find the days on which the clinic was closed in every year of its log.

    Parameters
    ----------
    diary_days : numpy.ndarray of int
        Days with any booking.
    past : numpy.ndarray of int
        Every day of the log.
    shares : numpy.ndarray, shape (past,)
        Share of its dates on which each day's weekday opens.
    told_by_a_day : bool
        Whether an empty usual opening day means closed, as in a busy clinic. If
        not, only a stretch of dates too long to be empty by chance does.

    Returns
    -------
    Closures

    Notes
    -----
    A date counts by the years in which it fell on a usual opening day; dates
    that never did, such as one on weekends only, are taken for closed between
    two closed ones less than a week apart. Moving holidays are the two about
    Easter, Ascension, Whit Monday, and each month's first and last Monday;
    they need two years.
    """
    opened, usual = np.isin(past, diary_days), shares >= USUAL
    date = date_of_year(past)
    known_open = np.bincount(date[opened], minlength=DATES) > 0
    if told_by_a_day:
        closed = (np.bincount(date[usual], minlength=DATES) > 0) & ~known_open
        dates = closed | _between(closed, known_open)
    else:
        empty = np.log1p(-np.minimum(shares, 0.99))
        dates = _too_long_for_chance(np.bincount(date, weights=empty, minlength=DATES), known_open)
    return Closures(dates, _holidays(past, opened, shares))


def _between(closed: np.ndarray, known_open: np.ndarray) -> np.ndarray:
    """Mark the dates between two closed ones less than a week apart, none of them known open."""
    found = np.zeros(DATES, dtype=bool)
    for between in _gaps(closed):
        if len(between) <= LONGEST_GAP and not known_open[between].any():
            found[between] = True
    return found


def _too_long_for_chance(empty: np.ndarray, known_open: np.ndarray) -> np.ndarray:
    """Mark stretches without any booking that chance would make empty less than once in a thousand, but for their ends."""
    found = np.zeros(DATES, dtype=bool)
    for between in _gaps(known_open):
        chance = empty[between]
        if chance.sum() < np.log(CHANCE):
            begins, ends = (int((side.cumsum() > np.log(AT_THE_ENDS)).sum()) for side in (chance, chance[::-1]))
            found[between[begins : len(between) - ends]] = True
    return found


def _gaps(marked: np.ndarray) -> list[np.ndarray]:
    """Give the dates between each marked one and the next, round the year, where there are any."""
    places = np.flatnonzero(marked)
    many = np.diff(places, append=places[:1] + DATES) - 1
    return [(places[each] + 1 + np.arange(many[each])) % DATES for each in np.flatnonzero(many)]


def _holidays(past: np.ndarray, opened: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Give the codes of moving holidays on which the clinic was closed in two years or more, and never open."""
    found = []
    for row in moving_holidays(past):
        mine = row != NO_HOLIDAY
        codes, which = np.unique(row[mine], return_inverse=True)
        years, open_years = np.bincount(which), np.bincount(which, weights=opened[mine])
        chance = np.bincount(which, weights=np.log1p(-np.minimum(shares[mine], 0.99)))
        found.append(codes[(years >= FEWEST_YEARS) & (open_years == 0) & (chance <= np.log(MOVING_CHANCE))])
    return np.concatenate(found)
