"""Quantiles, and how well they were foretold."""

from __future__ import annotations

import numpy as np


def quantiles(values: np.ndarray, shares: np.ndarray | list[float]) -> np.ndarray:
    """Values that given shares of the sample stay within.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        At least one that is a number; blanks are passed over.
    shares : array_like
        Between 0 and 1.

    Returns
    -------
    numpy.ndarray
        As ``shares`` is shaped.

    Raises
    ------
    ValueError
        If no value is a number.

    Notes
    -----
    Straight lines between the ordered values, type 7 of Hyndman and Fan [1]_.

    References
    ----------
    .. [1] Hyndman and Fan (1996), The American Statistician 50, 361-365.

    Examples
    --------
    >>> quantiles(np.array([1.0, 2.0, 3.0, 4.0, np.nan]), [0.25, 0.5]).tolist()
    [1.75, 2.5]
    """
    known = values[~np.isnan(values)]
    if not len(known):
        raise ValueError("no value is a number")
    return np.quantile(known, shares)


def pinball_loss(actual: np.ndarray, foretold: np.ndarray | float, share: float) -> float:
    """Mean loss of a foretold quantile; the true one has the smallest.

    Parameters
    ----------
    actual : numpy.ndarray, shape (n,)
        What happened.
    foretold : numpy.ndarray or float
        The quantile foretold for each.
    share : float
        Which quantile: the share that should stay within it.

    Returns
    -------
    float
        In the unit of ``actual``; nought where all were met exactly.

    References
    ----------
    .. [1] Koenker and Bassett (1978), Econometrica 46, 33-50.

    Examples
    --------
    Ten minutes too short costs nine times ten minutes too long at nine in ten.

    >>> pinball_loss(np.array([30.0]), 20.0, 0.9), round(pinball_loss(np.array([20.0]), 30.0, 0.9), 6)
    (9.0, 1.0)
    """
    return float(np.mean(pinball_losses(actual, foretold, share)))


def pinball_losses(actual: np.ndarray, foretold: np.ndarray | float, share: float) -> np.ndarray:
    """Give the loss of a foretold quantile for each case; ``pinball_loss`` is their mean.

    Parameters
    ----------
    actual : numpy.ndarray, shape (n,)
    foretold : numpy.ndarray or float
    share : float

    Returns
    -------
    numpy.ndarray, shape (n,)
    """
    short = actual - foretold
    return np.maximum(share * short, (share - 1) * short)
