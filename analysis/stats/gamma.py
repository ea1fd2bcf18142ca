"""Gamma amounts around many means: their shape, the share within a limit, quantiles and draws."""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq
from scipy.special import digamma, gammainc, gammaincinv

SHAPE_BOUNDS = (0.05, 1e6)


def gamma_shape(amounts: np.ndarray, means: np.ndarray, weights: np.ndarray | None = None) -> float:
    """Most likely shape of gamma amounts whose means are known; one over its root is the relative scatter.

    Parameters
    ----------
    amounts, means : numpy.ndarray, shape (n,)
        Positive.
    weights : numpy.ndarray, shape (n,), optional
        How often each counts; once without.

    Returns
    -------
    float
        Between 0.05 and a million; the upper end where the amounts equal their means.

    Notes
    -----
    Solves ``log(shape) - digamma(shape) = average(log(mean/amount) + amount/mean) - 1`` [1]_.

    References
    ----------
    .. [1] McCullagh and Nelder (1989), Generalized Linear Models, section 8.3.

    Examples
    --------
    >>> round(gamma_shape(np.array([8.0, 10.0, 12.0]), np.array([10.0, 10.0, 10.0])), 1)
    36.9
    """
    ratio = amounts / means
    target = float(np.average(ratio - np.log(ratio), weights=weights)) - 1
    low, high = SHAPE_BOUNDS
    if target <= np.log(high) - digamma(high):
        return high
    if target >= np.log(low) - digamma(low):
        return low
    return float(brentq(lambda shape: np.log(shape) - digamma(shape) - target, low, high, rtol=1e-12))


def mixture_quantile(share: float, means: np.ndarray, weights: np.ndarray, shape: float) -> float:
    """Amount that a share of a mixture stays within.

    Parameters
    ----------
    share : float
        Strictly between 0 and 1.
    means, weights : numpy.ndarray, shape (n,)
        The mixed gamma distributions' means and how much each counts.
    shape : float
        Their common shape.

    Returns
    -------
    float

    Examples
    --------
    With shape 1 and one mean this is the exponential: half stay within log(2) means.

    >>> round(mixture_quantile(0.5, np.array([10.0]), np.array([1.0]), 1.0), 4)
    6.9315
    """
    kept, which = np.unique(means, return_inverse=True)
    parts = np.bincount(which, weights) / np.sum(weights)
    ends = kept * (gammaincinv(shape, share) / shape)
    low, high = float(ends[0]), float(ends[-1])
    if high - low < 1e-12:
        return low

    def beyond(limit: float) -> float:
        return float(parts @ gammainc(shape, shape * limit / kept)) - share

    return float(brentq(beyond, low, high, xtol=1e-9))


def gamma_multipliers(shares: np.ndarray, shape: float) -> np.ndarray:
    """Quantiles of a gamma distribution of mean 1.

    Parameters
    ----------
    shares : numpy.ndarray
        Strictly between 0 and 1, any shape.
    shape : float
        The gamma's shape.

    Returns
    -------
    numpy.ndarray
        Times a mean, the amount that each share stays within.

    Examples
    --------
    >>> gamma_multipliers(np.array([0.5]), 1.0).round(3).tolist()
    [0.693]
    """
    return gammaincinv(shape, shares) / shape
