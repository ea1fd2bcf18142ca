"""How a forecast did beside the simplest ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from scipy.stats import t as student

WAVES_A_VALUE = 0.25
"""Slow waves the variance of a mean is learnt from, for each value it is the mean of (our choice, no source)."""


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


def same_season_mean(history: np.ndarray, steps: int, period: int = 12) -> np.ndarray:
    """Forecast that every coming month will be as the same months of all years before, on average.

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
    >>> same_season_mean(np.array([1.0, 2.0, 3.0, 6.0, 5.0]), 3, period=2).tolist()
    [4.0, 3.0, 4.0]
    """
    place = np.arange(len(history)) % period
    means = np.bincount(place, np.asarray(history, dtype=float), minlength=period) / np.bincount(
        place, minlength=period
    )
    return means[(len(history) + np.arange(steps)) % period]


def by_steps_ahead(
    steps: np.ndarray, came: np.ndarray, expected: np.ndarray, ranges: Mapping[float, tuple[np.ndarray, np.ndarray]]
) -> pd.DataFrame:
    """Sum up past forecasts by how far ahead they looked.

    Parameters
    ----------
    steps : numpy.ndarray of int, shape (n,)
        How far ahead each forecast looked.
    came, expected : numpy.ndarray, shape (n,)
        What came and what had been forecast.
    ranges : mapping from level to (low, high)
        Ends of each forecast's ranges.

    Returns
    -------
    pandas.DataFrame
        A row for each number of steps: ``forecasts`` tried; ``mean_came``;
        ``bias`` (mean of what came less what was forecast: above 0 the forecast
        was too low), ``typical_miss`` (mean size of the misses) and
        ``root_mean_square``; for each level in percent ``inside_80`` (how many
        came within the range) and ``width_80`` (its mean width).

    Notes
    -----
    A good range holds as many as it says and is as narrow as it then can be:
    coverage and sharpness [1]_ belong together.

    References
    ----------
    .. [1] Gneiting, Balabdaoui and Raftery (2007), Journal of the Royal Statistical Society B 69, 243-268.

    Examples
    --------
    >>> low, high = np.array([8.0, 8.0]), np.array([12.0, 12.0])
    >>> found = by_steps_ahead(np.array([1, 1]), np.array([11, 15]), np.array([10, 10]), {0.8: (low, high)})
    >>> found.loc[1, ["bias", "typical_miss", "inside_80", "width_80"]].tolist()
    [3.0, 3.0, 1.0, 4.0]
    """
    miss = np.asarray(came, dtype=float) - expected
    columns = {"mean_came": came, "bias": miss, "typical_miss": np.abs(miss), "root_mean_square": miss**2}
    for level, (low, high) in ranges.items():
        columns[f"width_{round(100 * level)}"] = np.asarray(high) - low
    grouped = pd.DataFrame(columns).groupby(np.asarray(steps))
    found = grouped.mean().assign(forecasts=grouped.size())
    found["root_mean_square"] **= 0.5
    for level, (low, high) in ranges.items():
        inside = pd.Series((low <= np.asarray(came)) & (came <= np.asarray(high)))
        found[f"inside_{round(100 * level)}"] = inside.groupby(np.asarray(steps)).sum()
    return found.rename_axis("steps")


def chance_of_mean_below(differences: np.ndarray) -> float:
    """How often chance alone would give a mean as far below nought as that of these values.

    Parameters
    ----------
    differences : numpy.ndarray, shape (n,)
        Values in order of time, such as one forecast's misses less another's,
        at least four of them; neighbours may go together.

    Returns
    -------
    float
        Small where the mean lies below nought beyond chance; 0 or 1 where all
        are alike, and a half where all are nought.

    Notes
    -----
    The comparison of two forecasts by Diebold and Mariano [1]_. How well a mean
    of values that go together is known is learnt from their slow waves, a quarter
    as many as there are values; the ratio is set against Student's distribution
    with as many degrees of freedom [2]_. With one wave fewer than values this is
    the ordinary t test.

    References
    ----------
    .. [1] Diebold and Mariano (1995), Journal of Business and Economic Statistics 13, 253-263.
    .. [2] Lazarus, Lewis, Stock and Watson (2018), Journal of Business and Economic Statistics 36, 541-559.

    Examples
    --------
    >>> round(chance_of_mean_below(np.array([-2.0, -1.0, -3.0, -2.0, -1.0, -3.0, -2.0, -2.0])), 4)
    0.0009
    """
    values = np.asarray(differences, dtype=float)
    waves = max(2, round(WAVES_A_VALUE * len(values)))
    error = float(np.sqrt(mean_variance(values, waves)))
    if error <= 1e-12 * max(1.0, float(np.abs(values).max())):
        return 0.5 + 0.5 * float(np.sign(values.mean()))
    return float(student.cdf(values.mean() / error, waves))


def mean_variance(values: np.ndarray, waves: int) -> float:
    """Variance of the mean of values that may go together, from so many of their slowest waves.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        In order of time.
    waves : int
        From 1 to n - 1; with n - 1 it is the usual variance of a mean.

    Returns
    -------
    float

    Examples
    --------
    >>> round(mean_variance(np.array([1.0, 2.0, 3.0, 6.0]), 3) * 4, 6)  # the variance of the four
    4.666667
    """
    n = len(values)
    number = np.arange(1, waves + 1)[:, None]
    cosines = np.sqrt(2 / n) * np.cos(np.pi * number * (np.arange(n) + 0.5) / n)
    return float(np.square(cosines @ values).mean()) / n


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
