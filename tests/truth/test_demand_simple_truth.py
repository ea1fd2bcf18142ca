"""Where a simple method foretells better the answer uses it and says so; where the returns do, they stay."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest

from analysis.answers.demand import how_many_will_come
from analysis.answers.demand_figures import Figures, demand_figures
from analysis.answers.demand_trial import did_past_forecasts_hold
from analysis.clinic import Clinic
from analysis.models.demand_changed import Change, changed_returns, redrawn
from analysis.models.simple_forecasts import SAME_MONTHS, SEASONAL_NAIVE
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml
from tests.truth.demand_world import START, invented_visits

EARS = typed_frame(EAR_ROWS, pd.DataFrame())
USUAL, BUSY = 60, 240
BUSY_MONTHS = (1, 4, 5, 11)
"""Campaigns return every year in these months: no smooth season, and no returns of patients, can foretell them."""
MONTHS, AHEAD = 42, 6


def planted(month: pd.Period) -> int:
    return BUSY if month.month in BUSY_MONTHS else USUAL


@cache
def campaigns() -> Clinic:
    """Invent a clinic that sees the same crowds in the same months each year, nobody twice but a few."""
    rng, rows = np.random.default_rng(8), []
    for month in pd.period_range(START, periods=MONTHS, freq="M"):
        days = pd.bdate_range(month.start_time, month.end_time)
        rows += [(day, "new") for day in rng.choice(days, rng.poisson(planted(month)))]
    frame = pd.DataFrame(rows, columns=["slot_start", "booking_kind"]).sort_values("slot_start", kind="stable")
    number = np.arange(len(frame))
    again = (number > 200) & (rng.random(len(frame)) < 0.05)
    frame["patient_key"] = [f"p{n - 150 if back else n}" for n, back in zip(number, again, strict=True)]
    frame["booking_kind"] = np.where(again, "symptoms_return", "new")
    frame["slot_start"] += pd.Timedelta(hours=9)
    frame["attendance"], frame["slot_minutes"] = "attended", 30.0
    frame["visit_id"] = [f"v{n}" for n in number]
    return Clinic(typed_frame(VISITS, frame).reset_index(drop=True), EARS)


@cache
def found() -> Figures:
    return demand_figures(campaigns())


def test_crowds_of_the_same_months_are_foretold_by_the_same_months() -> None:
    assert found().leads is not None
    assert found().leads.method in {SEASONAL_NAIVE, SAME_MONTHS}
    wanted = [planted(month) for month in found().demand.months.ahead]
    # three years' mean of Poisson counts: a standard error of about 9 at 240
    np.testing.assert_allclose(found().total.expected, wanted, atol=30)


def test_its_ranges_hold_the_planted_crowds_and_its_parts_add_up() -> None:
    low, high = found().total.range(0.95)
    wanted = np.array([planted(month) for month in found().demand.months.ahead])
    assert ((low <= wanted) & (wanted <= high)).all()
    np.testing.assert_allclose(found().demand.parts.sum(axis=1), found().total.expected)


def test_the_trial_shown_is_that_of_the_method_used() -> None:
    assert found().used is not None
    assert found().backtest is not None
    used, own = (
        np.abs(each.trials["came"] - each.trials["expected"]).mean() for each in (found().used, found().backtest)
    )
    assert used < 0.6 * own
    assert found().used.scaled_errors()["by_returns"] < 0.6
    inside = found().used.by_months_ahead()["inside_80"] / found().used.by_months_ahead()["forecasts"]
    assert inside.between(0.6, 1.0).all()


def test_the_answers_say_whose_totals_are_used() -> None:
    demand, trial = how_many_will_come(campaigns()), did_past_forecasts_hold(campaigns())
    for answer in (demand, trial):
        assert "So the months' totals said here are its" in answer.how_sure
        assert any("takes the forecast's place" in said for said in answer.assumptions)
    assert "The totals of the months are those of" in demand.basis.method
    assert all(check.result == "passed" for check in demand.checks if "parts" in check.name)


def test_a_scenario_without_change_draws_the_same_totals() -> None:
    demand = found().demand
    again = redrawn(demand, changed_returns(demand, Change()).expected, np.random.default_rng(1))
    np.testing.assert_allclose(again.sum(axis=2), demand.drawn.sum(axis=2), atol=3)


@pytest.mark.parametrize("seed", [3, 4])
def test_where_patients_returns_tell_more_they_stay(seed: int) -> None:
    visits = invented_visits(np.random.default_rng(seed), months=30, growth=0.25)
    figures = demand_figures(Clinic(visits, EARS))
    assert figures.leads is None
    assert figures.backtest is not None
    assert max(figures.backtest.scaled_errors().values()) < 1


def test_an_uptake_set_by_the_owner_keeps_the_returns() -> None:
    clinic = campaigns()
    asked = Clinic(
        clinic.visits, EARS, settings=settings_from_toml("[demand]\nrecall_uptake = 0.3\n[recall]\ntoday_months = 12")
    )
    assert demand_figures(asked).leads is None
    assert any("know nothing of that" in said for said in how_many_will_come(asked).assumptions)
