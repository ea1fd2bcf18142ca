"""The ear that was not occluding, beside one that was: silent where nothing is hidden, off where hard wax is not written down."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import binom

from analysis.models.softening_balance import other_ears_material
from analysis.models.softening_estimates import side_by_side
from analysis.stats.effects import mean_difference
from analysis.stats.estimate import Estimate
from tests.softening_log import invented_attempts

LOGS = 40
UNTIL = pd.Timestamp("2026-12-31")


def control(seed: int, *, effect: float, written_down: bool) -> Estimate:
    """Ask one invented log of 1,200 patients whose left ear was not occluding; hard wax makes failure and advice likelier."""
    table = invented_attempts(np.random.default_rng(seed), patients=1200, effect=effect).attempts
    two = table["ears_worked"] == 2
    table["grade"] = table["grade"].mask(two & (table["ear"] == "left"), "non_occluding")
    if not written_down:
        table["debris"] = None
    ears = other_ears_material(table, contrast="advised", fewest_ears=50, followed_until=UNTIL, beside_occluding=True)
    return mean_difference(side_by_side(ears, level=0.95).compared.arms["doubly_robust"])


def test_with_nothing_hidden_and_no_effect_the_ear_beside_seldom_shows_one():
    alarms = sum(control(seed, effect=0.0, written_down=True).excludes_zero for seed in range(LOGS))
    assert alarms <= int(binom.ppf(0.999, LOGS, 0.05))  # more would come once in a thousand at 1 in 20


def test_hard_wax_nobody_wrote_down_shows_on_the_ear_beside_over_many_logs_but_seldom_in_one():
    found = [control(seed, effect=0.0, written_down=False) for seed in range(LOGS)]
    values = np.array([each.value for each in found])
    assert values.mean() < -4 * values.std(ddof=1) / np.sqrt(LOGS)
    # which is why the answer says that a silent control speaks weakly
    assert sum(each.high < 0 for each in found) < LOGS / 2


def test_softening_that_helps_that_ear_too_shows_as_well_so_that_the_control_cannot_tell_which():
    values = np.array([control(seed, effect=0.8, written_down=True).value for seed in range(LOGS)])
    assert values.mean() > 4 * values.std(ddof=1) / np.sqrt(LOGS)
