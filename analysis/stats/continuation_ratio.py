"""Ordered states, step by step: of those that reach a state, the share that goes on to a further one."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import statsmodels.api as sm
from scipy.special import expit
from statsmodels.tools.sm_exceptions import ConvergenceWarning, HessianInversionWarning, PerfectSeparationWarning

from analysis.stats.clustered import clustered_covariance

FEWEST_A_COLUMN = 10
"""Rows on a step's rarer side that each column needs (common practice, no source)."""
FURTHEST_LOGIT = 15.0
"""Fitted logits beyond this are a separation, not a finding (our choice, no source)."""


@dataclass(frozen=True, eq=False)
class ContinuationRatio:
    """Chances of ordered states.

    Attributes
    ----------
    params : numpy.ndarray, shape (steps, columns)
        Of the logit of going on, one row a step; nought where a step has too few rows for a column.
    covariance : numpy.ndarray, shape (steps * columns, steps * columns)
        Of ``params`` row by row.
    """

    params: np.ndarray
    covariance: np.ndarray

    def chances(self, columns: np.ndarray, params: np.ndarray | None = None) -> np.ndarray:
        """Chance of every state; shape (rows, steps + 1), rows adding up to 1.

        Parameters
        ----------
        columns : numpy.ndarray, shape (rows, columns)
        params : numpy.ndarray, optional
            One draw of the parameters; without it, the best.
        """
        further = expit(columns @ (self.params if params is None else params).T)
        reached = np.column_stack([np.ones(len(columns)), np.cumprod(further, axis=1)])
        stays = np.column_stack([1 - further, np.ones(len(columns))])
        return reached * stays

    def draws(self, many: int, rng: np.random.Generator) -> np.ndarray:
        """Draw parameters as uncertain as they are; shape (many, steps, columns), the best ones first."""
        best = self.params.ravel()
        drawn = rng.multivariate_normal(best, self.covariance, size=many - 1, method="eigh")
        return np.vstack([best, drawn]).reshape(many, *self.params.shape)


def continuation_ratio(codes: np.ndarray, columns: np.ndarray, clusters: np.ndarray) -> ContinuationRatio:
    """Fit a logistic regression for every step from a state to a further one.

    Parameters
    ----------
    codes : numpy.ndarray of int, shape (n,)
        Ordered states from 0, each of them there.
    columns : numpy.ndarray, shape (n, k)
        A constant, then covariates, the more important first.
    clusters : numpy.ndarray, shape (n,)
        Whose row it is.

    Returns
    -------
    ContinuationRatio

    Notes
    -----
    The forward continuation-ratio model [1]_ with coefficients of its own for
    each step: of rows in state j or beyond, the logit of being beyond. Its
    likelihood falls apart into one logistic regression a step. A step with few
    rows on one side, or at which covariates part the sides wholly, does without
    the last columns.

    References
    ----------
    .. [1] Agresti (2010), Analysis of Ordinal Categorical Data, 2nd edition, section 4.2.

    Examples
    --------
    With a constant alone the chances are the shares seen.

    >>> found = continuation_ratio(np.array([0, 0, 1, 2]), np.ones((4, 1)), np.arange(4))
    >>> found.chances(np.ones((1, 1))).round(6).tolist()
    [[0.5, 0.25, 0.25]]
    """
    steps, k = int(codes.max()), columns.shape[1]
    params, bread = np.zeros((steps, k)), np.zeros((steps * k, steps * k))
    scores = np.zeros((len(codes), steps, k))
    for step in range(steps):
        at = codes >= step
        beyond, mine = (codes[at] > step).astype(float), columns[at]
        coefficients = _step(beyond, mine)
        used = len(coefficients)
        chance = expit(mine[:, :used] @ coefficients)
        params[step, :used] = coefficients
        information = (mine[:, :used] * (chance * (1 - chance))[:, None]).T @ mine[:, :used]
        first = step * k
        bread[first : first + used, first : first + used] = np.linalg.inv(information)
        scores[at, step, :used] = mine[:, :used] * (beyond - chance)[:, None]
    return ContinuationRatio(params, clustered_covariance(bread, scores.reshape(len(codes), -1), clusters))


def _step(beyond: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """Fit one step with as many columns as it bears, the constant at least."""
    rarer = min(beyond.sum(), len(beyond) - beyond.sum())
    for used in range(min(columns.shape[1], int(rarer // FEWEST_A_COLUMN)), 1, -1):
        mine = columns[:, :used]
        if np.linalg.matrix_rank(mine) == used:
            found = _logistic(beyond, mine)
            if found is not None:
                return found
    share = beyond.mean()
    return np.array([np.log(share / (1 - share))])


def _logistic(beyond: np.ndarray, columns: np.ndarray) -> np.ndarray | None:
    """Fit a logistic regression; None where covariates part the sides wholly or nearly so."""
    with warnings.catch_warnings():
        for each in (PerfectSeparationWarning, ConvergenceWarning, HessianInversionWarning):
            warnings.simplefilter("error", each)
        try:
            found = np.asarray(sm.Logit(beyond, columns).fit(disp=False).params)
        except (PerfectSeparationWarning, ConvergenceWarning, HessianInversionWarning, np.linalg.LinAlgError):
            return None
    return found if np.abs(columns @ found).max() < FURTHEST_LOGIT else None
