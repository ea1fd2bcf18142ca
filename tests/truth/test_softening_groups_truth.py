"""Planted differences between ears, agents and days: found where they are, seldom claimed where they are not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from analysis.models.softening_agents import compared_agents
from analysis.models.softening_days import days_curve
from analysis.models.softening_groups import effects_by_group
from analysis.models.softening_material import Material, ears_material
from tests.softening_log import invented_attempts

LOGS = 40
UNTIL = pd.Timestamp("2027-01-01")
FEWEST_HELD = int(binom.ppf(0.001, LOGS, 0.95))
MOST_ALARMS = int(binom.ppf(0.999, LOGS, 0.05))


def chance(log_odds: np.ndarray) -> np.ndarray:
    return 1 / (1 + np.exp(-log_odds))


def used_ears(attempts: pd.DataFrame) -> Material:
    return ears_material(attempts, contrast="used", fewest_ears=50, followed_until=UNTIL)


def test_a_planted_difference_between_grades_is_held_and_found():
    """Softening helps fully occluding ears more; each log's truth is known ear by ear."""
    held = found = 0
    for seed in range(LOGS):
        rng = np.random.default_rng([1, seed])
        table = invented_attempts(rng, patients=900).attempts
        full = (table["grade"] == "fully_occluding").to_numpy()
        ease = np.where(full, 0.2, 1.2) - 1.0 * (table["debris"] == "hard_wax").to_numpy()
        effect = np.where(full, 1.2, 0.3)
        used = table["softening_used"].to_numpy(dtype=bool)
        with_it, without = chance(ease + effect), chance(ease)
        table["success"] = pd.array(rng.random(len(table)) < np.where(used, with_it, without), dtype="boolean")
        truth = (with_it - without)[full].mean() - (with_it - without)[~full].mean()
        gap = effects_by_group(used_ears(table), "grade", level=0.95).interaction
        held += gap.low <= truth <= gap.high
        found += gap.low > 0
    assert held >= FEWEST_HELD
    assert found > LOGS / 2


def test_agents_that_are_all_alike_are_seldom_told_apart():
    """Three agents, one in seven used seldom: in at most about one log of twenty any pair differs."""
    alarms = 0
    for seed in range(LOGS):
        rng = np.random.default_rng([2, seed])
        table = invented_attempts(rng, patients=900).attempts
        agents = rng.choice(["olive_oil", "sodium_bicarbonate", "docusate"], len(table), p=[0.6, 0.25, 0.15])
        used = table["softening_used"].to_numpy(dtype=bool)
        table["softener"] = pd.Categorical(np.where(used, agents, "none"), categories=table["softener"].cat.categories)
        pairs = compared_agents(used_ears(table), level=0.95, fewest_ears=50, rng=rng).pairs
        alarms += any(pair.excludes_zero for pair in pairs.values())
    assert alarms <= MOST_ALARMS


@pytest.mark.parametrize("rises", [True, False])
def test_the_curve_of_days_follows_what_was_planted(rises):
    """Success grows with the days, or not at all; the range at five days, and of long against short, hold the truth."""
    held_at_five = held_gap = 0
    for seed in range(LOGS):
        rng = np.random.default_rng([3, seed])
        table = invented_attempts(rng, patients=900).attempts
        used = table["softening_used"].to_numpy(dtype=bool)
        days = np.where(used, 1.0 + rng.poisson(4, len(table)), 0.0)
        ease = 0.4 - 0.8 * (table["debris"] == "hard_wax").to_numpy()

        def planted(day: np.ndarray, plain: np.ndarray = ease) -> np.ndarray:
            return chance(plain + (0.15 * day if rises else 0.6))

        success = rng.random(len(table)) < np.where(used, planted(days), chance(ease))
        table = table.assign(softening_days=days, success=pd.array(success, dtype="boolean"))
        curve = days_curve(used_ears(table), level=0.95, fewest_ears=50)
        at_five = curve.shares[list(curve.days).index(5)]
        held_at_five += at_five.low <= planted(np.array(5.0)).mean() <= at_five.high
        gap = (planted(np.array(float(curve.long_days))) - planted(np.array(float(curve.short_days)))).mean()
        held_gap += curve.longer_less_shorter.low <= gap <= curve.longer_less_shorter.high
    assert held_at_five >= FEWEST_HELD
    assert held_gap >= FEWEST_HELD
