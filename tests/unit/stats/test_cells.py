"""Rows put together fit as each row by itself would, estimates and patient-clustered errors alike."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from statsmodels.tools.sm_exceptions import DomainWarning

from analysis.stats.cells import cells_of
from analysis.stats.censored import weibull_regression
from analysis.stats.clustered import clustered_covariance
from analysis.stats.gamma_identity import fit_gamma_identity
from analysis.stats.quantile_regression import quantile_line

EQUAL = 1e-8


@pytest.fixture
def visits() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """2,000 visits of 700 patients in 12 cells of two facts, in whole minutes."""
    rng = np.random.default_rng(8)
    design = np.column_stack([np.ones(2000), rng.integers(0, 3, 2000), rng.integers(0, 4, 2000)]).astype(float)
    minutes = np.ceil(rng.gamma(9.0, (8 + design[:, 1:] @ [5.0, 3.0]) / 9.0))
    return design, minutes, rng.integers(0, 700, 2000)


def test_rows_alike_in_numbers_words_and_blanks_are_one_cell():
    words = np.array(["left", "right", "left", "left"], dtype=object)
    found = cells_of(np.array([1.0, 1.0, 1.0, np.nan]), words)
    assert found.of_row.tolist() == [0, 1, 0, 2]
    assert found.sums(np.array([1.0, 2.0, 4.0, 8.0])).tolist() == [5.0, 2.0, 8.0]


def test_more_columns_than_whole_numbers_tell_apart_are_told_apart():
    rng = np.random.default_rng(3)
    facts = rng.integers(0, 2, (40, 70)).astype(float)[rng.integers(0, 40, 200)]
    values = facts + 2.0 * (np.arange(70) >= 35)  # noughts and ones, then twos and threes
    _, first, size = np.unique(values, axis=0, return_index=True, return_counts=True)
    found = cells_of(values)
    assert sorted(zip(found.first, found.size, strict=True)) == sorted(zip(first, size, strict=True))
    assert (values[found.first][found.of_row] == values).all()


def test_a_column_that_says_one_thing_parts_nothing():
    assert cells_of(np.ones((3, 2))).size.tolist() == [3]


def test_minutes_of_cells_fit_as_statsmodels_fits_each_row(visits):
    design, minutes, patients = visits
    fit = fit_gamma_identity(design, minutes)
    family = sm.families.Gamma(link=sm.families.links.Identity())
    with pytest.warns(DomainWarning):  # the link allows means below nought; none is
        model = sm.GLM(minutes, design, family=family)
    each = model.fit(start_params=fit.params, tol=1e-12)
    assert fit.cells == 12
    np.testing.assert_allclose(fit.params, each.params, rtol=EQUAL)
    weighted = design / each.fittedvalues[:, None] ** 2
    bread = np.linalg.inv(design.T @ weighted)
    by_patient = pd.DataFrame(weighted * (minutes - each.fittedvalues)[:, None]).groupby(patients).sum().to_numpy()
    found = clustered_covariance(fit.bread, fit.scores, patients)
    np.testing.assert_allclose(found, bread @ by_patient.T @ by_patient @ bread, rtol=EQUAL)


def test_a_line_through_cells_has_the_least_loss_of_all_rows(visits):
    design, minutes, _ = visits
    line = quantile_line(design, minutes, 0.8)
    again = quantile_line(design + 1e-13 * np.arange(2000)[:, None], minutes, 0.8)  # no two rows alike
    np.testing.assert_allclose(_loss(design, minutes, line), _loss(design, minutes, again), rtol=EQUAL)


def _loss(design: np.ndarray, minutes: np.ndarray, line: np.ndarray) -> float:
    """Add up the pinball loss of four in five."""
    over = minutes - design @ line
    return float(np.maximum(0.8 * over, -0.2 * over).sum())


def test_times_of_cells_fit_as_each_time_by_itself(visits):
    design, _, patients = visits
    rng = np.random.default_rng(9)
    seen = np.ceil(rng.uniform(1, 24, 2000))
    filled = rng.random(2000) < 1 - np.exp(-((seen / 14) ** 1.5))
    low, high = np.where(filled, 0.0, seen), np.where(filled, seen, np.inf)
    together = weibull_regression(low, high, design, clusters=patients)
    apart = weibull_regression(low * (1 + 1e-13 * np.arange(2000)), high, design, clusters=patients)
    np.testing.assert_allclose(together.coefficients, apart.coefficients, rtol=EQUAL)
    np.testing.assert_allclose(together.covariance, apart.covariance, rtol=EQUAL, atol=1e-12)
