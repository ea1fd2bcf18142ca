"""A test of advice in an invented clinic finds what was planted, and cries no false alarm more than 1 time in 20."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from analysis.models.softening_trial import Schedule, analyse_trial, trial_basis
from analysis.planning.trial_plan import period_starts, plan_trial, random_list
from analysis.schema import ATTEMPTS, typed_frame
from analysis.stats.alike import Alike
from tests.softening_log import invented_attempts

FIRST = dt.date(2027, 1, 4)
WITHOUT, WEEKS, EARS = 0.70, 16, 40
WEEK_SPREAD = 0.05
"""Standard deviation of a week's own share: a correlation within the week of about 0.012."""


def a_test_that_ran(rng: np.random.Generator, effect: float, weeks: int = WEEKS):
    """Run one test: weeks drawn by chance, two ears a patient that often end alike, advice followed by 7 in 10."""
    starts = period_starts(FIRST, periods=weeks, unit="week", open_weekdays={0})
    advised = np.array(random_list(starts, rng=rng))
    week = np.repeat(np.arange(weeks), EARS)
    patient = np.arange(weeks * EARS) // 2
    used = (rng.random(len(patient)) < 0.7)[patient] & advised[week]
    chance = WITHOUT + rng.normal(0, WEEK_SPREAD, weeks)[week] + used * effect / 0.7
    own = rng.random(len(patient))[patient]
    together = (rng.random(len(patient)) < 0.3)[patient]
    success = np.where(together, own, rng.random(len(week))) < chance
    rows = pd.DataFrame(
        {
            "visit_id": [f"v{each}" for each in patient],
            "patient_key": [f"p{each}" for each in patient],
            "ear": np.where(np.arange(len(week)) % 2, "left", "right"),
            "day": pd.to_datetime([starts[each] for each in week]) + pd.to_timedelta(patient % 5, unit="D"),
            "attempt_number": 1,
            "grade": "partly_occluding",
            "success": success,
            "contraindicated": False,
            "softening_advised": advised[week],
            "booking_kind": "new",
        }
    )
    listed = tuple(day for day, yes in zip(starts, advised, strict=True) if yes)
    return analyse_trial(
        typed_frame(ATTEMPTS, rows),
        schedule=Schedule(FIRST, FIRST + dt.timedelta(weeks=weeks), listed, "week"),
        level=0.95,
        followed_until=pd.Timestamp("2027-12-31"),
        rng=rng,
        lists=400,
    )


@pytest.fixture(scope="module")
def without_effect():
    return [a_test_that_ran(np.random.default_rng([5, each]), 0.0) for each in range(150)]


def test_without_an_effect_about_1_test_in_20_cries_alarm(without_effect):
    # of 150 tests 7.5 are expected; 1 to 16 holds more than 99 in 100 such studies (binomial)
    by_range = sum(found.difference.excludes_zero for found in without_effect)
    by_list = sum(found.p_value <= 0.05 for found in without_effect)
    assert 1 <= by_range <= 16
    assert 1 <= by_list <= 16


def test_the_planted_effect_is_found_and_covered():
    found = [a_test_that_ran(np.random.default_rng([6, each]), 0.10) for each in range(80)]
    values = np.array([each.difference.value for each in found])
    covered = sum(each.difference.low <= 0.10 <= each.difference.high for each in found)
    assert values.mean() == pytest.approx(0.10, abs=4 * values.std() / np.sqrt(80))
    assert covered >= 70  # of 80 at 19 in 20, fewer is less likely than 1 in 200


def test_the_planned_power_is_kept():
    plan = plan_trial(
        untreated=WITHOUT,
        difference=0.12,
        power=0.8,
        level=0.95,
        ears_a_period=EARS,
        likeness=Alike(0.31, WEEK_SPREAD**2 / (WITHOUT * (1 - WITHOUT)), 2.0, EARS),
    )
    found = [a_test_that_ran(np.random.default_rng([7, each]), 0.12, plan.periods) for each in range(100)]
    power = np.mean([each.difference.excludes_zero for each in found])
    assert 0.68 <= power <= 0.97  # at least the 0.8 asked for, less three standard errors of 100 tests


def test_a_plan_starts_from_what_all_ears_would_show_unadvised_though_the_unadvised_are_the_easier():
    # harder, fuller ears are advised more often, and nothing is planted: all ears' share is what weeks without advice show
    planted = invented_attempts(np.random.default_rng(3), patients=3000, effect=0.0)
    rows = planted.attempts
    truth = rows["success"].mean()
    basis = trial_basis(rows, unit="week", fewest_ears=50, level=0.95, followed_until=pd.Timestamp("2026-08-31"))
    plain = rows.loc[~rows["softening_advised"].astype(bool), "success"].mean()
    assert basis.like_with_like
    assert plain > truth + 0.01
    assert basis.untreated.low < truth < basis.untreated.high
    assert abs(basis.untreated.value - truth) < 0.5 * (plain - truth)
