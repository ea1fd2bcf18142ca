"""What a recall interval costs: coming too early against coming too late, by months."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.models.recall_enough import DAYS_A_MONTH

STEP_MONTHS = 0.5
HORIZON_MONTHS = 120
EDGES = np.arange(0.0, HORIZON_MONTHS + STEP_MONTHS, STEP_MONTHS)
MIDDLES = EDGES[1:] - STEP_MONTHS / 2
MONTHS_A_YEAR = 12.0


@dataclass(frozen=True, eq=False)
class ReturnCosts:
    """What visits cost, in the owner's money; the first row is the best figure, the others draws.

    Attributes
    ----------
    open : numpy.ndarray, shape (draws,)
        A recall that finds nothing to remove.
    recalled, troubled : numpy.ndarray, shape (draws, months of MIDDLES)
        A recall, or a return with symptoms, that finds an ear occluding, by months
        since clearance: its minutes and those of second visits.
    symptom_day : float
        A day with an occluding ear.
    waits : tuple of (float, float)
        Shares of people, adding up to 1, each with the months within which they
        come of themselves once an ear is occluding, any time of it being as likely.
    """

    open: np.ndarray
    recalled: np.ndarray
    troubled: np.ndarray
    symptom_day: float
    waits: tuple[tuple[float, float], ...]


@dataclass(frozen=True, eq=False)
class CostCurve:
    """Cost of a year for one ear, by recall interval.

    Attributes
    ----------
    months : numpy.ndarray of int
        Recall intervals weighed.
    cost : numpy.ndarray, shape (draws, months)
        Money a year; the first row is the best figure.
    without : numpy.ndarray, shape (draws,)
        The same with no recall: people come when symptoms appear.
    symptom_days : numpy.ndarray, shape (months,)
        Days a year with an occluding ear, best figure.
    """

    months: np.ndarray
    cost: np.ndarray
    without: np.ndarray
    symptom_days: np.ndarray

    @property
    def best(self) -> int:
        """Place of the month that costs least."""
        return int(self.cost[0].argmin())

    @property
    def still_falling(self) -> bool:
        """Whether the longest interval weighed costs least, so that the least may lie beyond."""
        return self.best == len(self.months) - 1

    def spread(self, values: np.ndarray, level: float) -> tuple[float, float]:
        """Give the ends of a range over the draws."""
        low, high = np.quantile(values[1:], [0.5 - level / 2, 0.5 + level / 2])
        return float(low), float(high)

    def flat(self, level: float, within: float) -> tuple[int, int]:
        """Months around the best whose cost cannot be told from the least, or lies within a share of it.

        Parameters
        ----------
        level : float
            How sure a difference must be to count as one.
        within : float
            Share of the least cost that is taken for no matter.

        Returns
        -------
        (int, int)
            First and last month.
        """
        more = self.cost - self.cost[:, [self.best]]
        low = np.quantile(more[1:], 0.5 - level / 2, axis=0)
        flat = (low <= 0) | (more[0] <= within * self.cost[0, self.best])
        first = last = self.best
        while first > 0 and flat[first - 1]:
            first -= 1
        while last < len(self.months) - 1 and flat[last + 1]:
            last += 1
        return int(self.months[first]), int(self.months[last])


def cost_curve(share: np.ndarray, costs: ReturnCosts, months: np.ndarray) -> CostCurve:
    """Weigh recall intervals.

    Parameters
    ----------
    share : numpy.ndarray, shape (draws, len(EDGES))
        Share of ears occluding again by the months of ``EDGES``; from 0, never falling.
    costs : ReturnCosts
    months : numpy.ndarray of int
        Intervals to weigh, from 1.

    Returns
    -------
    CostCurve

    Notes
    -----
    The classic inspection model [1]_: an ear is looked at every so many months
    until it is found occluding, and then starts anew. A look that finds it open
    costs a visit; one found occluding has cost days with symptoms. Added here:
    whoever has symptoms need not wait for the recall but comes within a window, and
    some put up with them for longer than others.
    The cost of a year is the mean cost from one clearance to the next over the
    mean time between them. Ears still open after ten years are taken to
    occlude then. Everybody called is taken to come.

    References
    ----------
    .. [1] Barlow and Proschan (1965), Mathematical Theory of Reliability, chapter 4.

    Examples
    --------
    Where symptoms cost nothing, calling nobody costs least: each look at an open ear is a visit spent.

    >>> share = 1 - np.exp(-((EDGES / 20) ** 1.5))[None, :].repeat(2, axis=0)
    >>> flat = np.full((2, len(MIDDLES)), 20.0)
    >>> curve = cost_curve(share, ReturnCosts(np.full(2, 12.0), flat, flat, 0.0, ((1.0, 2.0),)), np.arange(1, 25))
    >>> curve.still_falling, bool(curve.without[0] < curve.cost[0].min())
    (True, True)
    """
    onset = np.diff(share, axis=1)
    onset[:, -1] += 1 - share[:, -1]
    each = [_year(onset, costs, float(month)) for month in months]
    without, _ = _year(onset, costs, np.inf)
    return CostCurve(
        np.asarray(months),
        np.column_stack([cost for cost, _ in each]),
        without,
        np.array([days[0] for _, days in each]),
    )


def _year(onset: np.ndarray, costs: ReturnCosts, every: float) -> tuple[np.ndarray, np.ndarray]:
    """Cost and days with symptoms in a year, with a look every so many months."""
    looks = np.floor(MIDDLES / every) if np.isfinite(every) else np.zeros_like(MIDDLES)
    until_look = (looks + 1) * every - MIDDLES if np.isfinite(every) else np.full_like(MIDDLES, np.inf)
    late, until_seen = np.zeros_like(costs.recalled), np.zeros_like(MIDDLES)
    for share, wait in costs.waits:
        sooner = np.minimum(until_look, wait)
        recalled = 1 - sooner / wait
        called = (1 - recalled) * costs.troubled[:, _place(MIDDLES + sooner / 2)]
        late += share * (recalled * costs.recalled[:, _place(MIDDLES + sooner)] + called)
        until_seen += share * (sooner - sooner**2 / (2 * wait))
    days = (onset * until_seen).sum(axis=1) * DAYS_A_MONTH
    money = (onset * (looks * costs.open[:, None] + late)).sum(axis=1) + days * costs.symptom_day
    years = (onset * (MIDDLES + until_seen)).sum(axis=1) / MONTHS_A_YEAR
    return money / years, days / years


def _place(months: np.ndarray) -> np.ndarray:
    """Place of months on the grid, the last one for any later."""
    return np.minimum((months / STEP_MONTHS).astype(int), len(MIDDLES) - 1)
