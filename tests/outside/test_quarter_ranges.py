"""Ranges of a quarter's counts and shares against R, a published figure and another library's code.

``values/quarter.json`` names the R call. The ratio of two counts is set beside
the exact conditional test of statsmodels, the range widened for rows that go
together beside its cluster-robust standard errors (no small-sample factor) on
``values/ears_aom.csv``, the public data on two ears a child.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from statsmodels.stats.rates import test_poisson_2indep as exact_test

from analysis.models.quarter_measures import count_ratio, widened
from analysis.stats.proportions import exact_share, newcombe_difference, wilson_share
from tests.outside.referee import approx

VALUES = Path(__file__).parent / "values"
LIMITS = json.loads((VALUES / "quarter.json").read_text(encoding="utf-8"))["upper_limit"]
CLOSED_FORM = 1e-9  # the same formula twice: only rounding differs


@pytest.mark.parametrize(("visits", "limit"), LIMITS.items())
def test_none_seen_still_allows_as_many_as_r_says(visits, limit):
    assert exact_share(0, int(visits)).high == approx(limit, rel=CLOSED_FORM)


def test_none_in_14_still_allows_19_in_100_as_printed():
    assert round(exact_share(0, 14).high, 2) == 0.19


@pytest.mark.parametrize(("now", "before"), [(120, 100), (30, 55), (7, 1), (1, 9)])
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_the_ends_of_a_ratio_are_where_the_exact_test_begins_to_reject(now, before, level):
    ratio = count_ratio(now, before, level)
    for end, other in ((ratio.low, "larger"), (ratio.high, "smaller")):
        p = exact_test(now, 1, before, 1, value=end, method="exact-cond", compare="ratio", alternative=other).pvalue
        assert p == approx((1 - level) / 2, rel=1e-6)  # the end is found by inverting a beta function


def ears() -> pd.DataFrame:
    return pd.read_csv(VALUES / "ears_aom.csv")


def clustered_error(outcome: np.ndarray, groups: np.ndarray, arm: np.ndarray | None = None) -> tuple[float, float]:
    """Give the standard error of a mean, or of a difference, clustered and as if rows were independent."""
    design = np.ones((len(outcome), 1)) if arm is None else np.column_stack([np.ones(len(outcome)), arm])
    fit = sm.OLS(outcome.astype(float), design)
    together = fit.fit(cov_type="cluster", cov_kwds={"groups": groups, "use_correction": False}).bse[-1]
    return float(together), float(fit.fit(cov_type="HC0").bse[-1])


def test_a_share_of_ears_is_widened_as_its_clustered_error_says():
    data = ears()
    outcome, child = data["clear"].to_numpy() == 1, data["child"].to_numpy()
    alone = wilson_share(int(outcome.sum()), len(outcome))
    wide = widened(alone, outcome, child)
    together, apart = clustered_error(outcome, pd.factorize(child)[0])
    assert together > apart
    grown = (wide.high - wide.low) / (alone.high - alone.low)
    assert grown == approx(together / apart, rel=CLOSED_FORM)


def test_a_difference_of_ears_is_widened_as_its_clustered_error_says():
    data = ears()
    outcome, child, now = data["clear"].to_numpy() == 1, data["child"].to_numpy(), data["amo"].to_numpy() == 1
    some, of = (int(outcome[now].sum()), int(outcome[~now].sum())), (int(now.sum()), int((~now).sum()))
    alone = newcombe_difference(some, of)
    wide = widened(alone, outcome, child, now)
    together, apart = clustered_error(outcome, pd.factorize(child)[0], now.astype(float))
    grown = (wide.high - wide.low) / (alone.high - alone.low)
    assert grown == approx(max(1.0, together / apart), rel=CLOSED_FORM)
