"""Months shared over weeks, on diaries of one's own making."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.models.opening_days import Months, months_of
from analysis.models.visit_history import KINDS, NEW, History, day_number, visit_history
from analysis.models.weeks_ahead import Weeks, caught_up_later, drawn_by_week, weeks_ahead
from tests.demand_logs import log

FIRST, LAST = pd.Timestamp("2024-01-01"), pd.Timestamp("2025-12-31")


def diary(*, closed: tuple[str, ...] = (), a_day: int = 4) -> History:
    """Every weekday of two years, with so many new patients, but for dates (month-day) of closure."""
    days = [day for day in pd.bdate_range(FIRST, LAST) if f"{day:%m-%d}" not in closed]
    lines = [(None, f"{day:%Y-%m-%d}", "new") for day in days for _ in range(a_day)]
    return visit_history(log(*lines), last_day=LAST)


def ahead(history: History, months_ahead: int = 3) -> tuple[Months, Weeks]:
    first, last = day_number(FIRST), day_number(LAST)
    months = months_of(history, first=first, last=last, months_ahead=months_ahead)
    return months, weeks_ahead(history, months, first=first, last=last)


def test_a_month_falls_on_its_weeks_by_their_weekdays() -> None:
    _, weeks = ahead(diary())
    # January 2026 begins on a Thursday and has 22 weekdays: 2, 5, 5, 5, 5
    assert weeks.days[:5].tolist() == [4, 7, 7, 7, 7]
    assert weeks.share[0, :5] * 22 == pytest.approx([2, 5, 5, 5, 5], rel=0.01)
    assert weeks.share.sum(axis=1) == pytest.approx(np.ones(3))


def test_a_week_across_two_months_takes_from_both() -> None:
    _, weeks = ahead(diary())
    # 23 February to 1 March 2026: the last February week ends on Saturday, 1 March is a Sunday
    across = int(np.flatnonzero(weeks.begins == day_number(pd.Timestamp("2026-02-23")))[0])
    assert weeks.days[across] == 7
    assert weeks.share[1, across] * 20 == pytest.approx(5, rel=0.01)
    assert weeks.share[2, across] == pytest.approx(0, abs=1e-9)


def test_a_date_closed_every_year_makes_a_week_of_fewer_days() -> None:
    _, weeks = ahead(diary(closed=("02-11", "02-12", "02-13")))
    closed = int(np.flatnonzero(weeks.begins == day_number(pd.Timestamp("2026-02-09")))[0])
    assert weeks.with_holidays[closed]
    assert weeks.with_holidays.sum() == 1
    assert weeks.opening_days[closed] == pytest.approx(2, abs=0.1)


def test_what_closed_days_leave_is_caught_up_on_over_the_ten_opening_days_after_them() -> None:
    usual = np.tile([1.0, 1, 1, 1, 1, 0, 0], 5)
    opened = usual.copy()
    opened[7:9] = 0.0
    bears = caught_up_later(opened, usual, 0.5)
    assert bears.sum() == pytest.approx(25 - 2 + 0.5 * 2)
    assert bears[:9].tolist() == opened[:9].tolist()
    after_first = np.flatnonzero(opened > 0)
    after_first = after_first[after_first > 8][:10]
    assert bears[after_first] == pytest.approx(np.full(10, 1.1))
    assert (bears[(opened == 0)] == 0).all()


def test_steady_days_vary_no_more_than_chance() -> None:
    _, weeks = ahead(diary())
    assert weeks.spread == 1.0


def test_a_months_weeks_add_up_in_every_future_and_vary_more_where_past_weeks_did() -> None:
    months, weeks = ahead(diary())
    drawn = np.zeros((4000, len(months.ahead), len(KINDS)))
    drawn[..., NEW] = 88
    by_week = drawn_by_week(drawn, weeks, np.random.default_rng(1))
    assert by_week.sum(axis=(1, 2)) == pytest.approx(np.full(4000, 3 * 88))
    assert by_week[:, 1].sum(axis=1).mean() == pytest.approx(20, rel=0.02)  # 88 visits over 22 weekdays
    plain = 88 * (5 / 22) * (17 / 22)
    assert by_week[:, 1].sum(axis=1).var() == pytest.approx(plain, rel=0.1)
    uneven = drawn_by_week(drawn, replace(weeks, spread=3.0), np.random.default_rng(1))
    assert uneven[:, 1].sum(axis=1).var() == pytest.approx(3 * plain, rel=0.15)


def test_weeks_that_varied_beyond_chance_are_seen() -> None:
    days = pd.bdate_range(FIRST, LAST)
    lines = [(None, f"{day:%Y-%m-%d}", "new") for day in days for _ in range(12 if day.isocalendar().week % 2 else 2)]
    history = visit_history(log(*lines), last_day=LAST)
    _, weeks = ahead(history)
    assert weeks.spread > 3
