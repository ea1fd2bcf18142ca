"""Funnel limits: whether units differ by more than chance allows, without ranking them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2, norm

WINSORISED = 0.1
"""Share of the units at either end whose scores are pulled in before the spread is estimated (Spiegelhalter 2005)."""
INNER, OUTER = 0.95, 0.998
"""How much of chance the inner and the outer limits hold (Spiegelhalter 2005)."""


@dataclass(frozen=True, eq=False)
class Funnel:
    """Units' shares, like with like, beside what chance allows.

    Attributes
    ----------
    share : numpy.ndarray, shape (k,)
        Each unit's share, shifted to the whole group's mix of cases.
    target : float
        The share of all units together.
    spread : numpy.ndarray, shape (k,)
        How far chance moves each unit's share, as one standard error, over-dispersion included.
    over_dispersion : float
        Times the variance that counting alone would give; at least 1.
    z : numpy.ndarray, shape (k,)
        Distance from the target in those spreads.
    """

    share: np.ndarray
    target: float
    spread: np.ndarray
    over_dispersion: float
    z: np.ndarray

    def limits(self, held: float) -> tuple[np.ndarray, np.ndarray]:
        """Give the shares within which chance keeps so much of what it does."""
        half = float(norm.ppf(0.5 + held / 2)) * self.spread
        return np.maximum(self.target - half, 0.0), np.minimum(self.target + half, 1.0)

    def outside(self, held: float) -> np.ndarray:
        """Mark the units beyond those limits."""
        return np.abs(self.z) > float(norm.ppf(0.5 + held / 2))


def share_funnel(
    successes: np.ndarray,
    expected: np.ndarray,
    variance: np.ndarray,
    of: np.ndarray,
    *,
    over_dispersion: float = 1.0,
) -> Funnel:
    """Set each unit's share beside what chance allows.

    Parameters
    ----------
    successes, of : numpy.ndarray, shape (k,)
        How many of how many in each unit.
    expected, variance : numpy.ndarray, shape (k,)
        How many there would be if every case went as it does in all units
        together, and the variance of that by counting alone. Without
        allowance for the cases: ``of`` times the target, and that times one
        less the target.
    over_dispersion : float, optional
        Times that variance, from ``spread_between`` or from a design effect.

    Returns
    -------
    Funnel

    References
    ----------
    .. [1] Spiegelhalter (2005), Statistics in Medicine 24(8), 1185-1202.

    Examples
    --------
    >>> deaths, patients = np.array([31.0, 13.0, 28.0]), np.array([215.0, 196.0, 589.0])
    >>> target = 72 / 1000
    >>> funnel = share_funnel(deaths, target * patients, target * (1 - target) * patients, patients)
    >>> funnel.outside(INNER).tolist(), funnel.outside(OUTER).tolist()
    ([True, False, True], [True, False, False])
    """
    target = float(successes.sum() / of.sum())
    spread = np.sqrt(over_dispersion * variance) / of
    difference = (successes - expected) / of
    z = np.divide(difference, spread, out=np.zeros(len(of)), where=spread > 0)
    return Funnel(target + difference, target, spread, over_dispersion, z)


def winsorised(z: np.ndarray, share: float = WINSORISED) -> np.ndarray:
    """Pull the scores beyond the outer shares in to them.

    Examples
    --------
    >>> winsorised(np.array([-9.0, -1.0, 0.0, 1.0, 9.0]), 0.25).tolist()
    [-1.0, -1.0, 0.0, 1.0, 1.0]
    """
    low, high = np.quantile(z, [share, 1 - share])
    return np.clip(z, low, high)


def spread_between(z: np.ndarray) -> float:
    """Estimate over-dispersion from the units themselves: the mean square of winsorised scores.

    Parameters
    ----------
    z : numpy.ndarray, shape (k,)
        Each unit's distance from the target, in spreads by counting alone.

    Returns
    -------
    float
        1 where the scores spread no more than chance lets them 19 times in 20.

    Notes
    -----
    Multiplicative, as in [1]_. A few units cannot tell their own spread from
    a true difference of one of them; whoever calls says how many are enough.

    References
    ----------
    .. [1] Spiegelhalter (2005), Quality and Safety in Health Care 14, 347-351,
       "Handling over-dispersion of performance indicators".

    Examples
    --------
    >>> spread_between(np.array([-0.4, 0.3, 1.1, -0.9, 0.2]))
    1.0
    """
    squares = float((winsorised(z) ** 2).sum())
    return squares / len(z) if squares > chi2.ppf(0.95, len(z)) else 1.0
