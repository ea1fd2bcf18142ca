"""One value that comes more often than those beside it: a spike, with its exact range."""

from __future__ import annotations

from math import inf

from analysis.stats.estimate import Estimate
from analysis.stats.proportions import exact_share


def spike_ratio(exact: int, beside: int, *, places: int, level: float = 0.95) -> Estimate:
    """How many times as often as one of the values beside it a value comes.

    Parameters
    ----------
    exact : int
        How often the value itself was written.
    beside : int
        How often the values beside it were written, all together.
    places : int
        How many values stand beside it; at least 1.
    level : float, optional
        How sure the range should be.

    Returns
    -------
    Estimate
        1 where nothing is favoured. Infinite, with an infinite upper end, where
        nothing stands beside it; 0 to infinity where nothing was written at all.

    Notes
    -----
    Given the sum of both counts, the first is binomial, so the exact range of a
    share gives that of the ratio of two Poisson rates [1]_. It takes neighbouring
    values to be equally likely but for the spike, which holds where amounts
    spread smoothly over more than the neighbours.

    References
    ----------
    .. [1] Przyborowski and Wilenski (1940), Biometrika 31, 313-323.

    Examples
    --------
    >>> spike = spike_ratio(30, 12, places=6)
    >>> spike.value, round(spike.low, 1), round(spike.high, 1)
    (15.0, 7.5, 32.2)
    """
    method = "ratio of two Poisson rates, exact range"
    if exact + beside == 0:
        return Estimate(1.0, 0.0, inf, level, 0, method)
    share = exact_share(exact, exact + beside, level)
    value, low, high = (_odds(each) * places for each in (share.value, share.low, share.high))
    return Estimate(value, low, high, level, exact + beside, method)


def _odds(share: float) -> float:
    """Turn a share into odds; a share of one has no end."""
    return share / (1 - share) if share < 1 else inf
