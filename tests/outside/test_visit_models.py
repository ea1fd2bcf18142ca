"""Pooled effects, curves of times cut short, clustered errors and logarithms against R and printed tables.

``values/visit_models.json`` names the R calls and versions of every block. ``sleepstudy.csv`` is of lme4 1.1-31
(GPL-2 or later), ``ergostool.csv`` of nlme 3.1-162 (GPL-2 or later), ``imotor.csv`` of survival 3.5-3 (LGPL-2 or
later), ``medpar.csv`` of COUNT, ``hills.csv`` of MASS 7.3-58.2, ``breast_cosmesis.csv`` of the interval-censoring
literature as listed with the recall values.
"""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from analysis.stats.censored import weibull_regression
from analysis.stats.clustered import clustered_covariance
from analysis.stats.log_normal import log_normal_regression
from analysis.stats.mixed import fit_mixed
from tests.outside.referee import approx

VALUES = Path(__file__).parent / "values"
BLOCKS = {
    name: block["values"] for name, block in json.loads((VALUES / "visit_models.json").read_text("utf-8")).items()
}


def members(labels: pd.Series) -> np.ndarray:
    return pd.get_dummies(labels.astype(str)).to_numpy(dtype=float)


def test_reaction_times_are_pooled_as_lme4_pools_them():
    expected, data = BLOCKS["dur-o06"], pd.read_csv(VALUES / "sleepstudy.csv")
    fixed = np.column_stack([np.ones(len(data)), data["Days"]])
    fit = fit_mixed(fixed, [members(data["Subject"])], data["Reaction"].to_numpy())
    # Both search a flat maximum: 1e-4 of the spreads, far below what is ever shown.
    assert fit.fixed == approx([expected[f"intercept_model.coef.{term}"] for term in ("(Intercept)", "Days")], rel=1e-6)
    errors = np.sqrt(np.diag(fit.covariance))[:2]
    assert errors == approx([expected[f"intercept_model.se.{term}"] for term in ("(Intercept)", "Days")], rel=1e-4)
    assert fit.spreads[0] == approx(expected["intercept_model.sd_intercept"], rel=1e-4)
    assert fit.residual == approx(expected["intercept_model.sd_resid"], rel=1e-4)
    assert fit.reml == approx(expected["intercept_model.reml_criterion"], rel=1e-9)


def test_an_effect_is_drawn_in_by_its_share_of_the_variance():
    """Closed form for equal counts: a subject's mean is drawn in by n s2 / (n s2 + e2), with lme4's own spreads."""
    expected, data = BLOCKS["dur-o06"], pd.read_csv(VALUES / "sleepstudy.csv")
    fixed = np.column_stack([np.ones(len(data)), data["Days"]])
    fit = fit_mixed(fixed, [members(data["Subject"])], data["Reaction"].to_numpy())
    between, within = expected["intercept_model.sd_intercept"] ** 2, expected["intercept_model.sd_resid"] ** 2
    means = data.groupby(data["Subject"].astype(str))["Reaction"].mean() - data["Reaction"].mean()
    assert fit.effects == approx(means.to_numpy() * 10 * between / (10 * between + within), rel=1e-3)


def test_stools_are_pooled_as_nlme_pools_them():
    expected, data = BLOCKS["dur-o16"], pd.read_csv(VALUES / "ergostool.csv")
    types = members(data["Type"])[:, 1:]
    fit = fit_mixed(
        np.column_stack([np.ones(len(data)), types]), [members(data["Subject"])], data["effort"].to_numpy(float)
    )
    terms = ("(Intercept)", "TypeT2", "TypeT3", "TypeT4")
    assert fit.fixed == approx([expected[f"lmm.coef.{term}"] for term in terms], rel=1e-6)
    assert np.sqrt(np.diag(fit.covariance))[:4] == approx([expected[f"lmm.se.{term}"] for term in terms], rel=1e-4)
    assert fit.spreads[0] == approx(expected["lmm.sd_intercept"], rel=1e-4)
    assert fit.reml == approx(-2 * expected["lmm.reml_loglik"], rel=1e-8)


def test_unequal_counts_are_pooled_as_another_library_pools_them():
    rng = np.random.default_rng(8)
    who = np.repeat(np.arange(12), rng.integers(2, 30, 12))
    amounts = 20 + rng.normal(0, 6, 12)[who] + rng.normal(0, 6, len(who))
    with warnings.catch_warnings():
        # It warns of a singular matrix on its way; where it ends it is none.
        warnings.simplefilter("ignore")
        theirs = sm.MixedLM(amounts, np.ones((len(who), 1)), groups=who).fit(reml=True, method=["powell", "bfgs"])
    ours = fit_mixed(np.ones((len(who), 1)), [members(pd.Series(np.char.zfill(who.astype(str), 2)))], amounts)
    # Their search stops at about 1e-4 of the variance.
    assert ours.spreads[0] ** 2 == approx(float(theirs.cov_re[0, 0]), rel=2e-3)
    assert ours.effects == approx(
        [float(theirs.random_effects[each].iloc[0]) for each in range(12)], rel=2e-3, abs=1e-3
    )


@pytest.fixture(scope="module")
def motors():
    data = pd.read_csv(VALUES / "imotor.csv")
    data = data[data["temp"] > 150]
    time, failed = data["time"].to_numpy(dtype=float), data["status"].to_numpy() == 1
    return time, np.where(failed, time, np.inf), np.column_stack([np.ones(len(data)), data["invtemp"]])


def test_motors_still_running_count_as_in_survreg_with_a_log_normal_time(motors):
    expected, fit = BLOCKS["dur-o09"], log_normal_regression(*motors)
    terms = ("(Intercept)", "invtemp")
    # The likeliest values agree to rounding of the search; errors rest on differences of derivatives.
    assert fit.coefficients == approx([expected[f"lognormal.coef.{term}"] for term in terms], rel=1e-6)
    errors = np.sqrt(np.diag(fit.covariance))
    assert errors[:2] == approx([expected[f"lognormal.se.{term}"] for term in terms], rel=1e-5)
    assert fit.log_sigma == approx(expected["lognormal.log_scale"], rel=1e-6)
    assert errors[2] == approx(expected["lognormal.log_scale_se"], rel=1e-5)
    assert fit.log_likelihood == approx(expected["lognormal.loglik"], rel=1e-9)
    for temperature in (130, 150):
        row = np.array([1.0, 1000 / (273.2 + temperature)])
        for share in (0.1, 0.5, 0.9):
            printed = expected[f"lognormal.q_{temperature}C.{share}"]
            assert fit.time_until(share, row).value == approx(printed, rel=1e-5)


def test_motors_still_running_count_as_in_survreg_with_a_weibull_time(motors):
    expected, fit = BLOCKS["dur-o09"], weibull_regression(*motors)
    terms = ("(Intercept)", "invtemp")
    assert fit.coefficients == approx([expected[f"weibull.coef.{term}"] for term in terms], rel=1e-6)
    errors = np.sqrt(np.diag(fit.covariance))
    assert errors[:2] == approx([expected[f"weibull.se.{term}"] for term in terms], rel=1e-5)
    assert fit.log_sigma == approx(expected["weibull.log_scale"], rel=1e-6)
    assert fit.log_likelihood == approx(expected["weibull.loglik"], rel=1e-9)


def test_the_printed_handbook_figures_of_the_motors_are_met(motors):
    # A statistics handbook's example of the motorettes (from memory): -10.4706, 8.3221, 0.6040; errors 2.7719, 1.2841.
    fit = log_normal_regression(*motors)
    found = [*fit.coefficients, np.exp(fit.log_sigma), *np.sqrt(np.diag(fit.covariance))[:2]]
    assert found == approx([-10.4706, 8.3221, 0.6040, 2.7719, 1.2841], abs=5e-5)


def test_times_between_limits_are_fitted_as_in_survreg():
    expected, data = BLOCKS["rec-o10"], pd.read_csv(VALUES / "breast_cosmesis.csv")
    low, high = data["left"].fillna(0.0).to_numpy(float), data["right"].fillna(np.inf).to_numpy(float)
    design = np.column_stack([np.ones(len(data)), data["rct"].to_numpy(float)])
    fit = log_normal_regression(low, high, design)
    assert fit.coefficients == approx(
        [expected["lognormal.coef.(Intercept)"], expected["lognormal.coef.rct"]], rel=1e-5
    )
    assert fit.log_sigma == approx(expected["lognormal.log_scale"], rel=1e-5)
    errors = np.sqrt(np.diag(fit.covariance))
    assert errors[:2] == approx([expected["lognormal.se.(Intercept)"], expected["lognormal.se.rct"]], rel=1e-4)
    assert fit.log_likelihood == approx(expected["lognormal.loglik"], rel=1e-8)


def test_hill_races_on_the_logarithm_are_those_of_r():
    expected, data = BLOCKS["dur-o03"], pd.read_csv(VALUES / "hills.csv")
    design = np.column_stack([np.ones(len(data)), np.log(data["dist"]), np.log(data["climb"])])
    time = data["time"].to_numpy()
    fit = log_normal_regression(time, time, design)
    assert fit.coefficients == approx(
        [expected[f"coef.{term}"] for term in ("(Intercept)", "log(dist)", "log(climb)")], rel=1e-6
    )
    assert np.exp(fit.log_sigma) == approx(expected["sigma_ml"], rel=1e-6)
    assert fit.log_likelihood == approx(expected["loglik_time_scale_ml"], rel=1e-9)


def test_hospital_stays_clustered_by_provider_have_the_errors_of_r():
    expected, data = BLOCKS["dur-o04"], pd.read_csv(VALUES / "medpar.csv")
    terms = ["hmo", "white", "type2", "type3"]
    design = np.column_stack([np.ones(len(data)), data[terms]])
    stays = data["los"].to_numpy(dtype=float)
    fit = sm.GLM(stays, design, family=sm.families.Gamma(link=sm.families.links.Log())).fit(tol=1e-12)
    scores = design * (stays / fit.fittedvalues - 1)[:, None]
    covariance = clustered_covariance(np.linalg.inv(design.T @ design), scores, data["provnum"].to_numpy())
    names = ["(Intercept)", *terms]
    assert fit.params == approx([expected[f"coef.{term}"] for term in names], rel=1e-6)
    assert np.sqrt(np.diag(covariance)) == approx([expected[f"se_CR0.{term}"] for term in names], rel=1e-5)
