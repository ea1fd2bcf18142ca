"""How many of several unequal chances come true."""

from __future__ import annotations

import numpy as np


def poisson_binomial_moments(
    chances: np.ndarray, weights: np.ndarray | None = None, axis: tuple[int, ...] | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of how many of several independent chances come true.

    Parameters
    ----------
    chances : numpy.ndarray
        Each one's chance, 0 to 1.
    weights : numpy.ndarray, broadcast against ``chances``, optional
        How many share each chance; one each without it.
    axis : tuple of int, optional
        Along which to sum; all without it.

    Returns
    -------
    (numpy.ndarray, numpy.ndarray)
        Mean and variance of the sums; both exact, no simulation.

    Notes
    -----
    The sum has the Poisson-binomial distribution: mean ``sum p`` and variance
    ``sum p (1 - p)``, less than a Poisson count's of the same mean.

    Examples
    --------
    >>> mean, variance = poisson_binomial_moments(np.array([0.5, 0.5, 1.0]))
    >>> mean.item(), variance.item()
    (2.0, 0.5)
    """
    many = np.ones_like(chances) if weights is None else weights
    return (many * chances).sum(axis=axis), (many * chances * (1 - chances)).sum(axis=axis)


def matched_binomial_draws(mean: np.ndarray, spread_ratio: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw sums of unequal chances, from the binomial with the same mean and variance.

    Parameters
    ----------
    mean : numpy.ndarray
        Mean of each sum, at least 0.
    spread_ratio : numpy.ndarray, broadcast against ``mean``
        Variance divided by mean, between 0 and 1; 1 draws a Poisson count.
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray of float
        Whole numbers, in the shape of ``mean``.

    Notes
    -----
    A binomial with n trials of chance p has variance ratio 1 - p, so p is
    ``1 - spread_ratio`` and n the mean over it, rounded up; p is then reset so
    that the mean is kept exactly. Ehm [1]_ bounds the error of this match.

    References
    ----------
    .. [1] Ehm (1991), Statistics & Probability Letters 11, 7-16.

    Examples
    --------
    >>> draws = matched_binomial_draws(np.full(20000, 12.0), np.array(0.8), np.random.default_rng(1))
    >>> round(draws.mean().item(), 1), round(draws.var().item() / 12, 1)
    (12.0, 0.8)
    """
    mean = np.asarray(mean, dtype=float)
    chance = np.broadcast_to(1 - np.asarray(spread_ratio, dtype=float), mean.shape)
    plain = chance < 1e-6
    trials = np.ceil(mean / np.where(plain, 1.0, chance)).astype(np.int64)
    reset = np.divide(mean, trials, out=np.zeros_like(mean), where=trials > 0)
    return np.where(plain, rng.poisson(mean), rng.binomial(trials, np.clip(reset, 0, 1))).astype(float)
