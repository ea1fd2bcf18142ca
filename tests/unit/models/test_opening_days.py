"""Whole months, opening days, closures and catching up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.models.diary_days import days_ahead, days_caught_up, days_worked, learn_weekdays
from analysis.models.opening_days import month_edges, months_of
from analysis.models.visit_history import History, day_number, visit_history
from tests.demand_logs import steady_clinic

FIRST = pd.Timestamp("2023-01-02")


def busy(last_day: str, months: int = 30) -> tuple[History, int, int]:
    last = pd.Timestamp(last_day)
    return visit_history(steady_clinic(months=months), last_day=last), day_number(FIRST), day_number(last)


def closed(history: History, *days: str) -> History:
    """Take the visits of some days out, as if the clinic had been shut."""
    shut = [day_number(pd.Timestamp(day)) for day in days]
    fields = {
        name: getattr(history, name)
        for name in ("kind", "keyed", "linked", "returner", "hearing_aid", "next_day", "next_kind")
    }
    keep = ~np.isin(history.day, shut)
    return replace(
        history,
        day=history.day[keep],
        diary_days=history.diary_days[~np.isin(history.diary_days, shut)],
        **{name: values[keep] for name, values in fields.items()},
    )


def edges(*months: str) -> tuple[np.ndarray, np.ndarray]:
    return month_edges(pd.PeriodIndex(months, freq="M"))


def test_a_month_that_breaks_off_is_not_whole_and_not_forecast() -> None:
    history, first, last = busy("2024-05-14")
    months = months_of(history, first=first, last=last, months_ahead=2)
    assert str(months.whole[0]) == "2023-01"  # only New Year's Sunday and holiday lie before the log
    assert str(months.whole[-1]) == "2024-04"
    assert [str(month) for month in months.rest] == ["2024-05"]
    assert [str(month) for month in months.ahead] == ["2024-06", "2024-07"]


def test_a_month_ending_on_a_weekend_is_whole_on_its_last_friday() -> None:
    history, first, last = busy("2024-06-28")
    months = months_of(history, first=first, last=last, months_ahead=1)
    assert str(months.whole[-1]) == "2024-06"
    assert len(months.rest) == 0
    assert str(months.ahead[0]) == "2024-07"


def test_opening_days_of_a_weekday_clinic_are_its_weekdays() -> None:
    history, first, last = busy("2024-06-28")
    months = months_of(history, first=first, last=last, months_ahead=1)
    assert months.open_ahead[0] == pytest.approx(23, rel=0.03)  # July 2024 has 23 weekdays
    assert months.open_per_day == pytest.approx(5 / 7, rel=0.03)


def test_work_of_closed_days_is_lost_or_waits_for_the_next_open_day() -> None:
    history, first, last = busy("2024-06-28")
    shut = closed(history, "2024-02-28", "2024-02-29")
    week = learn_weekdays(shut, first=first, last=last)
    both = edges("2024-02", "2024-03")
    lost, moved = days_worked(week, both), days_caught_up(week, both, first=first)
    assert lost == pytest.approx([19, 21], rel=0.02)
    assert moved == pytest.approx([19, 23], rel=0.02)


def test_a_date_closed_every_year_is_expected_closed_again() -> None:
    history, first, last = busy("2024-11-29")
    shut = closed(history, "2023-12-25", "2023-12-26")
    week = learn_weekdays(shut, first=first, last=last)
    lost, moved = days_ahead(week, edges("2024-12"), first=first, last=last)
    assert lost == pytest.approx([20], rel=0.02)  # 22 weekdays less the two
    assert moved == pytest.approx([22], rel=0.02)


def test_work_left_at_the_end_of_the_log_waits_for_the_month_ahead() -> None:
    history, first, last = busy("2024-12-31", months=25)
    shut = closed(history, *(f"{year}-12-{day}" for year in (2023, 2024) for day in range(25, 32)))
    week = learn_weekdays(shut, first=first, last=last)
    lost, moved = days_ahead(week, edges("2025-01"), first=first, last=last)
    # five weekdays from Christmas to New Year's Eve; a usual weekday bears 0.98 days, closures counted in
    assert moved[0] - lost[0] == pytest.approx(28 * 0.98 - 23, rel=0.02)


def test_a_quiet_clinic_goes_by_the_calendar() -> None:
    quiet = steady_clinic(a_day=1)
    history = visit_history(quiet, last_day=pd.Timestamp("2024-06-28"))
    months = months_of(history, first=day_number(FIRST), last=day_number(pd.Timestamp("2024-06-28")), months_ahead=1)
    assert months.caught_up == 0.0
    assert months.open_ahead[0] == pytest.approx(23, rel=0.02)
