"""Shares with ranges that stay between 0 and 1."""

from __future__ import annotations

from math import sqrt

from scipy.stats import beta, norm

from analysis.stats.estimate import Estimate


def wilson_share(successes: int, n: int, level: float = 0.95) -> Estimate:
    """Share of successes with the Wilson score interval.

    Parameters
    ----------
    successes, n : int
        How many of how many; ``n`` at least 1.
    level : float, optional
        How sure the range should be.

    Returns
    -------
    Estimate
        A share between 0 and 1.

    Notes
    -----
    The interval stays inside 0 to 1 and holds up with few cases [1]_.

    References
    ----------
    .. [1] Brown, Cai and DasGupta (2001), Statistical Science 16(2), 101-133.

    Examples
    --------
    >>> share = wilson_share(3, 25)
    >>> share.value, round(share.low, 3), round(share.high, 3)
    (0.12, 0.042, 0.3)
    """
    z = float(norm.ppf(0.5 + level / 2))
    share = successes / n
    middle = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z * sqrt(share * (1 - share) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    low = 0.0 if successes == 0 else middle - half
    high = 1.0 if successes == n else middle + half
    return Estimate(share, low, high, level, n, "share with Wilson score interval")


def exact_share(successes: int, n: int, level: float = 0.95) -> Estimate:
    """Share of rare events with the exact (Clopper-Pearson) interval.

    With no event the upper end is one-sided at ``level``: none in 59 could
    be as many as 5 in 100. With any event both ends are two-sided.

    Parameters
    ----------
    successes, n : int
        How many of how many; ``n`` at least 1.
    level : float, optional
        How sure the range should be.

    Returns
    -------
    Estimate
        A share between 0 and 1.

    References
    ----------
    .. [1] Clopper and Pearson (1934), Biometrika 26, 404-413.

    Examples
    --------
    >>> round(exact_share(0, 59).high, 3)
    0.05
    """
    tail = (1 - level) if successes == 0 else (1 - level) / 2
    low = 0.0 if successes == 0 else float(beta.ppf(tail, successes, n - successes + 1))
    high = 1.0 if successes == n else float(beta.ppf(1 - tail, successes + 1, n - successes))
    return Estimate(successes / n, low, high, level, n, "share with exact Clopper-Pearson interval")


def newcombe_difference(successes: tuple[int, int], n: tuple[int, int], level: float = 0.95) -> Estimate:
    """Difference of two independent shares (first less second), Newcombe's hybrid score interval.

    Parameters
    ----------
    successes, n : (int, int)
        Successes and totals of the first and the second group.
    level : float, optional
        How sure the range should be.

    Returns
    -------
    Estimate
        A difference between -1 and 1.

    References
    ----------
    .. [1] Newcombe (1998), Statistics in Medicine 17, 873-890, method 10.

    Examples
    --------
    >>> difference = newcombe_difference((56, 48), (70, 80))
    >>> round(difference.low, 4), round(difference.high, 4)
    (0.0524, 0.3339)
    """
    first, second = (wilson_share(s, total, level) for s, total in zip(successes, n, strict=True))
    value = first.value - second.value
    below = sqrt((first.value - first.low) ** 2 + (second.high - second.value) ** 2)
    above = sqrt((first.high - first.value) ** 2 + (second.value - second.low) ** 2)
    return Estimate(
        value, value - below, value + above, level, sum(n), "difference of shares, Newcombe hybrid score interval"
    )
