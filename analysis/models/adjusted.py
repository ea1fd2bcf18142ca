"""Two arms made alike: fit the outcome on the treatment and the case mix, then standardise."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import statsmodels.api as sm
from statsmodels.tools.sm_exceptions import ConvergenceWarning, PerfectSeparationWarning

from analysis.models.case_mix import independent_columns
from analysis.problems import NotEnough
from analysis.stats.two_arms import TwoArms, standardised_means

LARGEST_COEFFICIENT = 12.0
"""Log odds; a larger one means that the fit is running off to certainty."""


def adjusted_arms(
    columns: pd.DataFrame, *, treated: np.ndarray, outcome: np.ndarray, clusters: np.ndarray, shares: bool
) -> TwoArms:
    """Mean outcome with and without treatment, the case mix made the same in both arms.

    Parameters
    ----------
    columns : pandas.DataFrame
        The case mix as numbers (levels as 0 and 1, or counts); may be empty of columns.
    treated : numpy.ndarray of bool, shape (n,)
    outcome : numpy.ndarray, shape (n,)
        0 and 1 where ``shares``, else a measure such as minutes.
    clusters : numpy.ndarray, shape (n,)
        Whose row it is.
    shares : bool
        Logistic regression for shares, least squares for a measure.

    Returns
    -------
    TwoArms

    Raises
    ------
    NotEnough
        If the treatment cannot be told apart from the case mix, or the fit
        finds a mixture of facts under which the outcome is certain.

    Examples
    --------
    Softened ears are the harder ones, so they only seem to do no better.

    >>> hard = np.repeat([1, 1, 0, 0], [40, 10, 10, 40])
    >>> treated = np.repeat([True, False, True, False], [40, 10, 10, 40])
    >>> success = np.concatenate([np.arange(40) < 24, np.arange(10) < 4, np.arange(10) < 9, np.arange(40) < 32])
    >>> arms = adjusted_arms(pd.DataFrame({"hard": hard}), treated=treated, outcome=success,
    ...                      clusters=np.arange(100), shares=True)
    >>> bool(success[treated].mean() < success[~treated].mean()), bool(arms.treated > arms.untreated + 0.1)
    (True, True)
    """
    others = np.column_stack([np.ones(len(columns)), columns.to_numpy(dtype=float)])
    kept = independent_columns(np.column_stack([others, treated]))
    if kept[-1] != others.shape[1]:
        raise NotEnough(
            "The treatment goes exactly with another fact recorded, so their effects cannot be told apart.",
            "Record both for all patients, and let advice differ between like patients.",
        )
    design = np.column_stack([others[:, kept[:-1]], treated])
    coefficients = _coefficients(design, outcome, shares)
    return standardised_means(coefficients, design, design.shape[1] - 1, outcome, clusters, shares=shares)


def _coefficients(design: np.ndarray, outcome: np.ndarray, shares: bool) -> np.ndarray:
    """Fit the model; one that runs off to certainty is no answer."""
    family = sm.families.Binomial() if shares else sm.families.Gaussian()
    model = sm.GLM(np.asarray(outcome, dtype=float), design, family=family)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", PerfectSeparationWarning)
            warnings.simplefilter("error", ConvergenceWarning)
            coefficients = np.asarray(model.fit(tol=1e-12, maxiter=50).params)
    except (PerfectSeparationWarning, ConvergenceWarning):
        raise _certain() from None
    if shares and np.abs(coefficients).max() > LARGEST_COEFFICIENT:
        raise _certain()
    return coefficients


def _certain() -> NotEnough:
    """Say that some mixture of facts leaves no doubt, which a larger log would not show."""
    return NotEnough(
        "For some mixture of facts every ear recorded succeeded, or every ear failed, so no fair comparison can be made.",
        "Wait until the log is larger.",
    )
