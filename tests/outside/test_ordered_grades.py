"""Ordered states by covariates, against R.

Source: the public data of 400 applications and the values of R's ``MASS::polr`` (R 3.4.4) kept in statsmodels' own
tests (``miscmodels/tests/results/results_ordinal_model.py``), after UCLA's page on ordinal logistic regression.
"""

from pathlib import Path

import numpy as np
import pandas as pd

from analysis.models.grade_at_return import GradesOfOneKind, proportional_odds
from analysis.schema import GRADES
from tests.outside.referee import approx

TABLE = pd.read_csv(Path(__file__).parent / "values" / "ordered_application.csv")
ANSWERS = ["unlikely", "somewhat likely", "very likely"]


def test_coefficients_thresholds_and_errors_are_those_of_r():
    codes = pd.Categorical(TABLE["apply"], ANSWERS, ordered=True).codes.astype(int)
    params, bread, _ = proportional_odds(codes, TABLE[["pared", "public", "gpa"]].to_numpy())
    # both search for the same maximum and stop near it: four digits
    assert params[:3] == approx([1.04769011, -0.05878572, 0.61594057], abs=2e-4)
    assert [params[3], params[3] + np.exp(params[4])] == approx([2.203915, 4.299363], abs=5e-4)
    assert np.sqrt(np.diag(bread))[:3] == approx([0.2658, 0.2979, 0.2606], abs=2e-4)


def test_the_chances_are_those_of_r():
    """R's prediction for the first applicant, written as an ear whose logarithm of months is the linear part."""
    first = TABLE.iloc[0]
    move = 1.04769011 * first["pared"] - 0.05878572 * first["public"] + 0.61594057 * first["gpa"]
    params = np.array([1.0, 2.203915, np.log(4.299363 - 2.203915)])
    kind = GradesOfOneKind(tuple(list(GRADES)[:3]), params, np.zeros((3, 3)))
    chances = kind.chances(np.array([np.exp(move)]))
    # six digits are printed
    assert chances[0, :3] == approx([0.5488310, 0.3593310, 0.09183798], abs=1e-5)
    assert chances.sum() == approx(1.0)
