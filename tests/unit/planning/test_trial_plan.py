"""How long a fair test takes, and the list that chance draws."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.power import TTestIndPower

from analysis.planning.trial_plan import _power, period_starts, plan_trial, random_list
from analysis.stats.alike import Alike, alike

ALONE = Alike(0.0, 0.0, 1.0, 40.0)


def weeks(difference: float, *, ears: float = 40.0, likeness: Alike = ALONE, power: float = 0.8) -> int | None:
    plan = plan_trial(
        untreated=0.7, difference=difference, power=power, level=0.95, ears_a_period=ears, likeness=likeness
    )
    return plan.periods


def test_power_agrees_with_another_library():
    # two groups of 10, a difference of 1.2 standard deviations; its power counts both tails, the second is below 1e-4
    other = TTestIndPower().power(effect_size=1.2, nobs1=10, alpha=0.05)
    assert _power(1.2 * np.sqrt(10 / 2), 18, 0.95) == pytest.approx(other, abs=1e-4)


def test_a_smaller_difference_fewer_ears_or_more_likeness_take_longer():
    usual = weeks(0.08)
    assert weeks(0.04) > usual
    assert weeks(0.08, ears=20) > usual
    assert weeks(0.08, likeness=Alike(0.5, 0.03, 1.6, 40.0)) > usual
    assert weeks(0.08, power=0.95) > usual


def test_two_ears_of_a_patient_count_by_their_likeness():
    # every patient has two ears that always end alike: 2 times as many; weeks add nothing
    assert Alike(1.0, 0.0, 2.0, 40.0).design_effect() == pytest.approx(2.0)
    assert Alike(0.0, 0.05, 1.0, 21.0).design_effect() == pytest.approx(2.0)


def test_likeness_by_luck_below_nought_is_no_gain():
    assert Alike(-0.2, -0.1, 2.0, 40.0).design_effect() == 1.0


def test_planted_likeness_is_found():
    rng = np.random.default_rng(7)
    week = np.repeat(np.arange(400), 40)
    patient = np.repeat(np.arange(8000), 2)
    ends = rng.normal(size=400)[week] * 0.2 + rng.normal(size=8000)[patient] * 0.5 + rng.normal(size=16000)
    found = alike(ends - ends.mean(), patient, week)
    total = 0.04 + 0.25 + 1
    assert found.inner == pytest.approx(0.29 / total, abs=0.04)  # three standard errors of 8,000 pairs
    assert found.outer == pytest.approx(0.04 / total, abs=0.012)
    assert (found.inner_size, found.outer_size) == (2.0, 40.0)


def test_a_difference_too_small_for_ten_years_has_no_length():
    assert weeks(0.001) is None


@given(st.integers(12, 80), st.integers(0, 10_000))
def test_half_of_every_four_weeks_have_advice_whatever_the_seed(many, seed):
    starts = period_starts(dt.date(2027, 1, 4), periods=many, unit="week", open_weekdays={0})
    advised = random_list(starts, rng=np.random.default_rng(seed))
    assert len(advised) == many
    assert all(sum(advised[start : start + 4]) == 2 for start in range(0, many - 3, 4))
    assert advised == random_list(starts, rng=np.random.default_rng(seed))


def test_the_list_falls_on_open_days_only():
    days = period_starts(dt.date(2027, 1, 1), periods=6, unit="day", open_weekdays={1, 3})
    assert {day.weekday() for day in days} == {1, 3}
    assert days == sorted(set(days))
