"""Planted effects of softening: the plain comparison misleads, the standardised one finds them.

The log is invented in ``tests/softening_log.py``: harder, fuller ears are advised more
often and clear less often, and a patient's two ears share an ease of their own.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from analysis.models.adjusted import adjusted_arms
from analysis.models.softening import SofteningFit, fit_minutes, fit_softening
from analysis.models.softening_material import ears_material
from analysis.stats.effects import mean_difference
from analysis.stats.estimate import Estimate
from analysis.stats.two_arms import TwoArms
from tests.softening_log import Planted, invented_attempts

LOGS = 30
FEWEST_HELD = int(binom.ppf(0.001, LOGS, 0.95))
"""Ranges that hold the truth: fewer of 30 than this would come once in a thousand at 95 %."""
Told = tuple[Estimate, float]


def pay(planted: Planted, contrast: str) -> SofteningFit:
    return fit_softening(
        planted.attempts, contrast=contrast, level=0.95, fewest_ears=50, followed_until=pd.Timestamp("2026-12-31")
    )


def save(planted: Planted, contrast: str) -> SofteningFit:
    return fit_minutes(planted.attempts, contrast=contrast, level=0.95, fewest_visits=50)


@cache
def logs(effect: float) -> list[Planted]:
    """Invent 30 logs of 700 patients."""
    return [invented_attempts(np.random.default_rng(seed), patients=700, effect=effect) for seed in range(LOGS)]


@cache
def told(effect: float, question: str, contrast: str) -> dict[str, list[Told]]:
    """Ask the 30 logs; each estimator's figures with their truth beside them."""
    ask, truth, scale = (pay, "difference", 1) if question == "success" else (save, "saves_minutes", -1)
    found: dict[str, list[Told]] = {}
    for planted in logs(effect):
        for estimator, arms in ask(planted, contrast).arms.items():
            difference = mean_difference(arms).scaled(scale)
            found.setdefault(estimator, []).append((difference, getattr(planted, f"{contrast}_{truth}")))
    return found


def errors(figures: list[Told]) -> np.ndarray:
    return np.array([figure.value - truth for figure, truth in figures])


def held(figures: list[Told]) -> int:
    return sum(figure.low <= truth <= figure.high for figure, truth in figures)


@pytest.mark.parametrize("contrast", ["advised", "used"])
@pytest.mark.parametrize("question", ["success", "minutes"])
def test_like_with_like_the_planted_effect_is_found(question, contrast):
    figures = told(0.8, question, contrast)["standardised"]
    found = errors(figures)
    assert abs(found.mean()) < 3 * found.std(ddof=1) / np.sqrt(LOGS)
    assert held(figures) >= FEWEST_HELD


@pytest.mark.parametrize("contrast", ["advised", "used"])
@pytest.mark.parametrize("question", ["success", "minutes"])
def test_as_it_stands_the_comparison_belittles_softening(question, contrast):
    found = errors(told(0.8, question, contrast)["unadjusted"])
    assert found.mean() < -4 * found.std(ddof=1) / np.sqrt(LOGS)


def test_as_it_stands_the_range_misses_the_truth_too_often():
    assert held(told(0.8, "success", "advised")["unadjusted"]) < FEWEST_HELD


def test_with_no_effect_planted_like_with_like_seldom_claims_one():
    figures = told(0.0, "success", "advised")["standardised"]
    false_alarms = sum(figure.excludes_zero for figure, _ in figures)
    assert false_alarms <= int(binom.ppf(0.999, LOGS, 0.05))


def test_with_no_effect_planted_the_plain_comparison_claims_harm():
    figures = told(0.0, "success", "advised")["unadjusted"]
    assert sum(figure.high < 0 for figure, _ in figures) > int(binom.ppf(0.999, LOGS, 0.05))


def test_a_large_log_narrows_down_on_the_truth():
    planted = invented_attempts(np.random.default_rng(77), patients=12_000)
    like, plain = (mean_difference(pay(planted, "advised").arms[name]) for name in ("standardised", "unadjusted"))
    assert like.low <= planted.advised_difference <= like.high
    assert plain.high < planted.advised_difference


def alike(table: pd.DataFrame) -> TwoArms:
    """Compare use like with like, from the ears taken to the figure, without the variations told beside it."""
    ears = ears_material(table, contrast="used", fewest_ears=50, followed_until=pd.Timestamp("2026-12-31"))
    whose = ears.sample.whose
    return adjusted_arms(ears.columns, treated=ears.treated, outcome=ears.outcome, clusters=whose, shares=True)


def test_resampling_patients_agrees_with_the_range():
    planted = invented_attempts(np.random.default_rng(5), patients=700)
    table = planted.attempts
    told_range = mean_difference(pay(planted, "used").arms["standardised"])
    assert mean_difference(alike(table)) == told_range
    rows_of = list(table.groupby("patient_key").indices.values())
    rng = np.random.default_rng(6)
    resampled = []
    for _ in range(120):
        drawn = [rows_of[i] for i in rng.integers(len(rows_of), size=len(rows_of))]
        again = table.iloc[np.concatenate(drawn)].reset_index(drop=True)
        again["patient_key"] = np.repeat(np.arange(len(drawn)).astype(str), [len(rows) for rows in drawn])
        resampled.append(mean_difference(alike(again)).value)
    spread = 2 * 1.96 * np.std(resampled, ddof=1)
    # 120 resamples know a spread to within about 1 / sqrt(2 * 120) = 6.5 %; three times that is allowed
    assert spread == pytest.approx(told_range.high - told_range.low, rel=0.2)
