"""How a forecast did beside the simplest ones."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def naive(history: np.ndarray, steps: int) -> np.ndarray:
    """Forecast that every coming month will be as the last one.

    Parameters
    ----------
    history : numpy.ndarray, shape (n,)
        Past values in order, at least one.
    steps : int
        How many to forecast.

    Returns
    -------
    numpy.ndarray, shape (steps,)

    Examples
    --------
    >>> naive(np.array([3.0, 5.0]), 2).tolist()
    [5.0, 5.0]
    """
    return np.full(steps, history[-1], dtype=float)


def seasonal_naive(history: np.ndarray, steps: int, period: int = 12) -> np.ndarray:
    """Forecast that every coming month will be as the same month a year before.

    Parameters
    ----------
    history : numpy.ndarray, shape (n,)
        Past values in order, at least ``period`` of them.
    steps : int
        How many to forecast.
    period : int, optional
        Values in a year; 12 for months.

    Returns
    -------
    numpy.ndarray, shape (steps,)

    Examples
    --------
    >>> seasonal_naive(np.array([1.0, 2.0, 3.0]), 4, period=3).tolist()
    [1.0, 2.0, 3.0, 1.0]
    """
    return np.asarray(history[-period:], dtype=float)[np.arange(steps) % period]


def scaled_error(errors: np.ndarray, simple_errors: np.ndarray) -> float:
    """Size of a forecast's misses as a multiple of a simple forecast's misses.

    Parameters
    ----------
    errors, simple_errors : numpy.ndarray
        What came less what was forecast, by the forecast and by the simple one.

    Returns
    -------
    float
        Below 1 the forecast did better; infinite where the simple one never missed.

    References
    ----------
    .. [1] Hyndman and Koehler (2006), International Journal of Forecasting 22, 679-688.

    Examples
    --------
    >>> scaled_error(np.array([1.0, -2.0]), np.array([2.0, 4.0]))
    0.5
    """
    simple = float(np.abs(simple_errors).mean())
    return float(np.abs(errors).mean()) / simple if simple > 0 else float("inf")


def range_factor(misses: Sequence[float], *, supposed_variance: float, weight: float) -> float:
    """How much wider ranges must be for past misses to have fitted them.

    Parameters
    ----------
    misses : sequence of float
        Past misses, each divided by the spread its forecast gave.
    supposed_variance : float
        Mean square of such misses supposed beforehand.
    weight : float
        How many misses that supposition is worth.

    Returns
    -------
    float
        At least 1: ranges are never made narrower.

    Examples
    --------
    >>> range_factor([2.0, -2.0], supposed_variance=1.0, weight=2.0) ** 2
    2.5000000000000004
    >>> range_factor([0.1], supposed_variance=1.0, weight=1.0)
    1.0
    """
    mean_square = (weight * supposed_variance + float(np.square(misses).sum())) / (weight + len(misses))
    return max(1.0, float(np.sqrt(mean_square)))
