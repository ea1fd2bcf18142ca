"""What advising people to soften is worth: visits and minutes against agents, days of delay and discomfort."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from analysis.stats.estimate import Estimate

BOOKINGS = 100


@dataclass(frozen=True, slots=True)
class Prices:
    """Worth of a visit, a minute, an agent and a day, in the clinic's money."""

    visit: float
    minute: float
    agent: float
    day: float


@dataclass(frozen=True, slots=True, eq=False)
class Amounts:
    """What advising changes, in 100 bookings.

    Attributes
    ----------
    visits_avoided : Estimate
        Second visits fewer.
    minutes_saved : Estimate or None
        Minutes in the chair fewer; None where the log holds no measured minutes.
    users : Estimate
        People who use an agent because they were advised to.
    days_each : Estimate or None
        Days a user softens; None where not recorded.
    discomforts_fewer : Estimate or None
        Visits with discomfort fewer; shown, never priced.
    lean_together : numpy.ndarray, shape (4, 4), optional
        Correlations of the errors of visits, minutes, users and days: they come
        from the same patients. Without it each goes by itself.
    """

    visits_avoided: Estimate
    minutes_saved: Estimate | None
    users: Estimate
    days_each: Estimate | None
    discomforts_fewer: Estimate | None
    lean_together: np.ndarray | None = None


@dataclass(frozen=True, eq=False)
class Worth:
    """Worth of advising 100 bookings.

    Attributes
    ----------
    parts : dict of str to Estimate
        ``visits``, ``minutes``, ``agent`` and ``delay``, costs below 0, as far as recorded.
    total : Estimate
        Their sum.
    break_even : Estimate or None
        Worth of a visit at which advising pays for itself; 0 where it pays even
        with a visit worth nothing; None where the log does not clearly show
        that advising avoids visits. An end of its range may be infinite.
    chance_worth : float
        Share of the figures the log fits for which the total is above 0.
    """

    parts: dict[str, Estimate]
    total: Estimate
    break_even: Estimate | None
    chance_worth: float


def worth_of_advice(amounts: Amounts, prices: Prices, *, draws: int, rng: np.random.Generator) -> Worth:
    """Weigh what advising saves against what it costs, in 100 bookings.

    Parameters
    ----------
    amounts : Amounts
    prices : Prices
    draws : int
        How often the amounts are drawn anew from what the log fits.
    rng : numpy.random.Generator

    Returns
    -------
    Worth
        Each figure is that of the best amounts; ranges come from the draws.

    Notes
    -----
    The amounts are drawn together from a normal spread that has their ranges and
    their correlations, so that the total's range counts that visits avoided and
    minutes saved come from the same patients.

    Examples
    --------
    Five visits avoided at 40 against 50 agents at 3 leaves 50.

    >>> five = Estimate(5.0, 4.0, 6.0, 0.95, 400, "")
    >>> amounts = Amounts(five, None, Estimate(50.0, 45.0, 55.0, 0.95, 400, ""), None, None)
    >>> worth = worth_of_advice(amounts, Prices(40.0, 1.0, 3.0, 0.0), draws=500, rng=np.random.default_rng(1))
    >>> worth.total.value, worth.break_even.value, worth.chance_worth > 0.95
    (50.0, 30.0, True)
    """
    level = amounts.visits_avoided.level
    visits, minutes, users, days = _drawn(amounts, draws, rng)
    users, days = np.maximum(users, 0.0), np.maximum(days, 0.0)
    parts = {"visits": visits * prices.visit}
    if amounts.minutes_saved is not None:
        parts["minutes"] = minutes * prices.minute
    parts["agent"] = -users * prices.agent
    if amounts.days_each is not None:
        parts["delay"] = -users * days * prices.day
    total = np.sum(list(parts.values()), axis=0)
    others = np.sum([part for name, part in parts.items() if name != "visits"], axis=0)
    n = amounts.visits_avoided.n
    return Worth(
        {name: _ranged(values, level, n) for name, values in parts.items()},
        _ranged(total, level, n),
        _break_even(amounts, -others, visits, level),
        float((total[1:] > 0).mean()),
    )


def _drawn(amounts: Amounts, draws: int, rng: np.random.Generator) -> np.ndarray:
    """Give visits, minutes, users and days themselves, then draws around them; shape (4, draws + 1)."""
    each = (amounts.visits_avoided, amounts.minutes_saved, amounts.users, amounts.days_each)
    values = np.array([0.0 if one is None else one.value for one in each])
    errors = np.array([0.0 if one is None else _error(one) for one in each])
    together = np.eye(len(each)) if amounts.lean_together is None else amounts.lean_together
    shifts = rng.multivariate_normal(
        np.zeros(len(each)), together * np.outer(errors, errors), size=draws, method="eigh"
    )
    return np.column_stack([values, values[:, None] + shifts.T])


def _error(estimate: Estimate) -> float:
    """Give the standard error behind a range."""
    return float((estimate.high - estimate.low) / (2 * norm.ppf(0.5 + estimate.level / 2)))


def _ranged(values: np.ndarray, level: float, n: int) -> Estimate:
    """Take the first value for the figure and the others for its range."""
    low, high = np.quantile(values[1:], [0.5 - level / 2, 0.5 + level / 2])
    value, low, high = (float(each) + 0.0 for each in (values[0], low, high))  # no minus on nought
    return Estimate(value, low, high, level, n, "set prices, ranges of the log's figures")


def _break_even(amounts: Amounts, cost: np.ndarray, visits: np.ndarray, level: float) -> Estimate | None:
    """Worth of a visit that covers the cost; a draw that avoids no visit never covers a cost."""
    if amounts.visits_avoided.low <= 0:
        return None
    price = np.where(cost <= 0, 0.0, np.where(visits > 0, cost / np.where(visits > 0, visits, 1.0), np.inf))
    low, high = np.quantile(price[1:], [0.5 - level / 2, 0.5 + level / 2], method="inverted_cdf")
    return Estimate(
        float(price[0]), float(low), float(high), level, amounts.visits_avoided.n, "cost over visits avoided"
    )
