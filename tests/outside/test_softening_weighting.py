"""Weighted and doubly robust comparisons against R, statsmodels' own treatment effects, strata by hand, and patients drawn anew.

``values/weighting.json`` holds R's figures on the birth weights (MASS) with the calls and
versions: glm for both models, stacked estimating equations with numerical derivatives (numDeriv).
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.stats import norm
from statsmodels.treatment.treatment_effects import TreatmentEffect

from analysis.models.adjusted import Compared, compared_arms
from analysis.stats.effects import mean_difference, number_needed, risk_ratio
from analysis.stats.redrawn_arms import redrawn_means
from analysis.stats.weighted_arms import STABILISED, balancing_weights, effective_rows
from tests.outside.referee import all_close, approx

VALUES = Path(__file__).parent / "values"
R = json.loads((VALUES / "weighting.json").read_text(encoding="utf-8"))["values"]
POINT = 1e-6  # both are exact maximum likelihood fits: only rounding and stopping rules differ
ERROR = 1e-4  # R's derivatives are numerical
ALIKE = ["standardised", "weighted", "overlap_weighted", "doubly_robust"]


def birthwt() -> tuple[Compared, np.ndarray, np.ndarray]:
    data = pd.read_csv(VALUES / "birthwt.csv")
    columns = data[["age", "lwt", "ht", "ui"]].assign(
        ptd=data["ptl"] > 0, race2=data["race"] == 2, race3=data["race"] == 3
    )
    treated, low = data["smoke"].to_numpy() == 1, data["low"].to_numpy()
    return (
        compared_arms(columns, treated=treated, outcome=low, clusters=np.arange(len(data)), shares=True),
        treated,
        low,
    )


@pytest.mark.parametrize(
    ("estimator", "prefix"), [("weighted", "ipw_hajek"), ("doubly_robust", "aipw"), ("standardised", "gcomp_mest")]
)
def test_shares_differences_ratios_and_ranges_agree_with_r(estimator, prefix):
    arms = birthwt()[0].arms[estimator]
    difference, ratio = mean_difference(arms), risk_ratio(arms)
    for key, found, rtol in (
        ("p1", arms.treated, POINT),
        ("p0", arms.untreated, POINT),
        ("RD", difference.value, POINT),
        ("RR", ratio.value, POINT),
        ("RD_lo", difference.low, ERROR),
        ("RD_hi", difference.high, ERROR),
        ("RR_lo", ratio.low, ERROR),
        ("RR_hi", ratio.high, ERROR),
    ):
        assert found == approx(R[f"{prefix}.{key}"], rel=rtol, abs=1e-7), key


def grams(columns: pd.DataFrame, treated: np.ndarray, grams: np.ndarray) -> tuple[dict, TreatmentEffect]:
    """Compare birth weights with and without smoking: here, and by a library whose figures its makers hold to Stata's teffects."""
    arms = compared_arms(columns, treated=treated, outcome=grams, clusters=np.arange(len(grams)), shares=False).arms
    design = sm.add_constant(columns.astype(float))
    of_smoking = sm.Logit(treated.astype(float), design).fit(disp=0, tol=1e-12, maxiter=100)
    return arms, TreatmentEffect(sm.OLS(grams, design), treated.astype(int), results_select=of_smoking)


def difference_and_error(arms) -> tuple[float, float]:
    found = mean_difference(arms)
    return found.value, (found.high - found.low) / (2 * norm.ppf(0.975))


def test_weighted_grams_are_those_of_statsmodels_treatment_effects():
    data = pd.read_csv(VALUES / "birthwt.csv")
    columns = data[["age", "lwt", "ht"]].assign(race2=data["race"] == 2, race3=data["race"] == 3)
    arms, library = grams(columns, data["smoke"].to_numpy() == 1, data["bwt"].to_numpy(dtype=float))
    theirs = library.ipw(return_results=True).summary_frame().loc["ATE"]
    value, error = difference_and_error(arms["weighted"])
    assert value == approx(theirs["coef"], rel=1e-8)
    assert error == approx(theirs["std err"], rel=1e-4)  # theirs comes from numerical derivatives


def test_doubly_robust_grams_are_those_of_statsmodels_treatment_effects():
    # the library fits the outcome arm by arm; where the chance of treatment is one of strata, both are the same estimator,
    # though this project's model of the outcome has no term for the treatment doing more in one stratum than in another
    data = pd.read_csv(VALUES / "birthwt.csv")
    strata = data["race"].astype(str) + (data["age"] > 23).astype(str)
    columns = pd.get_dummies(strata, drop_first=True)
    arms, library = grams(columns, data["smoke"].to_numpy() == 1, data["bwt"].to_numpy(dtype=float))
    theirs = library.aipw(return_results=True).summary_frame().loc["ATE"]
    value, error = difference_and_error(arms["doubly_robust"])
    assert value == approx(theirs["coef"], rel=1e-8)
    assert error == approx(theirs["std err"], rel=1e-4)
    assert abs(value - difference_and_error(arms["standardised"])[0]) > 10  # so the model alone would not have done


def test_number_needed_goes_through_infinity_where_r_gives_ends_of_both_signs():
    needed = number_needed(mean_difference(birthwt()[0].arms["weighted"]))
    assert needed.form == "no_clear_difference"
    assert needed.benefit_from == approx(R["ipw_hajek.NNT_from_RD_hi"], rel=ERROR)
    assert needed.harm_from == approx(-R["ipw_hajek.NNT_from_RD_lo"], rel=ERROR)


def test_unstabilised_weights_and_their_worth_in_rows_agree_with_r():
    compared, treated, _ = birthwt()
    weights = balancing_weights(compared.fitted.chance, treated, kind=STABILISED) / np.where(
        treated, treated.mean(), 1 - treated.mean()
    )
    assert weights.max() == approx(R["ipw.max_weight"], rel=POINT)
    assert effective_rows(weights) == approx(R["ipw.ess"], rel=POINT)


CELLS = pd.DataFrame(
    [("easy", 1, 30, 24), ("easy", 0, 60, 45), ("hard", 1, 50, 25), ("hard", 0, 20, 7), ("dry", 1, 12, 9), ("dry", 0, 24, 15)],
    columns=["stratum", "treated", "ears", "successes"],
)  # fmt: skip


def strata() -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    """Spread the counts to one row an ear; two neighbours are one patient."""
    rows = CELLS.loc[CELLS.index.repeat(CELLS["ears"])].reset_index(drop=True)
    success = np.concatenate([np.arange(n) < s for n, s in CELLS[["ears", "successes"]].to_numpy()])
    columns = pd.DataFrame({name: (rows["stratum"] == name).astype(float) for name in ("hard", "dry")})
    return columns, rows["treated"].to_numpy() == 1, success


def by_hand(target: str) -> float:
    """Average the strata's differences of shares over all ears, or over those that could be in either arm."""
    share = CELLS.assign(share=CELLS["successes"] / CELLS["ears"]).set_index(["stratum", "treated"])
    soft, plain = share.xs(1, level="treated"), share.xs(0, level="treated")
    difference = soft["share"] - plain["share"]
    both = soft["ears"] + plain["ears"]
    weight = both if target == "all" else soft["ears"] * plain["ears"] / both
    return float((difference * weight).sum() / weight.sum())


@pytest.mark.parametrize(("estimator", "target"), [("weighted", "all"), ("overlap_weighted", "overlap")])
def test_with_strata_alone_weighting_is_the_average_of_the_strata_s_differences(estimator, target):
    columns, treated, success = strata()
    arms = compared_arms(columns, treated=treated, outcome=success, clusters=np.arange(len(treated)), shares=True).arms
    # exact algebra: what remains is the fit's stopping rule
    assert arms[estimator].treated - arms[estimator].untreated == approx(by_hand(target), abs=1e-10)


def test_with_strata_alone_doubly_robust_is_too_though_its_model_of_success_is_wrong():
    """The model has no term for an effect that differs by stratum; the model of who is treated mends it."""
    columns, treated, success = strata()
    arms = compared_arms(columns, treated=treated, outcome=success, clusters=np.arange(len(treated)), shares=True).arms
    found = {name: pair.treated - pair.untreated for name, pair in arms.items()}
    assert found["doubly_robust"] == approx(by_hand("all"), abs=1e-10)
    assert abs(found["standardised"] - by_hand("all")) > 1e-4


@pytest.mark.parametrize("estimator", ALIKE)
def test_twice_the_same_rows_as_one_patient_each_leave_the_range_as_it_was(estimator):
    columns, treated, success = strata()
    once = compared_arms(columns, treated=treated, outcome=success, clusters=np.arange(len(treated)), shares=True)
    twice = compared_arms(
        pd.concat([columns, columns], ignore_index=True),
        treated=np.tile(treated, 2),
        outcome=np.tile(success, 2),
        clusters=np.tile(np.arange(len(treated)), 2),
        shares=True,
    )
    all_close(twice.arms[estimator].covariance, once.arms[estimator].covariance, rtol=1e-8)


@pytest.mark.parametrize("shares", [True, False])
def test_patients_drawn_anew_agree_with_the_ranges(shares):
    """Every estimator's range, for a share and for a measure, on two alike ears a patient."""
    rng = np.random.default_rng(3)
    whose = np.repeat(np.arange(600), 2)
    hard = rng.random(1200) < 0.4
    treated = (rng.random(600) < 0.5)[whose] ^ (hard & (rng.random(1200) < 0.4))
    ease = rng.normal(0, 1.0, 600)[whose]
    linear = 0.8 - 1.1 * hard + 0.6 * treated + ease
    outcome = rng.random(1200) < 1 / (1 + np.exp(-linear)) if shares else linear + rng.normal(0, 1, 1200)
    columns = pd.DataFrame({"hard": hard.astype(float)})
    found = compared_arms(columns, treated=treated, outcome=outcome, clusters=whose, shares=shares)
    drawn = redrawn_means(found.fitted, draws=600, rng=np.random.default_rng(4))
    for name, pairs in drawn.items():
        errors = np.sqrt(np.diag(found.arms[name].covariance))
        gap = np.array([1.0, -1.0])
        of_difference = np.sqrt(gap @ found.arms[name].covariance @ gap)
        # 600 draws know a spread to about 1 / sqrt(1200) = 3 %; four times that is allowed
        all_close(pairs.std(axis=0, ddof=1), errors, rtol=0.12)
        assert (pairs @ gap).std(ddof=1) == approx(of_difference, rel=0.12), name
        assert abs((pairs @ gap).mean() - (found.arms[name].treated - found.arms[name].untreated)) < of_difference / 4
