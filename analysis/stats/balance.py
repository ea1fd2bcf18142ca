"""Whether two arms look alike, before and after weighting, and how strong an unseen difference would have to be."""

from __future__ import annotations

from math import sqrt

import numpy as np
from scipy.stats import norm


def standardised_difference(values: np.ndarray, treated: np.ndarray, weights: np.ndarray | None = None) -> float:
    """Difference of the arms' means over the spread before weighting.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        A fact: 0 and 1, or a number.
    treated : numpy.ndarray of bool, shape (n,)
    weights : numpy.ndarray, shape (n,), optional

    Returns
    -------
    float
        Treated less untreated; 0.1 is a usual line for small. Nought where the fact never varies.

    References
    ----------
    .. [1] Austin and Stuart (2015), Statistics in Medicine 34, 3661-3679.

    Examples
    --------
    >>> hard, softened = np.array([1, 1, 1, 0, 1, 0, 0, 0]), np.array([1, 1, 1, 1, 0, 0, 0, 0], dtype=bool)
    >>> round(standardised_difference(hard, softened), 3)
    1.155
    """
    weights = np.ones(len(values)) if weights is None else weights
    means = [float(np.average(values[arm], weights=weights[arm])) for arm in (treated, ~treated)]
    spread = sqrt((np.var(values[treated]) + np.var(values[~treated])) / 2)
    return (means[0] - means[1]) / spread if spread > 0 else 0.0


def shared_ground(chance: np.ndarray, treated: np.ndarray, bins: int = 20) -> float:
    """Share of the two arms' spreads of chances that lies over each other.

    Parameters
    ----------
    chance : numpy.ndarray, shape (n,)
        Each row's chance of being treated.
    treated : numpy.ndarray of bool, shape (n,)
    bins : int, optional
        Equal parts of 0 to 1.

    Returns
    -------
    float
        1 where both arms have the same spread, 0 where they never meet.

    Examples
    --------
    >>> shared_ground(np.array([0.2, 0.8, 0.2, 0.8]), np.array([True, True, False, False]))
    1.0
    """
    edges = np.linspace(0, 1, bins + 1)
    shares = [np.histogram(chance[arm], bins=edges)[0] / arm.sum() for arm in (treated, ~treated)]
    return float(np.minimum(*shares).sum())


def outcome_ratio_needed(ratio: float, arm_ratio: np.ndarray) -> np.ndarray:
    """How strongly an unseen cause must go with the outcome to explain a risk ratio away.

    Parameters
    ----------
    ratio : float
        The risk ratio, or an end of its range; at least 1 (turn a smaller one over).
    arm_ratio : numpy.ndarray
        How many times as common the cause is in the one arm; above ``ratio``.

    Returns
    -------
    numpy.ndarray
        How many times as likely the cause must make the outcome.

    Notes
    -----
    The bounding factor of Ding and VanderWeele [1]_, solved for one of its two
    ratios; where both are equal they are the E-value.

    References
    ----------
    .. [1] Ding and VanderWeele (2016), Epidemiology 27, 368-377.

    Examples
    --------
    >>> outcome_ratio_needed(1.2, np.array([1.2 + (1.2 * 0.2) ** 0.5, 3.0])).round(3).tolist()
    [1.69, 1.333]
    """
    return ratio * (arm_ratio - 1) / (arm_ratio - ratio)


def rows_needed(
    untreated: float,
    difference: float,
    *,
    treated_share: float = 0.5,
    power: float = 0.8,
    level: float = 0.95,
    design_effect: float = 1.0,
) -> int:
    """Rows of both arms together that show a difference of shares with the chosen power.

    Parameters
    ----------
    untreated : float
        Share of the untreated.
    difference : float
        Treated less untreated; both shares lie between 0 and 1.
    treated_share : float, optional
        Share of the rows that are treated.
    power : float, optional
        How often such a difference is to be found.
    level : float, optional
        How sure the range should be.
    design_effect : float, optional
        How many times as large the variance is as that of independent rows.

    Returns
    -------
    int
        Rounded up.

    Notes
    -----
    The usual normal formula with the pooled share under no difference [1]_.

    References
    ----------
    .. [1] Fleiss, Levin and Paik (2003), Statistical Methods for Rates and Proportions, chapter 4.

    Examples
    --------
    R's ``power.prop.test(p1 = .50, p2 = .75, power = .90)`` gives 76.7 an arm (from memory of its help page).

    >>> rows_needed(0.50, 0.25, power=0.9)
    154
    """
    treated = untreated + difference
    pooled = treated_share * treated + (1 - treated_share) * untreated
    under_none = sqrt(pooled * (1 - pooled) * (1 / treated_share + 1 / (1 - treated_share)))
    otherwise = sqrt(treated * (1 - treated) / treated_share + untreated * (1 - untreated) / (1 - treated_share))
    z = [float(norm.ppf(each)) for each in (0.5 + level / 2, power)]
    return int(np.ceil(design_effect * ((z[0] * under_none + z[1] * otherwise) / difference) ** 2))
