"""Trials of forecasts on the past against the forecast package's on the monthly air passengers of 1949 to 1960.

The values and their R call stand in ``values/demand.json`` (block ``dem-o06``); the comparison of two forecasts is held
against the t test it becomes where nothing goes together.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm, ttest_1samp

from analysis.stats.forecast_checks import (
    by_steps_ahead,
    chance_of_mean_below,
    mean_variance,
    naive,
    same_season_mean,
    seasonal_naive,
)
from tests.outside.referee import all_close, approx

VALUES = Path(__file__).parent / "values"
R = json.loads((VALUES / "demand.json").read_text(encoding="utf-8"))["dem-o06"]["values"]
PASSENGERS = pd.read_csv(VALUES / "air_passengers.csv")["y"].to_numpy(float)
FIRST_ORIGIN, STEPS = 60, 12


def spread(history: np.ndarray, name: str) -> np.ndarray:
    """Give the spread of each step's misses, as R's call has it."""
    ahead = np.arange(1, STEPS + 1)
    lag, steps = (12, (ahead - 1) // 12 + 1) if name == "snaive" else (1, ahead)
    return np.sqrt(np.mean((history[lag:] - history[:-lag]) ** 2)) * np.sqrt(steps)


def rolled(name: str) -> pd.DataFrame:
    """Forecast up to a year ahead from every month's end from the sixtieth on, and sum up."""
    forecast = seasonal_naive if name == "snaive" else naive
    parts = []
    for origin in range(FIRST_ORIGIN, len(PASSENGERS)):
        history, came = PASSENGERS[:origin], PASSENGERS[origin : origin + STEPS]
        rows = {"steps": np.arange(1, STEPS + 1), "said": forecast(history, STEPS), "spread": spread(history, name)}
        parts.append(pd.DataFrame(rows)[: len(came)].assign(came=came))
    tried = pd.concat(parts)
    ranges = {}
    for level in (0.80, 0.95):
        half = norm.ppf(0.5 + level / 2) * tried["spread"].to_numpy()
        ranges[level] = (tried["said"].to_numpy() - half, tried["said"].to_numpy() + half)
    return by_steps_ahead(tried["steps"].to_numpy(), tried["came"].to_numpy(), tried["said"].to_numpy(), ranges)


@pytest.mark.parametrize("name", ["snaive", "naive"])
def test_rolling_trials_miss_lean_and_cover_as_in_the_forecast_package(name: str) -> None:
    found = rolled(name).loc[R[f"{name}.horizons"]]
    # the same sums in another order
    assert found["forecasts"].tolist() == R[f"{name}.n"]
    all_close(found["typical_miss"], R[f"{name}.MAE"], rtol=1e-12)
    all_close(found["root_mean_square"], R[f"{name}.RMSE"], rtol=1e-12)
    all_close(found["bias"], R[f"{name}.ME"], rtol=1e-12)
    for level in (80, 95):
        all_close(found[f"inside_{level}"] / found["forecasts"], R[f"{name}.cover{level}"], rtol=1e-12)


def test_the_mean_of_same_months_is_that_of_a_table_of_years() -> None:
    years = PASSENGERS[:36].reshape(3, 12)
    all_close(same_season_mean(PASSENGERS[:36], 12), years.mean(axis=0), rtol=1e-12)


def test_with_every_wave_the_comparison_is_the_t_test() -> None:
    differences = np.diff(PASSENGERS[:25])
    n = len(differences)
    theirs = ttest_1samp(differences, 0.0).statistic
    assert differences.mean() / np.sqrt(mean_variance(differences, n - 1)) == approx(theirs, rel=1e-10)


@pytest.mark.parametrize("together", [0.0, 0.5])
def test_equal_forecasts_are_seldom_told_apart(together: float) -> None:
    # 24 months, no difference planted: at 5 in 100 a plain t test finds one 15 to 20 times in 100 at 0.5
    rng = np.random.default_rng(20)
    found = 0
    for _ in range(2000):
        noise = rng.standard_normal(54)
        for place in range(1, 54):
            noise[place] += together * noise[place - 1]
        found += chance_of_mean_below(noise[30:]) < 0.05
    # binomial error at 2,000: 0.5 in 100; where months go together the slow waves leave a little more than 5
    assert 0.03 < found / 2000 < 0.09
