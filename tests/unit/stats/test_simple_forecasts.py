"""Simple forecasts and scaled errors."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.stats.forecast_checks import range_factor, scaled_error, seasonal_naive


def test_the_same_month_a_year_before() -> None:
    assert seasonal_naive(np.arange(24.0), 3).tolist() == [12.0, 13.0, 14.0]


def test_a_simple_forecast_that_never_missed_cannot_be_beaten() -> None:
    assert scaled_error(np.array([1.0]), np.array([0.0])) == float("inf")


def test_ranges_grow_with_past_misses_and_never_shrink() -> None:
    # (6 x 1.5 + 2 x 4) / (6 + 2) = 17 / 8
    assert range_factor([2.0, -2.0], supposed_variance=1.5, weight=6.0) == pytest.approx((17 / 8) ** 0.5)
    assert range_factor([0.0] * 50, supposed_variance=1.5, weight=6.0) == 1.0
