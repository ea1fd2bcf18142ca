"""What simple methods say of the coming months from the monthly totals alone, and whether one of them did better."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from analysis.stats.exponential_smoothing import ROUNDS, fit_best
from analysis.stats.forecast_checks import chance_of_mean_below, same_season_mean, scaled_error, seasonal_naive

YEAR = 12
SEASONAL_NAIVE, SAME_MONTHS, SMOOTHING = "seasonal_naive", "same_months", "exponential_smoothing"
SIMPLE = (SEASONAL_NAIVE, SAME_MONTHS, SMOOTHING)
QUICK_ROUNDS = 2
FEWEST_APART = 6
"""Pairs of months a year apart from which their spread is learnt; with fewer it is that of chance (our choice)."""
FEWEST_JUDGED = 12
"""Months a method must have been tried on before it may take the forecast's place (our choice, no source)."""
CHANCE, BETTER_BY = 0.05, 0.05
"""It takes its place if its misses were smaller by at least this share, and by more than a chance of this size gives,
shared out over the methods looked at (our choice, no source)."""


class SimpleForecast(NamedTuple):
    """What a simple method says: totals of the coming months, and the standard deviation of its misses to expect."""

    totals: np.ndarray
    spreads: np.ndarray


def simple_forecasts(totals: np.ndarray, steps: int, *, rounds: int = ROUNDS) -> dict[str, SimpleForecast]:
    """Forecast the coming months by each simple method the log is long enough for.

    Parameters
    ----------
    totals : numpy.ndarray, shape (n,)
        Attended visits of the whole months, oldest first, at least 6.
    steps : int
        Months ahead.
    rounds : int, optional
        Grids searched for the smoothing; fewer are quicker.

    Returns
    -------
    dict of str to SimpleForecast
        ``exponential_smoothing`` always; ``seasonal_naive`` from 12 months,
        ``same_months`` from 24, before which it would be the same. Spreads are
        learnt from how far each method missed within the log, and are no
        smaller than chance makes counts.

    Examples
    --------
    >>> said = simple_forecasts(np.array([16, 16, 16, 16, 16, 16]), 2)["exponential_smoothing"]
    >>> said.totals.round(6).tolist(), said.spreads.tolist()
    ([16.0, 16.0], [4.0, 4.0])
    """
    past = np.asarray(totals, dtype=float)
    fitted = fit_best(past, YEAR, rounds=rounds)
    said = {SMOOTHING: _said(fitted.forecast(steps), fitted.spreads(steps))}
    if len(past) >= YEAR:
        said[SEASONAL_NAIVE] = _year_before(past, steps)
    if len(past) >= 2 * YEAR:
        said[SAME_MONTHS] = _same_months(past, steps)
    return said


def _year_before(past: np.ndarray, steps: int) -> SimpleForecast:
    """Take the same month a year before; it misses by as much as years have differed."""
    ahead = seasonal_naive(past, steps, YEAR)
    apart = past[YEAR:] - past[:-YEAR]
    spread = float(np.sqrt(np.mean(apart**2))) if len(apart) >= FEWEST_APART else 0.0
    years = np.arange(steps) // YEAR + 1
    return _said(ahead, np.maximum(spread, np.sqrt(2 * ahead)) * np.sqrt(years))


def _same_months(past: np.ndarray, steps: int) -> SimpleForecast:
    """Take the average of the same months; it misses by as much as they have differed, and as it is itself unsure."""
    place = np.arange(len(past)) % YEAR
    many = np.bincount(place)
    means = np.bincount(place, past) / many
    variance = np.square(past - means[place]).sum() / (len(past) - YEAR)
    ahead = (len(past) + np.arange(steps)) % YEAR
    return _said(
        same_season_mean(past, steps, YEAR), np.sqrt(np.maximum(variance, means[ahead]) * (1 + 1 / many[ahead]))
    )


def _said(totals: np.ndarray, spreads: np.ndarray) -> SimpleForecast:
    """Keep totals at or above nought and spreads at or above those of chance."""
    visits = np.maximum(totals, 0.0)
    return SimpleForecast(visits, np.maximum(spreads, np.sqrt(np.maximum(visits, 1.0))))


@dataclass(frozen=True, slots=True)
class Beside:
    """A simple method beside the forecast.

    Attributes
    ----------
    method : str
    months : int
        Months on which both were tried.
    ratio : float
        Size of the forecast's misses as a multiple of the method's: above 1 the method did better.
    chance : float
        How often chance alone would put the method so far ahead.
    """

    method: str
    months: int
    ratio: float
    chance: float


def beside_simple(trials: pd.DataFrame) -> tuple[Beside, ...]:
    """Set the forecast's misses beside each simple method's.

    Parameters
    ----------
    trials : pandas.DataFrame
        Past forecasts: ``month``, ``came``, ``expected`` and a column for each
        simple method, empty where it could not be used.

    Returns
    -------
    tuple of Beside
        Methods tried on at least 12 months.

    Notes
    -----
    A month is forecast from several month-ends. Its misses are averaged first,
    since what is odd about a month shows in all of them; what is left to go
    together from month to month is allowed for (``chance_of_mean_below``).

    Examples
    --------
    >>> months = pd.period_range("2025-01", periods=12, freq="M").astype(str)
    >>> trials = pd.DataFrame({"month": months, "came": 10.0, "expected": 12.0, "seasonal_naive": 11.0})
    >>> beside_simple(trials)
    (Beside(method='seasonal_naive', months=12, ratio=2.0, chance=0.0),)
    """
    found = []
    for method in SIMPLE:
        if method not in trials:
            continue
        both = trials[trials[method].notna()]
        misses = pd.DataFrame({"ours": both["expected"] - both["came"], "simple": both[method] - both["came"]}).abs()
        by_month = misses.groupby(both["month"]).mean()
        if len(by_month) >= FEWEST_JUDGED:
            ratio = scaled_error(misses["ours"].to_numpy(), misses["simple"].to_numpy())
            chance = chance_of_mean_below((by_month["simple"] - by_month["ours"]).to_numpy())
            found.append(Beside(method, len(by_month), ratio, chance))
    return tuple(found)


def better_method(found: Sequence[Beside]) -> Beside | None:
    """Give the simple method that did better than the forecast beyond chance, or none.

    Parameters
    ----------
    found : sequence of Beside

    Returns
    -------
    Beside or None
        Of several, the one with the smallest misses.

    Examples
    --------
    >>> better_method([Beside("seasonal_naive", 18, 1.4, 0.001), Beside("same_months", 12, 1.2, 0.04)]).method
    'seasonal_naive'
    >>> better_method([Beside("seasonal_naive", 18, 1.4, 0.03), Beside("same_months", 12, 1.2, 0.04)])
    """
    ahead = [each for each in found if each.ratio >= 1 / (1 - BETTER_BY) and each.chance <= CHANCE / len(found)]
    return max(ahead, key=lambda each: each.ratio, default=None)
