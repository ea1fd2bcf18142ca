"""Which closed days are expected closed again: dates, gaps between them, holidays that move, quiet clinics."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.models.closures import Closures, learn_closures
from analysis.models.diary_days import weekday
from analysis.models.opening_days import months_of
from analysis.models.visit_history import day_number, visit_history
from tests.demand_logs import log

FIRST, LAST = "2023-01-01", "2025-12-31"


def days(dates: pd.DatetimeIndex) -> np.ndarray:
    return (dates - pd.Timestamp("1970-01-01")).days.to_numpy()


def learnt(open_days: pd.DatetimeIndex, *, first: str = FIRST, last: str = LAST, by_a_day: bool = True) -> Closures:
    """Learn from a diary with bookings on these days, each weekday's share as over the whole log."""
    past = days(pd.date_range(first, last))
    diary = days(open_days[open_days.isin(pd.date_range(first, last))])
    shares = np.bincount(weekday(diary), minlength=7) / np.bincount(weekday(past), minlength=7)
    return learn_closures(diary, past, shares[weekday(past)], told_by_a_day=by_a_day)


def weekdays(*closed: str) -> pd.DatetimeIndex:
    """Every weekday but these dates (month-day) or days."""
    every = pd.bdate_range(FIRST, LAST)
    return every[~(every.strftime("%m-%d").isin(closed) | every.strftime("%Y-%m-%d").isin(closed))]


def is_closed(found: Closures, day: str) -> bool:
    return bool(found.on(days(pd.DatetimeIndex([day])))[0])


CHRISTMAS = ("12-24", "12-25", "12-26", "12-27", "12-28", "12-29", "12-30", "12-31", "01-01")


def test_dates_closed_every_year_are_closed_again_and_no_others() -> None:
    found = learnt(weekdays(*CHRISTMAS))
    coming = pd.date_range("2026-01-02", "2027-01-01")
    closed = coming[found.on(days(coming))]
    assert closed.strftime("%m-%d").tolist() == list(CHRISTMAS)


def test_dates_that_fell_on_weekends_alone_are_closed_between_closed_ones() -> None:
    # of the first Christmas alone, 24, 30 and 31 December fell on a weekend; the 24th has an open Friday before it
    found = learnt(weekdays(*CHRISTMAS), last="2024-11-30")
    assert [is_closed(found, f"2024-12-{day}") for day in (23, 24, 27, 30, 31)] == [False, False, True, True, True]


def test_a_clinic_open_on_mondays_and_tuesdays_is_closed_at_christmas_whatever_the_weekday() -> None:
    open_days = weekdays(*CHRISTMAS)
    found = learnt(open_days[open_days.day_of_week <= 1])
    # 28 December was a Thursday, a Saturday and a Sunday in these years; in 2026 it is a Monday
    assert is_closed(found, "2026-12-28")
    assert not is_closed(found, "2026-12-22")
    assert not is_closed(found, "2026-01-05")


def test_a_clinic_open_on_one_weekday_is_closed_between_two_of_them_and_not_after_one() -> None:
    fridays = pd.date_range(FIRST, LAST, freq="W-FRI")
    shut = pd.to_datetime(["2023-08-11", "2023-08-18", "2023-10-13"])
    found = learnt(fridays[~fridays.isin(shut)], last="2023-12-31")
    assert [is_closed(found, f"2024-08-{day:02}") for day in (9, 11, 16, 18, 23)] == [False, True, True, True, False]
    assert [is_closed(found, f"2024-10-{day}") for day in (11, 13, 18)] == [False, True, False]


def test_easter_is_foreseen_from_two_of_them() -> None:
    easter = ("2023-04-07", "2023-04-10", "2024-03-29", "2024-04-01", "2025-04-18", "2025-04-21")
    found = learnt(weekdays(*easter))
    # Easter Sunday of 2026 is 5 April
    assert [is_closed(found, f"2026-04-{day:02}") for day in (2, 3, 6, 7)] == [False, True, True, False]
    young = learnt(weekdays(*easter), first="2024-02-01", last="2025-01-31")
    assert not is_closed(young, "2025-04-21")


def test_the_last_monday_of_a_month_is_foreseen_and_the_first_one_stays_open() -> None:
    found = learnt(weekdays("2023-08-28", "2024-08-26", "2025-08-25"))
    assert is_closed(found, "2026-08-31")
    assert not is_closed(found, "2026-08-03")


def test_an_empty_day_says_nothing_in_a_quiet_clinic_but_an_empty_christmas_does() -> None:
    rng = np.random.default_rng(4)
    open_days = weekdays(*CHRISTMAS)
    found = learnt(open_days[rng.random(len(open_days)) < 0.5], by_a_day=False)
    coming = pd.date_range("2026-01-10", "2026-12-10")
    assert all(is_closed(found, f"2026-12-{day}") for day in range(25, 32))
    # a stretch elsewhere passes for a closure once in a thousand
    assert found.on(days(coming)).sum() <= 5


def test_a_quiet_clinics_december_has_fewer_opening_days() -> None:
    first, last = day_number(pd.Timestamp(FIRST)), day_number(pd.Timestamp("2025-10-31"))
    open_days = weekdays(*CHRISTMAS)
    ratios = []
    for seed in range(12):
        kept = open_days[np.random.default_rng(seed).random(len(open_days)) < 0.6]
        history = visit_history(log(*((None, f"{day:%Y-%m-%d}", "new") for day in kept)), last_day=pd.Timestamp(LAST))
        november, december = months_of(history.until(last), first=first, last=last, months_ahead=2).open_ahead
        ratios.append(december / november)
    # 20 weekdays in November; of the 23 in December six are closed, and the stretch's ends are known to about a day each
    assert np.mean(ratios) == pytest.approx(17 / 20, abs=0.03)
