"""A fair test of advice: how many weeks it takes, and the random list of weeks."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy.stats import nct, t

from analysis.stats.alike import Alike

BLOCK = 4
"""Of every four periods in a row two have advice, so that seasons fall on both."""
FEWEST_PERIODS = 12
"""So that chance can be told from an effect by the list alone: with 12 periods there are 216 lists."""
MOST_PERIODS = 520
LEAST_OUTER = 0.002
"""Least correlation within a period that is planned for: a log rarely shows a small one surely (a rule of caution, no source)."""


@dataclass(frozen=True, slots=True)
class TrialPlan:
    """Periods a test of advice needs.

    Attributes
    ----------
    difference, power : float
        What is to be found, and how often.
    periods : int or None
        Weeks or days, both arms together, a multiple of four; None where 520 are too few.
    ears : int or None
        Ears expected in them.
    design_effect : float
        How many times independent ears are needed.
    """

    difference: float
    power: float
    periods: int | None
    ears: int | None
    design_effect: float


def plan_trial(
    *, untreated: float, difference: float, power: float, level: float, ears_a_period: float, likeness: Alike
) -> TrialPlan:
    """Say how many weeks (or days) a test needs to find a difference.

    Parameters
    ----------
    untreated : float
        Share that succeeds without advice.
    difference : float
        More (or, below 0, less) with advice; both shares lie between 0 and 1.
    power, level : float
        How often it is to be found; how sure the range is to be.
    ears_a_period : float
        Ears that would count, on average.
    likeness : Alike
        Within a patient, and within a period.

    Returns
    -------
    TrialPlan

    Notes
    -----
    The test compares periods, so its range uses Student's t with two fewer
    degrees of freedom than periods, and its power the noncentral t [1]_. What
    is found is what advice does, not what an agent does: people who do not do
    as advised are part of it.

    References
    ----------
    .. [1] Donner and Klar (2000), Design and Analysis of Cluster Randomization Trials, chapter 5.

    Examples
    --------
    >>> alone = Alike(0.0, 0.0, 1.0, 40.0)
    >>> plan = plan_trial(untreated=0.70, difference=0.10, power=0.8, level=0.95, ears_a_period=40, likeness=alone)
    >>> plan.periods, round(plan.design_effect, 2)
    (20, 1.08)
    """
    effect = likeness.design_effect(LEAST_OUTER)
    treated = untreated + difference
    spread = untreated * (1 - untreated) + treated * (1 - treated)
    for periods in range(FEWEST_PERIODS, MOST_PERIODS + 1, BLOCK):
        error = sqrt(effect * spread / (ears_a_period * periods / 2))
        if _power(abs(difference) / error, periods - 2, level) >= power:
            return TrialPlan(difference, power, periods, round(periods * ears_a_period), effect)
    return TrialPlan(difference, power, None, None, effect)


def _power(shift: float, freedom: int, level: float) -> float:
    """How often a t test finds a true difference of so many standard errors."""
    bound = t.ppf(0.5 + level / 2, freedom)
    return float(nct.sf(bound, freedom, shift))


def random_list(starts: list[dt.date], *, rng: np.random.Generator) -> list[bool]:
    """Let chance decide which periods have advice.

    Parameters
    ----------
    starts : list of datetime.date
        First days of the periods in order.
    rng : numpy.random.Generator

    Returns
    -------
    list of bool
        True with advice. Of every four in a row two have it; of a last block of two, one.

    Examples
    --------
    >>> weeks = [dt.date(2027, 1, 4) + dt.timedelta(weeks=week) for week in range(8)]
    >>> advised = random_list(weeks, rng=np.random.default_rng(1))
    >>> sum(advised[:4]), sum(advised[4:])
    (2, 2)
    """
    advised: list[bool] = []
    for start in range(0, len(starts), BLOCK):
        size = len(starts[start : start + BLOCK])
        block = np.arange(size) < size // 2
        advised += rng.permutation(block).tolist()
    return advised


def period_starts(first: dt.date, *, periods: int, unit: str, open_weekdays: set[int]) -> list[dt.date]:
    """List the first days of the periods to come.

    Parameters
    ----------
    first : datetime.date
        Day on or after which the first period starts.
    periods : int
    unit : str
        ``week`` (starting on Mondays) or ``day``.
    open_weekdays : set of int
        Weekdays on which the clinic works, Monday is 0; not empty.

    Returns
    -------
    list of datetime.date

    Examples
    --------
    >>> period_starts(dt.date(2027, 1, 6), periods=2, unit="week", open_weekdays={0, 1})
    [datetime.date(2027, 1, 11), datetime.date(2027, 1, 18)]
    >>> period_starts(dt.date(2027, 1, 6), periods=2, unit="day", open_weekdays={0, 1})
    [datetime.date(2027, 1, 11), datetime.date(2027, 1, 12)]
    """
    wanted = {0} if unit == "week" else open_weekdays
    days: list[dt.date] = []
    day = first
    while len(days) < periods:
        if day.weekday() in wanted:
            days.append(day)
        day += dt.timedelta(days=1)
    return days
