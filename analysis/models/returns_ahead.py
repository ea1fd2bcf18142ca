"""Returns of the months ahead: expected, and drawn with what is uncertain about them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.new_patients import FEWEST_MONTHS, fit_season
from analysis.models.opening_days import Months, month_edges
from analysis.models.return_projection import month_chances, project, returns_by_month, week_shares, weeks_needed
from analysis.models.return_table import (
    STRATA,
    WEEK,
    ReturnTable,
    return_table,
    waiting_patients,
    with_recall_uptake,
)
from analysis.models.visit_history import KINDS, NEW, History
from analysis.models.visit_streams import Stream, mostly_keyed
from analysis.stats.poisson_binomial import matched_binomial_draws, poisson_binomial_moments

LEAST_EXPECTED = 0.5
"""Months of which fewer returns are expected say nothing of the season."""
RECALL = KINDS.index("routine_recall")
YEAR = 365


@dataclass(frozen=True, eq=False)
class Rule:
    """How routine recalls are taken: from the log, or by the owner's rule.

    Attributes
    ----------
    uptake : float
        Share of those called back who come, 0 to 1; below 0 the log's own returns stand.
    months : int
        Months after the last visit at which patients are called back.
    """

    uptake: float = -1.0
    months: int = 12


@dataclass(frozen=True, eq=False)
class Walk:
    """What returns are walked through with, so that they can be walked through again under other rules.

    Attributes
    ----------
    waiting : numpy.ndarray, shape (strata, ages)
        Known patients by weeks since their last visit.
    entrants : numpy.ndarray, shape (1 + sets, strata, weeks)
        Patients expected to be seen for the first time.
    rates : numpy.ndarray, shape (1 + sets, strata, kinds, ages)
        Weekly return rates: likeliest first, then as uncertain as they are.
    scale : numpy.ndarray, shape (weeks,)
        Each week's opening days and season, as a multiple of the usual.
    share : numpy.ndarray, shape (weeks, months walked)
        Share of each week's days in each month.
    """

    waiting: np.ndarray
    entrants: np.ndarray
    rates: np.ndarray
    scale: np.ndarray
    share: np.ndarray


@dataclass(frozen=True, eq=False)
class ReturnsAhead:
    """Returns of the months walked through, the rest of a broken month first.

    Attributes
    ----------
    first : numpy.ndarray, shape (1 + sets, months, kinds)
        Expected next visits of known patients: likeliest rates first, then
        rates as uncertain as they are.
    later : numpy.ndarray, shape (1 + sets, months, kinds)
        Expected returns after a visit that itself lies ahead.
    spread_ratio : numpy.ndarray, shape (months, kinds)
        Variance of known patients' visits by their mean, at most 1; exact.
    month_variance : float
        How much months' returns vary together, beyond chance.
    table : ReturnTable or None
        None where too few visits carry a patient number; then all is nought.
    known : int
        Patients whose return was looked at.
    walk : Walk or None
        None where there is no table.
    """

    first: np.ndarray
    later: np.ndarray
    spread_ratio: np.ndarray
    month_variance: float
    table: ReturnTable | None
    known: int
    walk: Walk | None = None

    @property
    def expected(self) -> np.ndarray:
        """Expected returns by month and kind."""
        return self.first[0] + self.later[0]

    def futures(self, futures: int, rng: np.random.Generator) -> np.ndarray:
        """Draw returns, shape (futures, months, kinds)."""
        sets = 1 + np.arange(futures) % (len(self.first) - 1)
        shared = np.ones((futures, self.first.shape[1], 1))
        if self.month_variance > 0:
            shared = rng.gamma(1 / self.month_variance, self.month_variance, size=shared.shape)
        known = matched_binomial_draws(self.first[sets] * shared, self.spread_ratio, rng)
        return known + rng.poisson(self.later[sets] * shared)


def returns_ahead(
    history: History,
    months: Months,
    streams: list[Stream],
    *,
    last: int,
    rule: Rule,
    sets: int,
    rng: np.random.Generator,
) -> ReturnsAhead:
    """Expect the returns of every known patient, and of those yet to come.

    Parameters
    ----------
    history : History
        Attended visits up to ``last``.
    months : Months
    streams : list of Stream
        Visits ahead of patients not seen before; they return in their turn.
    last : int
        Last day the log covers, counted from 1 January 1970.
    rule : Rule
        How routine recalls are taken.
    sets : int
        Sets of rates to draw.
    rng : numpy.random.Generator

    Returns
    -------
    ReturnsAhead
    """
    share = week_shares(month_edges(months.walked), last=last)
    if not mostly_keyed(history):
        nothing = np.zeros((1 + sets, len(months.walked), len(KINDS)))
        return ReturnsAhead(nothing, nothing, np.ones(nothing.shape[1:]), 0.0, None, 0)
    weeks = weeks_needed(first=int(history.day.min()), last=last, weeks_ahead=len(share))
    table = return_table(history, last=last, weeks=weeks)
    rates = np.concatenate([table.rates(), table.rate_draws(sets, rng)])
    season, spread = _season(history, months, rates[0])
    if rule.uptake >= 0:
        rates = with_recall_uptake(rates, recall_months=rule.months, uptake=rule.uptake, kind=RECALL)
    ahead_scale = _scale(months.walked, months.open_walked, months.open_per_day) * season
    scale = share @ ahead_scale + (1 - share.sum(axis=1))
    waiting = waiting_patients(history, last=last, weeks=weeks)
    walk = Walk(waiting, _entrants(history, streams, months.walked, share, last), rates, scale, share)
    projection = project(walk.waiting, walk.entrants, rates, scale)
    return ReturnsAhead(
        first=np.einsum("bwk,wm->bmk", projection.first, share),
        later=np.einsum("bwk,wm->bmk", projection.later, share),
        spread_ratio=_spread_ratio(waiting, month_chances(rates[0], scale, share)),
        month_variance=spread,
        table=table,
        known=round(waiting.sum()),
        walk=walk,
    )


def _scale(months: pd.PeriodIndex, open_days: np.ndarray, open_per_day: float) -> np.ndarray:
    """Give opening days as a multiple of what the months' lengths would have."""
    starts, stops = month_edges(months)
    return open_days / np.maximum((stops - starts) * open_per_day, 1e-9)


def _season(history: History, months: Months, rates: np.ndarray) -> tuple[np.ndarray, float]:
    """Give each month ahead's departure from the rates by the time of year, and what varies beyond that."""
    came, expected = returns_by_month(history, rates, month_edges(months.whole))
    expected = expected * _scale(months.whole, months.open_whole, months.open_per_day)
    usable = expected >= LEAST_EXPECTED
    if usable.sum() < FEWEST_MONTHS or not came[usable].any():
        return np.ones(len(months.walked)), 0.0
    model = fit_season(came[usable], months.whole[usable], expected[usable])
    return model.means(months.walked, np.ones(len(months.walked))), model.fit.corrected_dispersion


def _entrants(
    history: History, streams: list[Stream], months: pd.PeriodIndex, share: np.ndarray, last: int
) -> np.ndarray:
    """Expect patients seen for the first time in each week ahead, by stratum."""
    starts, stops = month_edges(months)
    by_week = share * WEEK / (stops - starts)
    seen = np.zeros((len(streams[0].means), STRATA, len(share)))
    recent = history.since(last - YEAR + 1)
    many = np.bincount(history.kind[recent], minlength=len(KINDS))
    aided = np.bincount(history.kind[recent], history.hearing_aid[recent], minlength=len(KINDS))
    for stream in streams:
        aid = aided[stream.kind] / max(many[stream.kind], 1)
        weekly = stream.means @ by_week.T * stream.keyed
        returner = int(stream.kind != NEW)
        seen[:, returner] += weekly * (1 - aid)
        seen[:, 2 + returner] += weekly * aid
    return seen


def _spread_ratio(waiting: np.ndarray, chances: np.ndarray) -> np.ndarray:
    """Give the exact variance of known patients' visits, by their mean."""
    many = waiting[:, : chances.shape[1], None, None]
    mean, variance = poisson_binomial_moments(chances, many, axis=(0, 1))
    return np.divide(variance, mean, out=np.ones_like(mean), where=mean > 0)
