"""Least squares, shares, weights and times cut off below, several rows to a person, against NIST and R.

``values/rows_of_people.json`` names the calls, versions and data: NIST's certified Longley
figures (read in a stored page), R's geepack, survival and glm. Stata's own figures on the
birth weights are of other models (probit), so R's on the same data are held here.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import norm

from analysis.models.adjusted import fitted_coefficients
from analysis.stats.clustered import clustered_covariance
from analysis.stats.effects import mean_difference, risk_ratio
from analysis.stats.log_normal import log_normal_regression
from analysis.stats.two_arms import TwoArms, standardised_means
from analysis.stats.weighted_arms import STABILISED, weighted_means
from tests.outside.referee import all_close, approx

VALUES = Path(__file__).parent / "values"
PARTS = json.loads((VALUES / "rows_of_people.json").read_text(encoding="utf-8"))
POINT = 1e-6  # exact maximum likelihood fits: only rounding and stopping rules differ
ERROR = 1e-4  # R's derivatives are numerical


def data_of(part: str) -> pd.DataFrame:
    return pd.read_csv(VALUES / PARTS[part]["data"])


def with_constant(frame: pd.DataFrame) -> np.ndarray:
    return np.column_stack([np.ones(len(frame)), frame.to_numpy(dtype=float)])


def test_least_squares_on_longleys_ill_conditioned_rows_are_nists():
    data, told = data_of("longley"), PARTS["longley"]["values"]
    design = with_constant(data.drop(columns="TOTEMP"))
    found = fitted_coefficients(design, data["TOTEMP"].to_numpy(), shares=False)
    # columns this alike cost about nine of the sixteen digits a computer holds
    all_close(found, [told[key] for key in told if key.startswith("coef.")], rtol=1e-7)


def test_children_asked_four_times_have_the_clustered_errors_of_geepack():
    data, told = data_of("ohio"), PARTS["ohio"]["values"]
    design = with_constant(data[["age", "smoke"]].assign(both=data["age"] * data["smoke"]))
    wheeze = data["resp"].to_numpy(dtype=float)
    params = fitted_coefficients(design, wheeze, shares=True)
    chance = 1 / (1 + np.exp(-design @ params))
    bread = np.linalg.inv((design * (chance * (1 - chance))[:, None]).T @ design)
    covariance = clustered_covariance(bread, design * (wheeze - chance)[:, None], data["id"].to_numpy())
    all_close(params, [told[key] for key in told if key.startswith("ind.coef")], rtol=POINT)
    all_close(np.sqrt(np.diag(covariance)), [told[key] for key in told if key.startswith("ind.se")], rtol=1e-5)


def test_amounts_cut_off_below_fit_as_in_survreg():
    # A normal amount is the logarithm of a log-normal time; what is cut off at nought is a time before 1.
    data, told = data_of("tobin"), PARTS["tobin"]["values"]
    bought = data["durable"].to_numpy(dtype=float)
    times = np.exp(bought)
    fit = log_normal_regression(np.where(bought > 0, times, 0.0), times, with_constant(data[["age", "quant"]]))
    found = [*fit.coefficients, float(np.exp(fit.log_sigma))]
    all_close(found, [told[key] for key in ("coef.(Intercept)", "coef.age", "coef.quant", "scale")], rtol=1e-5)
    errors = np.sqrt(np.diag(fit.covariance))
    all_close(errors, [told[key] for key in ("se.(Intercept)", "se.age", "se.quant", "log_scale_se")], rtol=ERROR)


def held_to_r(arms: TwoArms, prefix: str) -> None:
    told = PARTS["cattaneo"]["values"]
    difference, ratio = mean_difference(arms), risk_ratio(arms)
    assert [arms.treated, arms.untreated, difference.value, ratio.value] == approx(
        [told[f"{prefix}.{key}"] for key in ("p1", "p0", "RD", "RR")], rel=1e-5
    )
    error = (difference.high - difference.low) / (2 * norm.ppf(0.975))
    assert error == approx(told[f"{prefix}.se_RD"], rel=ERROR)


def light_babies() -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    data = data_of("cattaneo").rename(columns=lambda name: name.removesuffix("_"))
    return data, data["mbsmoke"].to_numpy() == 1, data["lbweight"].to_numpy(dtype=float)


def test_light_babies_of_smokers_are_standardised_as_in_r():
    data, smokes, light = light_babies()
    design = np.column_stack([with_constant(data[["mmarried", "mage", "mage2", "fbaby", "prenatal1"]]), smokes])
    of_outcome = fitted_coefficients(design, light, shares=True)
    clusters = np.arange(len(data))
    held_to_r(
        standardised_means(of_outcome, design, design.shape[1] - 1, light, clusters, shares=True), "lbw_gcomp_mest"
    )


def test_light_babies_of_smokers_are_weighted_as_in_r():
    data, smokes, light = light_babies()
    design = with_constant(data[["mmarried", "mage", "mage2", "fbaby", "medu"]])
    of_smoking = fitted_coefficients(design, smokes, shares=True)
    held_to_r(weighted_means(of_smoking, design, smokes, light, np.arange(len(data)), kind=STABILISED), "lbw_ipw_hajek")
