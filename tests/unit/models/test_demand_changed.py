"""The forecast under another recall rule, on patients simple enough to count by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.models.demand import Demand, forecast_demand
from analysis.models.demand_changed import Change, changed_returns, recall_clock, redrawn
from analysis.models.return_table import STRATA
from analysis.models.returns_ahead import RECALL, Walk
from analysis.models.visit_history import KINDS, SECOND, day_number, visit_history
from analysis.problems import NotEnough
from tests.demand_logs import steady_clinic

LAST = pd.Timestamp("2024-01-31")


@pytest.fixture(scope="module")
def steady() -> Demand:
    history = visit_history(steady_clinic(months=13), last_day=LAST)
    return forecast_demand(
        history,
        first=day_number(pd.Timestamp("2023-01-02")),
        last=day_number(LAST),
        months_ahead=6,
        rng=np.random.default_rng(1),
    )


def walk_of(demand: Demand) -> Walk:
    assert demand.returns.walk is not None
    return demand.returns.walk


def certain_recall(demand: Demand, *, due: int, waited: int) -> Demand:
    """A hundred patients seen so many weeks ago, nobody new, and one return only: a recall in week ``due``."""
    walk = walk_of(demand)
    rates = np.zeros((2, STRATA, len(KINDS), 120))
    rates[:, :, RECALL, due] = 40.0
    waiting = np.zeros((STRATA, 120))
    waiting[0, waited] = 100
    plain = replace(
        walk,
        waiting=waiting,
        entrants=np.zeros((2, STRATA, len(walk.scale))),
        rates=rates,
        scale=np.ones(len(walk.scale)),
        share=np.eye(len(walk.scale)),
    )
    weeks = pd.period_range("2024-02", periods=len(walk.scale), freq="M")
    months = replace(demand.months, ahead=weeks, rest=weeks[:0])
    return replace(demand, returns=replace(demand.returns, walk=plain), months=months)


def came_in_week(demand: Demand, later_weeks: float) -> list[int]:
    months = later_weeks * 7 / (365.25 / 12)
    recalls = changed_returns(demand, Change(months)).expected[0, :, RECALL]
    return np.flatnonzero(recalls.round(3) > 0).tolist()


def test_no_change_is_the_forecast_itself(steady: Demand) -> None:
    before = (steady.returns.first + steady.returns.later)[:, len(steady.months.rest) :]
    assert changed_returns(steady, Change()).expected == pytest.approx(before)


def test_a_recall_due_in_ten_weeks_moves_by_the_weeks_set(steady: Demand) -> None:
    due_in_ten = certain_recall(steady, due=52, waited=42)
    assert came_in_week(due_in_ten, 0) == [10]
    assert came_in_week(due_in_ten, 4) == [14]
    assert came_in_week(due_in_ten, -4) == [6]


def test_those_whose_new_date_has_passed_are_called_while_the_rule_changes_and_nobody_twice(steady: Demand) -> None:
    due_in_two = certain_recall(steady, due=52, waited=50)
    assert came_in_week(due_in_two, -4) == [1]  # the clock runs at twice its pace
    already_called = certain_recall(steady, due=52, waited=53)
    assert came_in_week(already_called, 4) == []
    for moved in (-4.0, 0.0, 4.0):
        recalls = changed_returns(due_in_two, Change(moved * 7 / (365.25 / 12))).expected[0, :, RECALL]
        assert recalls.sum() == pytest.approx(100)


def test_months_since_the_last_visit_move_with_the_recall(steady: Demand) -> None:
    due = certain_recall(steady, due=52, waited=42)
    for moved in (-4, 0, 4):
        found = changed_returns(due, Change(moved * 7 / (365.25 / 12))).log_months[0]
        assert np.exp(found[10 + moved]) == pytest.approx((52 + moved + 0.5) * 7 / (365.25 / 12), rel=1e-6)


def test_a_clock_reading_between_weeks_shares_the_recall_out() -> None:
    assert recall_clock(3, 0.5).tolist() == [0.0, -0.5, -0.5, -0.5]
    assert recall_clock(3, 0).tolist() == [0.0] * 4


def test_fewer_second_attempts_leave_those_of_visits_behind_us(steady: Demand) -> None:
    plain = certain_recall(steady, due=100, waited=1)
    rates = walk_of(plain).rates.copy()
    rates[:, :, SECOND, 2] = 40.0
    entrants = walk_of(plain).entrants.copy()
    entrants[:, 0, 0] = 50
    walk = replace(walk_of(plain), rates=rates, entrants=entrants)
    both = replace(plain, returns=replace(plain.returns, walk=walk))
    as_now = changed_returns(both, Change()).expected[0, :, SECOND]
    none = changed_returns(both, Change(second_attempts=np.zeros(2))).expected[0, :, SECOND]
    assert as_now.sum() >= 150  # the fifty seen for the first time have them too, and again after each
    assert none.sum() == pytest.approx(100)  # only of the hundred seen before the log ends


def test_futures_without_a_change_are_the_same_and_with_one_keep_its_mean(steady: Demand) -> None:
    before = (steady.returns.first + steady.returns.later)[:, len(steady.months.rest) :]
    same = redrawn(steady, before, np.random.default_rng(3))
    assert (same == steady.drawn).all()
    for times in (0.7, 1.3):
        other = redrawn(steady, times * before, np.random.default_rng(3))
        added = other.sum(axis=(1, 2)).mean() - steady.drawn.sum(axis=(1, 2)).mean()
        sets = np.arange(len(steady.drawn)) % (len(before) - 1) + 1
        expected = (times - 1) * before[sets].sum(axis=(1, 2)).mean()
        assert added == pytest.approx(expected, rel=0.05)


def test_without_patient_numbers_nobody_can_be_recalled(steady: Demand) -> None:
    unkeyed = replace(steady, returns=replace(steady.returns, walk=None))
    with pytest.raises(NotEnough, match="patient number"):
        changed_returns(unkeyed, Change(2.0))


def test_a_forecast_with_another_methods_totals_is_changed_from_these(steady: Demand) -> None:
    before = (steady.returns.first + steady.returns.later)[:, len(steady.months.rest) :]
    totals = 1.25 * steady.expected.sum(axis=1)
    led = steady.led_by(totals, steady.drawn.sum(axis=2).std(axis=0))
    assert redrawn(led, before, np.random.default_rng(3)) == pytest.approx(led.drawn)
    fewer = redrawn(led, 0.8 * before, np.random.default_rng(3))
    sets = np.arange(len(steady.drawn)) % (len(before) - 1) + 1
    lost = led.drawn.sum(axis=(1, 2)).mean() - fewer.sum(axis=(1, 2)).mean()
    assert lost == pytest.approx(1.25 * 0.2 * before[sets].sum(axis=(1, 2)).mean(), rel=0.05)
