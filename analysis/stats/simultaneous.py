"""Several comparisons at once: ranges that all hold together."""

from __future__ import annotations

import numpy as np

from analysis.stats.estimate import Estimate

DRAWS = 100_000
"""Draws for the common quantile; they leave it uncertain by less than 0.01."""


def simultaneous_ranges(
    means: np.ndarray,
    covariance: np.ndarray,
    contrasts: np.ndarray,
    *,
    level: float,
    n: list[int],
    rng: np.random.Generator,
) -> list[Estimate]:
    """Give every contrast a range, so wide that all hold together as often as ``level`` says.

    Parameters
    ----------
    means : numpy.ndarray, shape (k,)
    covariance : numpy.ndarray, shape (k, k)
        Of the means.
    contrasts : numpy.ndarray, shape (m, k)
        One row a comparison: its weights on the means.
    level : float
    n : list of int
        Rows behind each comparison.
    rng : numpy.random.Generator

    Returns
    -------
    list of Estimate
        In the order of the contrasts. Those that leave out nought differ
        clearly even though so many were looked at.

    Notes
    -----
    Single-step method [1]_: the common quantile is that of the largest of the
    contrasts' absolute z values, drawn from their joint normal distribution.

    References
    ----------
    .. [1] Hothorn, Bretz and Westfall (2008), Biometrical Journal 50, 346-363.

    Examples
    --------
    A single contrast has its ordinary range.

    >>> only = simultaneous_ranges(np.array([3.0, 1.0]), np.eye(2) / 2, np.array([[1.0, -1.0]]),
    ...                            level=0.95, n=[8], rng=np.random.default_rng(1))
    >>> only[0].value, round(only[0].high, 1)
    (2.0, 4.0)
    """
    values, spread = contrasts @ means, contrasts @ covariance @ contrasts.T
    errors = np.sqrt(np.diag(spread))
    correlation = spread / np.outer(errors, errors)
    drawn = rng.multivariate_normal(np.zeros(len(values)), correlation, size=DRAWS, method="eigh")
    quantile = float(np.quantile(np.abs(drawn).max(axis=1), level))
    method = "difference of standardised means, range simultaneous over all pairs"
    return [
        Estimate(float(value), float(value - quantile * error), float(value + quantile * error), level, rows, method)
        for value, error, rows in zip(values, errors, n, strict=True)
    ]


def all_pairs(many: int) -> list[tuple[int, int]]:
    """List all pairs of so many, the later place first.

    Examples
    --------
    >>> all_pairs(3)
    [(1, 0), (2, 0), (2, 1)]
    """
    return [(later, earlier) for later in range(many) for earlier in range(later)]
