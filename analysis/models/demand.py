"""Visits a month ahead: returns of known patients, new patients, and the rest, with ranges."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.models.new_patients import FEWEST_MONTHS, MonthlyModel, too_few_months
from analysis.models.opening_days import Months, months_of
from analysis.models.returns_ahead import ReturnsAhead, Rule, returns_ahead
from analysis.models.visit_history import NEW, History
from analysis.models.visit_streams import Stream, count_streams, monthly_counts
from analysis.problems import NotEnough


@dataclass(frozen=True, eq=False)
class Draws:
    """How many possible futures are drawn, and how many sets of rates they rest on."""

    futures: int = 4000
    rates: int = 200


@dataclass(frozen=True, eq=False)
class Demand:
    """Attended visits of the months ahead.

    Attributes
    ----------
    months : Months
        Whole months behind and months ahead.
    expected : numpy.ndarray, shape (months, kinds)
        Expected visits by month and kind (``KINDS``).
    drawn : numpy.ndarray, shape (futures, months, kinds)
        Visits in each drawn future: whole numbers.
    parts : pandas.DataFrame
        Expected visits by month: ``known_patients`` (next visits),
        ``later_returns`` (after a visit itself ahead), ``new_patients`` and
        ``not_seen_before`` (other visits without an earlier one in the log).
    new_patients : MonthlyModel or None
        None where no new patient was logged.
    returns : ReturnsAhead
        What the forecast of returns rests on.
    past : numpy.ndarray, shape (whole months, kinds)
        Attended visits of the log's whole months.
    returns_drawn : numpy.ndarray, shape (futures, months, kinds)
        Of the visits drawn, those that are returns, before any widening.
    others_drawn : numpy.ndarray, shape (futures, months, kinds)
        The rest of them, before any widening.
    others : numpy.ndarray, shape (1 + sets, months, kinds)
        Expected visits that are no returns: likeliest first, then as uncertain as they are.
    factor : float or numpy.ndarray, shape (months, 1)
        How many times as far from what is expected ``drawn`` has been moved.
    lift : numpy.ndarray, shape (months,), or None
        What everything was multiplied by to bring the months' totals to those
        of another method; None where the forecast's own totals stand.
    """

    months: Months
    expected: np.ndarray
    drawn: np.ndarray
    parts: pd.DataFrame
    new_patients: MonthlyModel | None
    returns: ReturnsAhead
    past: np.ndarray
    returns_drawn: np.ndarray
    others_drawn: np.ndarray
    others: np.ndarray
    factor: float | np.ndarray = 1.0
    lift: np.ndarray | None = None

    def ranges(self, level: float) -> tuple[np.ndarray, np.ndarray]:
        """Give the range of each month's visits by kind, with all kinds together as last column."""
        whole = np.concatenate([self.drawn, self.drawn.sum(axis=2, keepdims=True)], axis=2)
        return count_range(whole, level)

    def widened(self, factor: float) -> Demand:
        """Give the same forecast with its futures so many times as far from what is expected."""
        drawn = spread_out(self.drawn, self.expected, factor)
        return replace(self, drawn=drawn, factor=self.factor * factor)

    def led_by(self, totals: np.ndarray, spreads: np.ndarray) -> Demand:
        """Give the forecast with another method's totals and spreads, shared out over kinds as before."""
        own = self.expected.sum(axis=1)
        lift = np.divide(totals, own, out=np.ones_like(own), where=own > 0)
        expected, lifted = self.expected * lift[:, None], self.drawn * lift[:, None]
        drawn_spread = np.maximum(lifted.sum(axis=2).std(axis=0), 1e-9)
        factor = (spreads / drawn_spread)[:, None]
        return replace(
            self,
            expected=expected,
            drawn=spread_out(lifted, expected, factor),
            parts=self.parts.mul(lift, axis=0),
            factor=self.factor * factor,
            lift=lift,
        )


def count_range(drawn: np.ndarray, level: float) -> tuple[np.ndarray, np.ndarray]:
    """Give the central range of drawn counts, whole numbers at both ends.

    Parameters
    ----------
    drawn : numpy.ndarray, shape (futures, ...)
    level : float
        Share of futures the range should hold, at least.

    Returns
    -------
    (numpy.ndarray, numpy.ndarray)
        Low and high ends.

    Examples
    --------
    >>> low, high = count_range(np.arange(101.0), 0.8)
    >>> low.item(), high.item()
    (10.0, 90.0)
    """
    tail = round((1 - level) / 2, 12)
    return np.quantile(drawn, tail, axis=0, method="lower"), np.quantile(drawn, 1 - tail, axis=0, method="higher")


def spread_out(drawn: np.ndarray, expected: np.ndarray, factor: float | np.ndarray) -> np.ndarray:
    """Move drawn counts so many times as far from the expected ones: whole numbers, at least nought.

    Examples
    --------
    >>> spread_out(np.array([[8.0], [12.0], [0.0]]), np.array([10.0]), 1.5).ravel().tolist()
    [7.0, 13.0, 0.0]
    """
    return np.maximum(np.round(expected + factor * (drawn - expected)), 0.0)


def forecast_demand(
    history: History,
    *,
    first: int,
    last: int,
    months_ahead: int,
    rng: np.random.Generator,
    rule: Rule | None = None,
    draws: Draws | None = None,
) -> Demand:
    """Forecast the visits of the coming months, each visit counted once.

    Parameters
    ----------
    history : History
        Attended visits up to ``last``.
    first, last : int
        First and last day the log covers, counted from 1 January 1970.
    months_ahead : int
        Calendar months to forecast.
    rng : numpy.random.Generator
    rule : Rule, optional
        How routine recalls are taken; the log's own without it.
    draws : Draws, optional

    Returns
    -------
    Demand

    Raises
    ------
    NotEnough
        With fewer than 6 whole months.

    Notes
    -----
    Every attended visit is of one of two sorts. Either the log holds an
    earlier visit of the patient: then it is that visit's *return*, of
    whatever kind (routine recall, return with symptoms, second attempt), and
    is expected from the weeks since (``return_table``). Or it does not: then
    it is a *new patient's* visit, or one of a patient last seen before the log
    begins, and is expected from monthly counts (``new_patients``). A visit
    that lies ahead leads to returns of its own. So nothing is counted twice.

    Ranges combine how counts vary and how well the rates are known: rates are
    drawn from their distributions (gamma for return rates, normal for count
    coefficients); counts around them are Poisson-binomial for known patients
    with a month's factor shared by all, and negative binomial for the rest.
    """
    rule, draws = rule or Rule(), draws or Draws()
    months = months_of(history, first=first, last=last, months_ahead=months_ahead)
    if len(months.whole) < FEWEST_MONTHS:
        raise NotEnough(*too_few_months(len(months.whole)))
    streams = count_streams(history, months, sets=draws.rates, rng=rng)
    returns = returns_ahead(history, months, streams, last=last, rule=rule, sets=draws.rates, rng=rng)
    ahead = len(months.rest)
    expected, came_back = returns.expected[ahead:], returns.futures(draws.futures, rng)[:, ahead:]
    others_drawn, others = np.zeros_like(came_back), np.zeros((1 + draws.rates, *expected.shape))
    for stream in streams:
        others[:, :, stream.kind] += stream.means[:, ahead:]
        others_drawn[:, :, stream.kind] += stream.futures(draws.futures, rng)[:, ahead:]
    return Demand(
        months=months,
        expected=expected + others[0],
        drawn=came_back + others_drawn,
        parts=_parts(months, streams, returns),
        new_patients=next((stream.model for stream in streams if stream.kind == NEW), None),
        returns=returns,
        past=monthly_counts(history, months.whole, np.ones(len(history.day), dtype=bool)),
        returns_drawn=came_back,
        others_drawn=others_drawn,
        others=others,
    )


def _parts(months: Months, streams: list[Stream], returns: ReturnsAhead) -> pd.DataFrame:
    """Set the expected visits out by where they come from."""
    ahead = len(months.rest)
    nothing = np.zeros(len(months.ahead))
    return pd.DataFrame(
        {
            "known_patients": returns.first[0, ahead:].sum(axis=1),
            "later_returns": returns.later[0, ahead:].sum(axis=1),
            "new_patients": sum((s.means[0, ahead:] for s in streams if s.kind == NEW), nothing),
            "not_seen_before": sum((s.means[0, ahead:] for s in streams if s.kind != NEW), nothing),
        },
        index=months.ahead,
    )
