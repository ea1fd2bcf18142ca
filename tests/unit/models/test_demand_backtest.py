"""Past forecasts: which are made, from what, and how they are set beside simple methods."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.models.demand_backtest import Backtest, backtest_demand, factor_after, misses_of
from analysis.models.opening_days import months_of
from analysis.models.simple_forecasts import Beside, beside_simple, better_method, simple_forecasts
from analysis.models.visit_history import day_number, visit_history
from analysis.problems import NotEnough
from tests.demand_logs import steady_clinic

LAST = pd.Timestamp("2024-02-29")


def tried(*, months: int = 14, latest: int | None = None) -> Backtest:
    """Try the forecast on a clinic of so many whole months."""
    last = pd.Timestamp("2023-01-02") + pd.DateOffset(months=months) - pd.Timedelta(days=2)
    history, first = visit_history(steady_clinic(months=months), last_day=last), day_number(pd.Timestamp("2023-01-02"))
    whole = months_of(history, first=first, last=day_number(last), months_ahead=1).whole
    return backtest_demand(history, whole=whole, first=first, rng=np.random.default_rng(3), latest_origins=latest)


def test_a_month_is_forecast_from_up_to_six_month_ends() -> None:
    trials = tried().trials
    assert trials.groupby("month").size().tolist() == [1, 2, 3, 4, 5, 6, 6, 6]
    assert trials["made"].nunique() == 8
    assert (pd.PeriodIndex(trials["month"], freq="M") - pd.PeriodIndex(trials["made"], freq="M")).map(
        lambda apart: apart.n
    ).tolist() == trials["ahead"].tolist()


def test_only_the_latest_month_ends_are_used_where_so_wished() -> None:
    trial = tried(latest=3)
    assert trial.made == 3
    assert trial.trials["made"].iloc[-1] == tried().trials["made"].iloc[-1]


def test_no_month_is_forecast_from_itself() -> None:
    # the last month doubled: forecasts of it made before stay as they were
    visits = steady_clinic(months=14)
    late = visits[visits["slot_start"] >= "2024-02-01"]
    more = pd.concat([visits, late.assign(patient_key=late["patient_key"] + "x")]).sort_values(
        "slot_start", kind="stable"
    )
    first = day_number(pd.Timestamp("2023-01-02"))
    said = []
    for log in (visits, more):
        history = visit_history(log.reset_index(drop=True), last_day=LAST)
        whole = months_of(history, first=first, last=day_number(LAST), months_ahead=1).whole
        found = backtest_demand(history, whole=whole, first=first, rng=np.random.default_rng(3), latest_origins=1)
        said.append(found.trials[["expected", "low_80", "high_80", "exponential_smoothing"]].to_numpy())
    np.testing.assert_array_equal(said[0], said[1])


def test_six_months_leave_none_to_try() -> None:
    with pytest.raises(NotEnough, match="tried out from 7"):
        tried(months=6)


def test_misses_are_counted_in_spreads_and_widen_the_ranges() -> None:
    rows = pd.DataFrame({"came": [120, 100], "expected": [100.0, 110.0], "spread": [10.0, 5.0]})
    assert misses_of(rows) == [2.0, -2.0]
    assert factor_after([2.0, -2.0]) == pytest.approx(((6 * 1.5 + 8) / 8) ** 0.5)


def test_simple_methods_need_a_year_or_two() -> None:
    assert set(simple_forecasts(np.arange(11) + 5, 2)) == {"exponential_smoothing"}
    assert set(simple_forecasts(np.arange(23) + 5, 2)) == {"exponential_smoothing", "seasonal_naive"}
    said = simple_forecasts(np.arange(24.0), 2)
    assert said["same_months"].totals.tolist() == [6.0, 7.0]
    assert said["seasonal_naive"].totals.tolist() == [12.0, 13.0]


def trials(simple_miss: np.ndarray, our_miss: np.ndarray) -> pd.DataFrame:
    months = pd.period_range("2024-01", periods=len(our_miss), freq="M").astype(str)
    return pd.DataFrame(
        {"month": months, "came": 100.0, "expected": 100.0 + our_miss, "seasonal_naive": 100.0 + simple_miss}
    )


def test_a_method_ahead_by_chance_alone_does_not_take_over() -> None:
    # misses of 10 and 12 in turn against 12 and 10: no difference; one large miss more is no rule
    simple, ours = np.tile([10.0, 12.0], 8), np.tile([12.0, 10.0], 8)
    ours[3] = 60.0
    found = beside_simple(trials(simple, ours))
    assert found[0].ratio > 1.2
    assert better_method(found) is None


def test_a_method_ahead_month_after_month_takes_over() -> None:
    found = beside_simple(trials(np.tile([4.0, 6.0], 8), np.tile([9.0, 10.0], 8)))
    assert better_method(found) == found[0]


def test_fewer_than_twelve_months_are_not_judged() -> None:
    assert beside_simple(trials(np.full(11, 1.0), np.full(11, 9.0))) == ()


def test_better_by_next_to_nothing_is_not_better() -> None:
    assert better_method([Beside("seasonal_naive", 24, 1.04, 0.0)]) is None
