"""What holds of counts, smoothing and trials whatever the log says."""

from __future__ import annotations

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from analysis.models.counts import fit_counts
from analysis.models.new_patients import month_terms
from analysis.models.simple_forecasts import simple_forecasts
from analysis.stats.exponential_smoothing import Smoothing, States, smooth
from analysis.stats.forecast_checks import by_steps_ahead, chance_of_mean_below

COUNTS = arrays(np.int64, st.integers(8, 40), elements=st.one_of(st.just(0), st.integers(0, 5000)))
SMALL = st.floats(-100, 100, width=32)


@given(COUNTS, st.integers(0, 2), st.booleans())
@settings(max_examples=60, deadline=None)
def test_any_counts_are_fitted_with_finite_means(counts: np.ndarray, harmonics: int, trend: bool) -> None:
    counts[0] += 1
    months = pd.period_range("2024-01", periods=len(counts), freq="M")
    terms = month_terms(months, since=months[-1], trend=trend, harmonics=harmonics)
    fit = fit_counts(counts, terms, np.full(len(counts), 20.0))
    assert np.isfinite(fit.fitted).all()
    assert np.isfinite(fit.covariance).all()
    assert fit.dispersion >= 0


@given(arrays(np.float64, (12, 2), elements=SMALL), st.floats(0, 1), st.floats(0, 1))
@settings(max_examples=40, deadline=None)
def test_smoothing_two_series_together_is_smoothing_each(values: np.ndarray, alpha: float, share: float) -> None:
    one = np.ones(1)
    shares = Smoothing(alpha * one, alpha * share * one, (1 - alpha) * share * one, 0.9 * one)
    both = np.column_stack([values, values.sum(axis=1)])
    misses, _ = smooth(both, shares, States(np.zeros((1, 3)), np.zeros((1, 3)), np.zeros((1, 3, 4))))
    np.testing.assert_allclose(misses[:, 0, 2], misses[:, 0, :2].sum(axis=1), atol=1e-6)


@given(COUNTS, st.integers(1, 6))
@settings(max_examples=40, deadline=None)
def test_simple_methods_never_say_less_than_nought_nor_are_surer_than_chance(counts: np.ndarray, steps: int) -> None:
    for said in simple_forecasts(counts, steps, rounds=2).values():
        assert len(said.totals) == len(said.spreads) == steps
        assert (said.totals >= 0).all()
        assert (said.spreads >= np.sqrt(np.maximum(said.totals, 1.0)) - 1e-9).all()


@given(arrays(np.float64, st.integers(4, 40), elements=SMALL))
@settings(max_examples=60, deadline=None)
def test_a_mean_is_as_likely_above_as_its_mirror_is_below(differences: np.ndarray) -> None:
    below, above = chance_of_mean_below(differences), chance_of_mean_below(-differences)
    assert 0 <= below <= 1
    assert abs(below + above - 1) < 1e-9


@given(arrays(np.float64, (30, 2), elements=SMALL), st.floats(0, 50))
@settings(max_examples=40, deadline=None)
def test_wider_ranges_hold_no_fewer(pairs: np.ndarray, half: float) -> None:
    came, expected = pairs.T
    steps = np.arange(30) % 3 + 1
    found = by_steps_ahead(
        steps,
        came,
        expected,
        {0.5: (expected - half, expected + half), 0.8: (expected - half - 1, expected + half + 1)},
    )
    assert found["forecasts"].tolist() == [10, 10, 10]
    assert (found["inside_50"] <= found["inside_80"]).all()
    assert (found["root_mean_square"] >= found["typical_miss"] - 1e-9).all()
    assert (found["typical_miss"] >= found["bias"].abs() - 1e-9).all()
