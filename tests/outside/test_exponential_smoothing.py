"""Exponential smoothing against R: fixed recursions to rounding, fitted models as the forecast package fits them.

``values/exponential_smoothing.json`` names for each block the data, the R call, the
package versions and, where there are any, printed figures and how they are known.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm
from statsmodels.tsa.exponential_smoothing.ets import ETSModel

from analysis.stats.exponential_smoothing import (
    Fitted,
    Form,
    Smoothing,
    States,
    fit_best,
    fit_form,
    forecasts,
    smooth,
    variance_growth,
)
from tests.outside.referee import all_close, approx, as_printed

VALUES = Path(__file__).parent / "values"
BLOCKS = json.loads((VALUES / "exponential_smoothing.json").read_text(encoding="utf-8"))
FIXED, FITTED = (BLOCKS[block]["values"] for block in ("dem-o04", "dem-o05"))


def series(name: str) -> np.ndarray:
    return pd.read_csv(VALUES / f"{name}.csv")["y"].to_numpy(float)


def one(value: float) -> np.ndarray:
    return np.array([float(value)])


# alpha, beta, gamma, phi, level and trend before the first value, as the block's call gives them
CALLS = {
    "ANN": (0.7, 0.0, 0.0, 1.0, 112, 0.0),
    "AAN": (0.6, 0.05, 0.0, 1.0, 112, 2.0),
    "AAdN": (0.6, 0.05, 0.0, 0.95, 112, 2.0),
    "ANA": (0.4, 0.0, 0.2, 1.0, 127, 0.0),
    "AAA": (0.3, 0.03, 0.14, 1.0, 127, 0.5),
}


@pytest.mark.parametrize("name", CALLS)
def test_fixed_smoothing_follows_as_in_r(name: str) -> None:
    alpha, beta, gamma, phi, level, trend = CALLS[name]
    season = np.array(FIXED["seasonal_additive_init"], dtype=float) if name.endswith("A") else np.zeros(1)
    shares = Smoothing(one(alpha), one(beta), one(gamma), one(phi))
    start = States(one(level)[None], one(trend)[None], season[None, None])
    y = series("air_passengers")
    misses, end = smooth(y[:, None], shares, start)
    # the same arithmetic in another order: equal but for rounding
    assert np.square(misses).sum() == approx(FIXED[f"{name}.sse_e"], rel=1e-10)
    all_close(y[:3] - misses[:3, 0, 0], FIXED[f"{name}.mu_first3"], rtol=1e-12)
    assert (end.level.item(), end.trend.item()) == approx(
        (FIXED[f"{name}.level_last"], FIXED[f"{name}.trend_last"]), rel=1e-10, abs=1e-10
    )
    all_close(forecasts(shares, end, len(y), 12)[:, 0, 0], FIXED[f"{name}.forecast"], rtol=1e-10)


@pytest.mark.parametrize(("name", "season"), [("AAN", 0), ("AAA", 12)])
def test_the_misses_spread_with_the_steps_ahead_as_in_r(name: str, season: int) -> None:
    alpha, beta, gamma, phi, _, _ = CALLS[name]
    found = variance_growth(Smoothing(one(alpha), one(beta), one(gamma), one(phi)), season, 12)[0]
    # printed to ten digits
    all_close(found, FIXED[f"{name}.var_multiplier"], rtol=1e-9)


def test_simple_smoothing_of_oil_as_in_the_forecast_package_and_in_print() -> None:
    fitted = fit_form(series("oil"), Form())
    assert fitted.shares.level[0] == approx(FITTED["ses_oil.par.alpha"], abs=2e-3)
    # R's search stops a little short of the best starting level, ours within a thousandth of the best share
    assert fitted.log_likelihood == approx(FITTED["ses_oil.loglik"], abs=1e-4)
    all_close(fitted.forecast(5), FITTED["ses_oil.forecast"], rtol=1e-5)
    high = fitted.forecast(5) + norm.ppf(0.975) * fitted.spreads(5)
    all_close(high, FITTED["ses_oil.hi95"], rtol=1e-4)  # the share differs in its fourth digit
    printed = BLOCKS["dem-o05"]["published"][0]["as_printed"]
    assert as_printed(fitted.corrected_aic, float(printed["ses_oil.aicc"]), 4)


def test_lasting_trend_of_air_traffic_fits_no_worse_than_the_forecast_package() -> None:
    fitted = fit_form(series("ausair"), Form(trend=True))
    assert fitted.log_likelihood == approx(FITTED["holt_ausair.loglik"], abs=0.01)
    assert fitted.log_likelihood >= FITTED["holt_ausair.loglik"]
    # the likelihood is flat near its top: forecasts differ by up to two in a thousand
    all_close(fitted.forecast(5), FITTED["holt_ausair.forecast"], rtol=2e-3)


def test_level_with_season_follows_as_in_statsmodels() -> None:
    y = series("air_passengers")[:72]
    ours = fit_form(y, Form(season=12))
    theirs = ETSModel(y, error="add", seasonal="add", seasonal_periods=12, initialization_method="known",
                      initial_level=ours.start.level.item(), initial_seasonal=ours.start.season[0, 0])  # fmt: skip
    same = theirs.smooth([ours.shares.level[0], ours.shares.season[0]])
    assert ours.sum_of_squares == approx(float(np.square(same.resid).sum()), rel=1e-8)
    all_close(ours.forecast(12), same.forecast(12), rtol=1e-8)


@pytest.mark.parametrize(("name", "forms"), [("oil", 2), ("air_passengers", 3)])
def test_the_best_form_has_the_least_criterion(name: str, forms: int) -> None:
    y = series(name)
    tried: list[Fitted] = [
        fit_form(y, form) for form in (Form(), Form(trend=True, damped=True), Form(season=12))[:forms]
    ]
    assert fit_best(y).corrected_aic == min(each.corrected_aic for each in tried)
