"""Quantile lines, conformal quantiles and heaped minutes against R, closed forms and counting.

``values/visit_time.json`` names the R calls and versions of every block; ``engel.csv`` is of
quantreg 5.94 (GPL-2 or later).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from analysis.stats.conformal import conformal_quantile, coverage_limits


@pytest.mark.parametrize("share", [0.5, 0.8, 0.9])
def test_exchangeable_cases_are_covered_as_the_theorem_says(share):
    """Closed form: without ties the next case is covered with chance ceil((n + 1) share) / (n + 1), whatever the law.

    2,000 windows of 99 and one next case each, of three laws; the counts must lie within the binomial 99.9% limits.
    """
    rng = np.random.default_rng(11)
    for draw in (rng.standard_normal, rng.standard_exponential, rng.standard_cauchy):
        cases = draw((2000, 100))
        held = sum(row[-1] <= conformal_quantile(row[:-1], share) for row in cases)
        low, high = binom(2000, share).ppf([0.0005, 0.9995])
        assert low <= held <= high


def test_limits_of_coverage_hold_as_often_as_they_say():
    """Simulated: a window of 60, 40 new cases; coverage leaves its 95% limits in at most 5 in 100 and some of the time."""
    rng = np.random.default_rng(12)
    low, high = coverage_limits(60, 40, 0.8, level=0.95)
    cases = rng.gamma(4, 5, (4000, 100))
    edge = np.array([conformal_quantile(row[:60], 0.8) for row in cases])
    share = (cases[:, 60:] <= edge[:, None]).mean(axis=1)
    out = ((share < low - 1e-12) | (share > high + 1e-12)).mean()
    assert 0.01 < out < 0.05 + 4 * np.sqrt(0.05 * 0.95 / 4000)  # four Monte Carlo errors; counts are discrete, so fewer
