"""One model of a yes or no, or of a measure, on the case mix."""

from __future__ import annotations

import warnings

import numpy as np
import statsmodels.api as sm
from statsmodels.tools.sm_exceptions import ConvergenceWarning, PerfectSeparationWarning

from analysis.problems import NotEnough
from analysis.stats.cells import cells_of

LARGEST_COEFFICIENT = 12.0
"""Log odds; a larger one means that the fit is running off to certainty."""


def fitted_coefficients(
    design: np.ndarray, outcome: np.ndarray, *, shares: bool, counts: np.ndarray | None = None
) -> np.ndarray:
    """Fit a logistic (``shares``) or least-squares model; one that runs off to certainty is no answer.

    Parameters
    ----------
    design : numpy.ndarray, shape (n, k)
    outcome : numpy.ndarray, shape (n,)
    shares : bool
    counts : numpy.ndarray, shape (n,), optional
        How many each row stands for; 1 without it.

    Returns
    -------
    numpy.ndarray, shape (k,)

    Raises
    ------
    NotEnough
        If some mixture of facts leaves no doubt of a yes or no.
    """
    counts = np.ones(len(design)) if counts is None else np.asarray(counts, dtype=float)
    amounts = np.asarray(outcome, dtype=float)
    if not shares:
        alike = cells_of(design)
        size = alike.sums(counts)
        root = np.sqrt(size)
        means = alike.sums(amounts * counts) / size
        return np.linalg.lstsq(design[alike.first] * root[:, None], means * root, rcond=None)[0]
    alike = cells_of(design, amounts)
    model = sm.GLM(
        amounts[alike.first],
        design[alike.first],
        family=sm.families.Binomial(),
        freq_weights=alike.sums(counts),
    )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", PerfectSeparationWarning)
            warnings.simplefilter("error", ConvergenceWarning)
            coefficients = np.asarray(model.fit(tol=1e-12, maxiter=50).params)
    except (PerfectSeparationWarning, ConvergenceWarning):
        raise _certain() from None
    if np.abs(coefficients).max() > LARGEST_COEFFICIENT:
        raise _certain()
    return coefficients


def _certain() -> NotEnough:
    """Say that some mixture of facts leaves no doubt, which a larger log would not show."""
    return NotEnough(
        "For some mixture of facts every ear recorded succeeded, or every ear failed, so no fair comparison can be made.",
        "Wait until the log is larger.",
    )
