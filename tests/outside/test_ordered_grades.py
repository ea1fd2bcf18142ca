"""Ordered states by covariates, against R.

Source: the public data of 400 applications and the values of R's ``MASS::polr`` (R 3.4.4) kept in statsmodels' own
tests (``miscmodels/tests/results/results_ordinal_model.py``), after UCLA's page on ordinal logistic regression.
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.models.grade_at_return import proportional_odds
from analysis.stats.continuation_ratio import continuation_ratio
from tests.outside.referee import approx

VALUES = Path(__file__).parent / "values"
TABLE = pd.read_csv(VALUES / "ordered_application.csv")
ANSWERS = ["unlikely", "somewhat likely", "very likely"]


def test_coefficients_thresholds_and_errors_are_those_of_r():
    codes = pd.Categorical(TABLE["apply"], ANSWERS, ordered=True).codes.astype(int)
    params, bread, _ = proportional_odds(codes, TABLE[["pared", "public", "gpa"]].to_numpy())
    # both search for the same maximum and stop near it: four digits
    assert params[:3] == approx([1.04769011, -0.05878572, 0.61594057], abs=2e-4)
    assert [params[3], params[3] + np.exp(params[4])] == approx([2.203915, 4.299363], abs=5e-4)
    assert np.sqrt(np.diag(bread))[:3] == approx([0.2658, 0.2979, 0.2606], abs=2e-4)


def test_a_step_is_the_logistic_regression_of_r_with_both_ears_going_together():
    """Two ears of 75 children: R 4.2.2 ``glm`` and ``sandwich::vcovCL`` (CR0), kept in ``values/effects.json``, eff-o03."""
    ears = pd.read_csv(VALUES / "ears_aom.csv")
    columns = np.column_stack([np.ones(len(ears)), ears[["amo", "age2_5", "age6"]]])
    found = continuation_ratio(ears["clear"].to_numpy(), columns, ears["child"].to_numpy())
    r = json.loads((VALUES / "effects.json").read_text(encoding="utf-8"))["eff-o03"]["values"]
    names = ["(Intercept)", "amo", "age2_5", "age6"]
    # R's fit stops near the maximum: six digits
    assert found.params[0] == approx([r[f"glm.coef.{name}"] for name in names], rel=1e-6)
    assert np.sqrt(np.diag(found.covariance)) == approx([r[f"glm.se_CR0.{name}"] for name in names], rel=1e-6)


def test_steps_by_a_yes_or_no_give_the_shares_counted():
    """Applications by whether a parent is a graduate: with as many parameters as shares, they are the shares."""
    codes = pd.Categorical(TABLE["apply"], ANSWERS, ordered=True).codes.astype(int)
    columns = np.column_stack([np.ones(len(TABLE)), TABLE["pared"]])
    found = continuation_ratio(codes, columns, np.arange(len(TABLE)))
    counted = pd.crosstab(TABLE["pared"], codes, normalize="index").to_numpy()
    assert found.chances(np.array([[1.0, 0.0], [1.0, 1.0]])) == approx(counted, abs=1e-6)
