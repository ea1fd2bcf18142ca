"""The share still waiting as time goes by, from right-censored times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import norm

from analysis.stats.estimate import Estimate


@dataclass(frozen=True, eq=False)
class KaplanMeier:
    """A step curve: the share to whom the event has not yet happened.

    Attributes
    ----------
    times : numpy.ndarray
        Distinct times, rising.
    at_risk, events : numpy.ndarray
        How many were still watched just before each time, and to how many it happened then.
    survival, standard_error : numpy.ndarray
        The share just after each time, and Greenwood's standard error of it.
    """

    times: np.ndarray
    at_risk: np.ndarray
    events: np.ndarray
    survival: np.ndarray
    standard_error: np.ndarray

    def at(self, times: ArrayLike) -> np.ndarray:
        """Give the share at any times; 1 before the first, the last one's after the last."""
        place = np.searchsorted(self.times, np.asarray(times), side="right")
        return np.concatenate([[1.0], self.survival])[place]

    def estimate_at(self, time: float, level: float = 0.95) -> Estimate:
        """Give the share at one time with its log-log range, which stays between 0 and 1."""
        place = int(np.searchsorted(self.times, time, side="right")) - 1
        n = round(float(self.at_risk[0]))
        if place < 0 or self.survival[place] in (0.0, 1.0):
            share = float(self.at([time])[0])
            return Estimate(share, share, share, level, n, "Kaplan-Meier curve")
        share, error = float(self.survival[place]), float(self.standard_error[place])
        reach = float(norm.ppf(0.5 + level / 2)) * error / (share * np.log(share))
        low, high = sorted(share ** np.exp([reach, -reach]))
        return Estimate(share, float(low), float(high), level, n, "Kaplan-Meier curve with log-log range")


def kaplan_meier(times: np.ndarray, happened: np.ndarray, counts: np.ndarray | None = None) -> KaplanMeier:
    """Estimate the share to whom the event has not yet happened by each time.

    Parameters
    ----------
    times : numpy.ndarray, shape (n,)
        Time of the event, or until which no event was seen; at least one.
    happened : numpy.ndarray of bool, shape (n,)
        Whether the event was seen at that time.
    counts : numpy.ndarray, shape (n,), optional
        How many each row stands for; 1 without it.

    Returns
    -------
    KaplanMeier

    Notes
    -----
    The product-limit estimate [1]_ with Greenwood's variance. A time at which
    one was last watched and another had the event counts the first as still at
    risk. Where the event has happened to all, the standard error is 0.

    References
    ----------
    .. [1] Kaplan and Meier (1958), J. Am. Stat. Assoc. 53, 457-481.

    Examples
    --------
    Of four, one has the event at 2, one is lost at 3, one has it at 5, one is still watched at 6.

    >>> curve = kaplan_meier(np.array([2, 3, 5, 6]), np.array([True, False, True, False]))
    >>> curve.survival.tolist(), curve.at([1, 5.5]).tolist()
    ([0.75, 0.75, 0.375, 0.375], [1.0, 0.375])
    """
    counts = np.ones(len(times)) if counts is None else np.asarray(counts, dtype=float)
    distinct, place = np.unique(times, return_inverse=True)
    leaving = np.bincount(place, counts)
    events = np.bincount(place, counts * np.asarray(happened, dtype=bool))
    at_risk = np.cumsum(leaving[::-1])[::-1]
    survival = np.cumprod(1 - events / at_risk)
    left = at_risk - events
    terms = np.divide(events, at_risk * left, out=np.zeros_like(events), where=left > 0)
    return KaplanMeier(distinct, at_risk, events, survival, survival * np.sqrt(np.cumsum(terms)))
