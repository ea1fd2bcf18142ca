"""Quantile lines, conformal quantiles and heaped minutes against R, closed forms and counting.

``values/visit_time.json`` names the R calls and versions of every block; ``engel.csv`` is of
quantreg 5.94 (GPL-2 or later).
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from analysis.stats.conformal import conformal_quantile, coverage_limits
from analysis.stats.heaping import heaping_index
from analysis.stats.quantile_regression import quantile_line
from analysis.stats.quantiles import pinball_loss
from tests.outside.referee import approx

VALUES = Path(__file__).parent / "values"
QUANTREG = json.loads((VALUES / "visit_time.json").read_text(encoding="utf-8"))["dur-o08"]["values"]


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


@pytest.mark.parametrize("share", [0.1, 0.25, 0.5, 0.75, 0.9])
def test_engels_lines_are_those_of_quantreg(share):
    expected, data = QUANTREG, pd.read_csv(VALUES / "engel.csv")
    design = np.column_stack([np.ones(len(data)), data["income"]])
    line = quantile_line(design, data["foodexp"].to_numpy(), share)
    # Both solve the linear programme exactly; only rounding differs.
    assert line == approx([expected[f"tau{share}.coef.{term}"] for term in ("(Intercept)", "income")], rel=1e-6)


def test_the_median_line_is_the_printed_one():
    # 81.48225 and 0.5602: quantreg's documentation of the Engel data (from memory).
    data = pd.read_csv(VALUES / "engel.csv")
    line = quantile_line(np.column_stack([np.ones(len(data)), data["income"]]), data["foodexp"].to_numpy(), 0.5)
    assert line[0] == approx(81.48225, abs=5e-6)
    assert line[1] == approx(0.5602, abs=5e-5)


def test_a_rows_count_is_as_good_as_the_row_again():
    rng = np.random.default_rng(4)
    design, amounts = np.column_stack([np.ones(40), rng.integers(0, 3, 40)]), rng.integers(5, 30, 40).astype(float)
    once, thrice = (
        quantile_line(design, amounts, 0.8),
        quantile_line(np.repeat(design, 3, 0), np.repeat(amounts, 3), 0.8),
    )
    losses = [pinball_loss(amounts, design @ line, 0.8) for line in (once, thrice)]
    assert losses[0] == approx(losses[1], rel=1e-9)  # the line may not be unique, its loss is


def test_ages_without_favourites_and_with_nothing_else_have_the_indices_of_whipple():
    """Closed form: Whipple's index is 100 where last digits are even and 500 where all ages end in 0 or 5."""
    assert 100 * heaping_index(np.arange(23.0, 63.0)).value == approx(100)
    assert 100 * heaping_index(np.arange(25.0, 65.0, 5)).value == approx(500)
