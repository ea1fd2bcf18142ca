"""Numbers that people favour: how much more often multiples of a step are written than chance allows."""

from __future__ import annotations

import numpy as np

from analysis.stats.estimate import Estimate
from analysis.stats.proportions import wilson_share


def heaping_index(amounts: np.ndarray, *, step: int = 5, level: float = 0.95) -> Estimate:
    """How many times as often as by chance whole amounts are multiples of a step.

    Parameters
    ----------
    amounts : numpy.ndarray, shape (n,)
        Whole or nearly whole numbers, at least one; rounded to whole ones first.
    step : int, optional
        The favoured step; by chance one in ``step`` is a multiple of it.
    level : float, optional
        How sure the range should be.

    Returns
    -------
    Estimate
        1 without favourites; ``step`` where every amount is a multiple.

    Notes
    -----
    Whipple's index of age heaping, over one hundred [1]_, here with a Wilson range. It
    takes last digits to be evenly spread otherwise, which holds where amounts
    spread over several steps.

    References
    ----------
    .. [1] Shryock and Siegel (1976), The Methods and Materials of Demography, chapter 8.

    Examples
    --------
    >>> heaping_index(np.array([10.0, 15.0, 20.0, 21.0])).value, round(heaping_index(np.arange(20.0, 30.0)).value, 2)
    (3.75, 1.0)
    """
    whole = np.rint(amounts)
    share = wilson_share(int((whole % step == 0).sum()), len(whole), level)
    scaled = share.scaled(float(step))
    return Estimate(
        scaled.value, scaled.low, scaled.high, level, len(whole), "share of multiples over chance, Wilson range"
    )


def last_digits(amounts: np.ndarray) -> np.ndarray:
    """Count the last digits 0 to 9 of whole amounts, shape (10,).

    Examples
    --------
    >>> last_digits(np.array([10.0, 20.0, 25.0])).tolist()
    [2, 0, 0, 0, 0, 1, 0, 0, 0, 0]
    """
    return np.bincount(np.rint(amounts).astype(int) % 10, minlength=10)


def as_intervals(amounts: np.ndarray, heaped: np.ndarray, *, step: float = 5.0) -> tuple[np.ndarray, np.ndarray]:
    """Give each amount's limits: heaped multiples of the step may be off by half of it, others stand as written.

    Parameters
    ----------
    amounts : numpy.ndarray, shape (n,)
        Positive.
    heaped : numpy.ndarray of bool, shape (n,)
        Whether the row comes from where heaping is strong.
    step : float, optional
        What is rounded to.

    Returns
    -------
    (numpy.ndarray, numpy.ndarray)
        Lower and upper limits; alike where the amount stands as written.

    Examples
    --------
    >>> low, high = as_intervals(np.array([20.0, 20.0, 21.0]), np.array([True, False, True]))
    >>> low.tolist(), high.tolist()
    ([17.5, 20.0, 21.0], [22.5, 20.0, 21.0])
    """
    rounded = heaped & (np.abs(amounts / step - np.rint(amounts / step)) < 1e-6)
    half = np.where(rounded, step / 2, 0.0)
    return np.maximum(amounts - half, 0.1), amounts + half
