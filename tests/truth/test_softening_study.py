"""The study of every way of comparing softening: a few clinics anew, and what the committed table must show."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from tests.truth.softening_study import CLINICS, as_markdown, study

ROOT = Path(__file__).parents[2]
ALIKE = ["standardised", "weighted", "overlap_weighted", "doubly_robust"]


@pytest.fixture(scope="module")
def committed() -> pd.DataFrame:
    return pd.DataFrame(json.loads((ROOT / "tests" / "truth" / "softening_study.json").read_text(encoding="utf-8")))


def rows(table: pd.DataFrame, **of) -> pd.DataFrame:
    return table[np.logical_and.reduce([table[name] == value for name, value in of.items()])]


def test_a_few_clinics_asked_anew_agree_with_the_committed_table(committed):
    few = study(clinics=6, first_seed=7)
    both = few.merge(committed, on=["outcome", "contrast", "effect_planted", "estimator"], suffixes=("", "_committed"))
    assert len(both) == len(committed)
    # the mean of six clinics may lie three and a half of its own standard errors from that of many
    allowed = 3.5 * both["spread_committed"] / np.sqrt(6)
    assert (abs(both["bias"] - both["bias_committed"]) < allowed).all()
    np.testing.assert_allclose(both["mean_standard_error"], both["mean_standard_error_committed"], rtol=0.15)


def test_the_page_is_the_committed_table(committed):
    page = (ROOT / "shared" / "softening_study.md").read_text(encoding="utf-8")
    assert page == as_markdown(committed)
    assert (committed["clinics"] == CLINICS).all()


def test_as_they_are_the_comparison_fails(committed):
    plain = rows(committed, estimator="unadjusted")
    assert (plain["bias"] < -4 * plain["bias_simulation_error"]).all()
    assert (rows(plain, contrast="advised")["coverage"] < 0.80).all()
    assert (rows(plain, contrast="advised", effect_planted=False)["finds_harm"] > 0.15).all()


@pytest.mark.parametrize("estimator", ALIKE)
def test_like_with_like_every_way_is_near_the_truth_and_its_ranges_hold(committed, estimator):
    found = rows(committed, estimator=estimator)
    of_success = found["outcome"] == "success"
    # half a success in 100, a tenth of a minute: a fifth of one log's standard error
    assert (found.loc[of_success, "bias"].abs() < 0.006).all()
    assert (found.loc[~of_success, "bias"].abs() < 0.10).all()
    # the formulas have no small-sample factor: true coverage is taken to be at least 93 %
    fewest = binom.ppf(0.001, CLINICS, 0.93) / CLINICS
    assert (found["coverage"] >= fewest).all()
    np.testing.assert_allclose(found["mean_standard_error"], found["spread"], rtol=0.12)


@pytest.mark.parametrize("estimator", ALIKE)
def test_with_no_effect_planted_false_alarms_are_near_one_in_twenty(committed, estimator):
    alarms = rows(committed, estimator=estimator, effect_planted=False)["finds_an_effect"]
    most = binom.ppf(0.999, CLINICS, 0.07) / CLINICS
    fewest = binom.ppf(0.001, CLINICS, 0.05) / CLINICS
    assert alarms.between(fewest, most).all()
