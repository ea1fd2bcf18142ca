"""Simple forecasts and scaled errors."""

from __future__ import annotations

import numpy as np

from analysis.stats.forecast_checks import scaled_error, seasonal_naive


def test_the_same_month_a_year_before() -> None:
    assert seasonal_naive(np.arange(24.0), 3).tolist() == [12.0, 13.0, 14.0]


def test_a_simple_forecast_that_never_missed_cannot_be_beaten() -> None:
    assert scaled_error(np.array([1.0]), np.array([0.0])) == float("inf")
