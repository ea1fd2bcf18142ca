"""Quantiles put right on cases that they were not fitted on: split-conformal adjustment."""

from __future__ import annotations

import numpy as np
from scipy.stats import betabinom


def conformal_quantile(scores: np.ndarray, share: float) -> float:
    """Score that the next case stays within with at least the given chance.

    Parameters
    ----------
    scores : numpy.ndarray, shape (n,)
        How far each case of the calibration window lies beyond what was
        foretold for it: a difference or a ratio, one rule for all.
    share : float
        Strictly between 0 and 1.

    Returns
    -------
    float
        The ``ceil((n + 1) share)``-th smallest score; infinite where there are
        too few cases to promise the share.

    Notes
    -----
    If the next case is exchangeable with those of the window, it stays within
    with a chance of at least ``share`` and, without ties, less than
    ``share + 1 / (n + 1)``, whatever the foretelling was worth [1]_, [2]_.

    References
    ----------
    .. [1] Vovk, Gammerman and Shafer (2005), Algorithmic Learning in a Random World.
    .. [2] Lei and others (2018), JASA 113, 1094-1111.

    Examples
    --------
    Of nine cases the eighth smallest holds the tenth case 8 times in 10.

    >>> conformal_quantile(np.arange(1.0, 10.0), 0.8), conformal_quantile(np.arange(1.0, 4.0), 0.8)
    (8.0, inf)
    """
    place = conformal_place(len(scores), share)
    return float(np.partition(scores, place - 1)[place - 1]) if place <= len(scores) else float("inf")


def conformal_place(cases: int, share: float) -> int:
    """Which smallest score is taken; the small slack keeps a rounding error from adding one."""
    return int(np.ceil((cases + 1) * share - 1e-9))


def coverage_limits(window: int, cases: int, share: float, *, level: float) -> tuple[float, float]:
    """Shares within which the coverage of new cases stays by chance alone.

    Parameters
    ----------
    window : int
        Cases of the calibration window.
    cases : int
        New cases whose coverage is looked at; at least one.
    share : float
        The share promised.
    level : float
        How often the limits hold if nothing has changed.

    Returns
    -------
    (float, float)
        Between 0 and 1, both ends included.

    Notes
    -----
    With k the place of the score taken, the number covered is beta-binomial
    with parameters k and ``window + 1 - k`` [1]_: the chance of the window and
    that of the new cases together. Ties only make coverage greater.

    References
    ----------
    .. [1] Vovk (2012), Conditional validity of inductive conformal predictors, ACML.

    Examples
    --------
    >>> low, high = coverage_limits(999, 100, 0.8, level=0.95)
    >>> round(low, 2), round(high, 2)
    (0.71, 0.88)
    """
    place = min(conformal_place(window, share), window)
    covered = betabinom(cases, place, window + 1 - place)
    return float(covered.ppf((1 - level) / 2)) / cases, float(covered.ppf((1 + level) / 2)) / cases
