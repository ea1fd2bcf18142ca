"""Count regression, its forecasts and rolling trials against R, and sums of unequal chances against enumeration.

``values/demand.json`` names, for every block, the data and where they come from, the R
call, the package versions and, where there are any, the published figures and how they
are known; the CSV files beside it are the data. The key of each block is its title.
"""

from __future__ import annotations

import json
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import nbinom, poisson

from analysis.models.counts import CountFit, fit_counts
from analysis.models.new_patients import fit_terms, month_terms
from analysis.stats.forecast_checks import by_steps_ahead, naive, scaled_error, seasonal_naive
from analysis.stats.poisson_binomial import matched_binomial_draws, poisson_binomial_moments
from analysis.stats.proportions import wilson_share
from tests.outside.referee import all_close, approx

VALUES = Path(__file__).parent / "values"
BLOCKS = json.loads((VALUES / "demand.json").read_text(encoding="utf-8"))
SAME = 1e-5  # both fits are run until they stop moving; R's glm.nb stops at about 1e-8 in the deviance
DISPERSION = 1e-3  # the likelihood is flat in the dispersion, so where each stops shows first there


def rolling_origin(values, first_origin, steps, forecast):
    """Give each forecast ``steps`` ahead, made from what was known then, and the value that came."""
    for origin in range(first_origin, len(values) - steps + 1):
        yield forecast(values[:origin], steps)[steps - 1], values[origin + steps - 1]


def data(name: str) -> pd.DataFrame:
    return pd.read_csv(VALUES / f"{name}.csv")


def dummies(column: pd.Series) -> pd.DataFrame:
    return pd.get_dummies(column, drop_first=True, dtype=float)


def design(*parts: pd.Series | pd.DataFrame) -> np.ndarray:
    return np.column_stack([np.ones(len(parts[0])), *parts]).astype(float)


def van_design(table: pd.DataFrame) -> np.ndarray:
    return design(table["t"] / 12, table["law"], dummies(table["month"]))


def expected(block: str, start: str) -> np.ndarray:
    return np.array([value for key, value in BLOCKS[block]["values"].items() if key.startswith(start)])


def assert_as_in_r(fit: CountFit, block: str, model: str) -> None:
    errors = np.sqrt(np.diag(fit.covariance))
    all_close(fit.coefficients, expected(block, f"{model}coef."), rtol=SAME, atol=1e-7)
    all_close(errors, expected(block, f"{model}se_model."), rtol=SAME)
    assert fit.log_likelihood == approx(BLOCKS[block]["values"][f"{model}loglik"], rel=1e-8)


def test_counts_that_vary_no_more_than_chance_are_fitted_as_poisson() -> None:
    # van drivers killed: R's negative binomial runs to theta = infinity here
    table = data("van_killed")
    fit = fit_counts(table["y"].to_numpy(), van_design(table))
    assert fit.dispersion == 0.0
    assert_as_in_r(fit, "dem-o01", "poisson.")


def test_exposure_enters_as_an_offset() -> None:
    table = data("van_killed")
    fit = fit_counts(table["y"].to_numpy(), van_design(table), table["kms"].to_numpy(float), poisson=True)
    assert_as_in_r(fit, "dem-o01", "poisson_offset.")


def test_overdispersed_counts_are_fitted_as_negative_binomial() -> None:
    table = data("van_killed")
    fit = fit_counts(table["drivers_killed"].to_numpy(), van_design(table))
    assert_as_in_r(fit, "dem-o01", "drivers_nb.")
    assert 1 / fit.dispersion == approx(BLOCKS["dem-o01"]["values"]["drivers_nb.theta"], rel=DISPERSION)


def test_quine_and_medpar_as_in_r_and_in_print() -> None:
    quine, medpar = data("quine"), data("medpar")
    terms = design(*(dummies(quine[name]) for name in ("Eth", "Sex", "Age", "Lrn")))
    fits = {
        "quine.": fit_counts(quine["Days"].to_numpy(), terms),
        "medpar_nb.": fit_counts(
            medpar["los"].to_numpy(), design(*(medpar[n] for n in ("hmo", "white", "type2", "type3")))
        ),
    }
    for model, fit in fits.items():
        assert_as_in_r(fit, "dem-o02", model)
        assert fit.dispersion == approx(BLOCKS["dem-o02"]["values"][f"{model}alpha"], rel=DISPERSION)
        assert fit.aic == approx(BLOCKS["dem-o02"]["values"][f"{model}aic"], rel=1e-8)
    printed = BLOCKS["dem-o02"]["published"][1]["as_printed"]  # Hilbe, from memory
    assert f"{fits['medpar_nb.'].dispersion:.4f}" == printed["medpar_nb.alpha"]


def test_nested_quine_dispersion_as_in_venables_and_ripley() -> None:
    quine = data("quine")
    sex, eth, learner = (dummies(quine[name]).iloc[:, 0] for name in ("Sex", "Eth", "Lrn"))
    age = dummies(quine["Age"])
    within = [age, eth, learner, eth * learner]
    each = [part.mul(side, axis=0) for side in (1 - sex, sex) for part in within]
    fit = fit_counts(quine["Days"].to_numpy(), design(sex, *each))
    values = BLOCKS["dem-o02"]["values"]
    assert 1 / fit.dispersion == approx(values["quine_nested.theta"], rel=DISPERSION)
    assert fit.log_likelihood == approx(values["quine_nested.loglik"], rel=1e-8)
    assert f"{1 / fit.dispersion:.3f}" == "1.598"  # Venables and Ripley, MASS, from memory


def test_two_yearly_waves_forecast_a_year_as_in_r() -> None:
    table = data("ldeaths")
    months = pd.period_range("1974-01", periods=len(table), freq="M")
    model = fit_terms(table["y"].to_numpy()[:60], months[:60], np.ones(60), trend=True, harmonics=2)
    values = BLOCKS["dem-o03"]["values"]
    forecast = model.means(months[60:], np.ones(12))
    all_close(forecast, values["nb.forecast"], rtol=SAME)
    assert model.fit.dispersion == approx(values["nb.alpha"], rel=DISPERSION)
    all_close(model.fit.coefficients[1:], expected("dem-o03", "nb.coef.")[1:], rtol=1e-4)
    theta = 1 / model.fit.dispersion
    low, high = (nbinom.ppf(q, theta, theta / (theta + forecast)) for q in (0.1, 0.9))
    # the dispersion's last digits may move a limit by one death
    all_close([low, high], [values["nb.lo80"], values["nb.hi80"]], atol=1)
    inside = (table["y"][60:] >= low) & (table["y"][60:] <= high)
    assert inside.mean() == approx(values["nb.coverage80"])


def test_rolling_count_regression_covers_as_often_as_in_r() -> None:
    table = data("van_killed")
    counts, terms = table["y"].to_numpy(), design(table["t"] / 12, dummies(table["month"]))
    values = BLOCKS["dem-o07"]["values"]
    origins = range(120, 192)
    means = np.array([np.exp(terms[o] @ fit_counts(counts[:o], terms[:o], poisson=True).coefficients) for o in origins])
    came = counts[120:]
    low, high = poisson.ppf(0.1, means), poisson.ppf(0.9, means)
    inside = int(((came >= low) & (came <= high)).sum())
    assert inside == values["poisson.covered80"]
    assert np.abs(came - means).mean() == approx(values["poisson.MAE"], rel=1e-6)
    share = wilson_share(inside, len(came))
    assert (share.low, share.high) == approx(
        (values["poisson.coverage80_wilson_lo"], values["poisson.coverage80_wilson_hi"]), rel=1e-9
    )


def test_rolling_overdispersed_regression_covers_as_often_as_in_r() -> None:
    table = data("van_killed")
    counts, terms = table["drivers_killed"].to_numpy(), design(table["t"] / 12, dummies(table["month"]))
    values = BLOCKS["dem-o07"]["values"]
    origins = np.arange(120, 192, 6)
    means, low, high = np.empty((3, len(origins)))
    for place, origin in enumerate(origins):
        fit = fit_counts(counts[:origin], terms[:origin])
        mean = float(np.exp(terms[origin] @ fit.coefficients))
        theta = 1 / fit.dispersion
        means[place] = mean
        low[place], high[place] = nbinom.ppf((0.1, 0.9), theta, theta / (theta + mean))
    found = by_steps_ahead(np.ones(len(origins), dtype=int), counts[origins], means, {0.8: (low, high)}).loc[1]
    assert found["forecasts"] == values["drivers_nb.n"]
    assert (found["typical_miss"], found["root_mean_square"]) == approx(
        (values["drivers_nb.MAE"], values["drivers_nb.RMSE"]), rel=SAME
    )
    assert found["inside_80"] == values["drivers_nb.covered80"]
    # a dispersion that differs in its fourth digit may move a limit by one
    assert (low.sum(), high.sum()) == approx((values["drivers_nb.sum_lo"], values["drivers_nb.sum_hi"]), abs=1)


def test_ships_as_in_r_and_in_mccullagh_and_nelder() -> None:
    table = data("ships")
    terms = design(dummies(table["type"]), dummies(table["year"]), dummies(table["period"]))
    fit = fit_counts(table["incidents"].to_numpy(), terms, table["service"].to_numpy(float), poisson=True)
    assert_as_in_r(fit, "dem-o08", "")
    printed = BLOCKS["dem-o08"]["published"][0]["as_printed"]  # McCullagh and Nelder (1989), from memory
    said = [float(value) for key, value in printed.items() if key.startswith("coef")]
    all_close(fit.coefficients[1:], said, atol=0.0051)


@pytest.mark.parametrize(("name", "forecast"), [("snaive", seasonal_naive), ("naive", naive)])
def test_simple_forecasts_miss_as_in_r(name: str, forecast) -> None:
    values = BLOCKS["dem-o06"]["values"]
    passengers = data("air_passengers")["y"].to_numpy(float)
    for place, steps in enumerate(values[f"{name}.horizons"]):
        pairs = np.array(list(rolling_origin(passengers, 60, steps, forecast)))
        errors = pairs[:, 1] - pairs[:, 0]
        assert len(errors) == values[f"{name}.n"][place]
        assert np.abs(errors).mean() == approx(values[f"{name}.MAE"][place], rel=1e-12)
        assert errors.mean() == approx(values[f"{name}.ME"][place], rel=1e-12)


def test_scaled_error_against_the_seasonal_naive_as_in_the_forecast_package() -> None:
    values = BLOCKS["dem-o06"]["values"]
    passengers = data("air_passengers")["y"].to_numpy(float)
    within = passengers[12:60] - passengers[:48]
    assert np.abs(within).mean() == approx(values["mase_denominator_first60"], rel=1e-12)
    ahead = np.array(list(rolling_origin(passengers, 60, 1, seasonal_naive)))
    errors = ahead[:, 1] - ahead[:, 0]
    assert scaled_error(errors, within) == approx(
        values["tscv_snaive_h1_mae"] / values["mase_denominator_first60"], rel=1e-12
    )


CHANCES = np.array([0.02, 0.1, 0.35, 0.5, 0.77, 0.9, 1.0])


def enumerated(chances: np.ndarray) -> np.ndarray:
    """Probability of each sum, by listing every way the chances can fall."""
    sums = np.zeros(len(chances) + 1)
    for fall in product((0, 1), repeat=len(chances)):
        sums[sum(fall)] += np.prod(np.where(fall, chances, 1 - chances))
    return sums


def test_mean_and_variance_of_a_sum_of_chances_against_enumeration() -> None:
    share = enumerated(CHANCES)
    sums = np.arange(len(share))
    mean = (sums * share).sum()
    variance = ((sums - mean) ** 2 * share).sum()
    assert poisson_binomial_moments(CHANCES) == approx((mean, variance), rel=1e-12)
    twice = poisson_binomial_moments(CHANCES, np.full(len(CHANCES), 2.0))
    assert twice == approx((2 * mean, 2 * variance), rel=1e-12)


def test_matched_draws_spread_as_the_enumerated_sum() -> None:
    chances = np.repeat([0.03, 0.1, 0.2, 0.4], 4)
    mean, variance = poisson_binomial_moments(chances)
    draws = matched_binomial_draws(np.full(40_000, mean), np.array(variance / mean), np.random.default_rng(11))
    drawn = np.bincount(draws.astype(int), minlength=len(chances) + 1) / len(draws)
    # a matched binomial is not the sum itself: their shares differ by up to a hundredth here
    all_close(np.cumsum(drawn)[: len(chances) + 1], np.cumsum(enumerated(chances)), atol=0.015)


def test_month_terms_are_the_waves_r_was_given() -> None:
    months = pd.period_range("1974-01", periods=72, freq="M")
    position = np.arange(1, 73)
    waves = [f(2 * np.pi * k * position / 12) for k in (1, 2) for f in (np.sin, np.cos)]
    terms = month_terms(months, since=months[0] - 1, trend=True, harmonics=2)
    all_close(terms, np.column_stack([np.ones(72), position / 12, *waves]), atol=1e-12)
