"""The figures behind "how many will come in each week", by kind of visit and by site."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.answers.demand_figures import LEAST_SHOWN, SEED, Figures, demand_figures
from analysis.clinic import Clinic
from analysis.models.demand import count_range
from analysis.models.return_table import WEEK
from analysis.models.site_shares import (
    SiteVisits,
    drawn_by_site,
    expected_by_site,
    shares_by_week,
    site_visits,
)
from analysis.models.visit_history import KINDS, day_number
from analysis.models.weeks_ahead import LEAST_EXPECTED, Weeks, drawn_by_week, week_shares_drawn, weeks_ahead
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

METHOD = "the months' forecast shared out over opening days"
LEVEL = 0.80
DRAWS_TRIED = 500
REST = "other sites together"


@dataclass(frozen=True, eq=False)
class SiteWeeks:
    """The weeks shared out between the sites.

    Attributes
    ----------
    sites : SiteVisits
        With how far the sites' shares vary from week to week.
    expected : numpy.ndarray, shape (weeks, kinds, sites)
    drawn : numpy.ndarray, shape (futures, weeks, kinds, sites)
    """

    sites: SiteVisits
    expected: np.ndarray
    drawn: np.ndarray


@dataclass(frozen=True, eq=False)
class WeekForecast:
    """The forecast by week.

    Attributes
    ----------
    figures : Figures
    weeks : Weeks
    expected : numpy.ndarray, shape (weeks, kinds)
    drawn : numpy.ndarray, shape (futures, weeks, kinds)
    held : float
        Share of past weeks within their 8-in-10 range, given their month's visits.
    at_sites : SiteWeeks or NotEnough
        By site, or why the weeks cannot be shared out between sites.
    """

    figures: Figures
    weeks: Weeks
    expected: np.ndarray
    drawn: np.ndarray
    held: float
    at_sites: SiteWeeks | NotEnough

    def estimate(self, week: int, level: float, kind: int | None = None) -> Estimate:
        """Give one week's visits, of one kind or all, with their range."""
        return _estimate(self.expected[week], self.drawn[:, week], level, kind, len(self.figures.history.day))

    def estimate_at(self, site: int, week: int, level: float, kind: int | None = None) -> Estimate:
        """Give one week's visits at one site, of one kind or all, with their range."""
        if isinstance(self.at_sites, NotEnough):
            raise self.at_sites
        at = self.at_sites
        n = int(at.sites.counts[site].sum())
        return _estimate(at.expected[week, :, site], at.drawn[:, week, :, site], level, kind, n)

    @property
    def kinds(self) -> dict[str, int]:
        """Kinds of visit with a figure, and their places."""
        return {name: place for place, name in enumerate(KINDS) if self.expected[:, place].max() > LEAST_SHOWN}

    @property
    def sites(self) -> dict[str, int]:
        """Sites with a figure, by the name they are shown under, and their places."""
        if isinstance(self.at_sites, NotEnough):
            return {}
        sites = self.at_sites.sites
        return {sites.names[place] or REST: place for place in sites.shown}

    @property
    def whole(self) -> np.ndarray:
        """Places of the weeks that lie within the months ahead altogether."""
        return np.flatnonzero(self.weeks.days == WEEK)


def _estimate(expected: np.ndarray, drawn: np.ndarray, level: float, kind: int | None, n: int) -> Estimate:
    """Sum the kinds asked for; the range holds the expected figure, however lopsided the futures."""
    which = slice(None) if kind is None else slice(kind, kind + 1)
    value = float(expected[which].sum())
    low, high = count_range(drawn[:, which].sum(axis=1), level)
    return Estimate(value, min(float(low), value), max(float(high), value), level, n, METHOD)


def week_forecast(clinic: Clinic) -> WeekForecast:
    """Share the months' forecast out over weeks, and the weeks between sites.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    WeekForecast

    Raises
    ------
    NotEnough
        Where the log is too short for a forecast.
    """
    figures, rng = demand_figures(clinic), np.random.default_rng(SEED + 3)
    first, last = day_number(figures.first_day), day_number(figures.last_day)
    weeks = weeks_ahead(figures.history, figures.demand.months, first=first, last=last)
    expected = np.einsum("mk,mw->wk", figures.demand.expected, weeks.share)
    drawn = drawn_by_week(figures.demand.drawn, weeks, rng)
    held = _share_held(weeks, rng)
    return WeekForecast(figures, weeks, expected, drawn, held, _at_sites(clinic.visits, figures, expected, drawn))


def _at_sites(visits: pd.DataFrame, figures: Figures, expected: np.ndarray, drawn: np.ndarray) -> SiteWeeks | NotEnough:
    """Share weeks out between sites by their visits of late, or say why not."""
    try:
        sites = site_visits(visits, figures.demand.months.whole)
    except NotEnough as reason:
        return reason  # the weeks of the whole clinic are still forecast; the answer says that sites are not
    by_week = shares_by_week(visits, sites, figures.demand.months.whole)
    at = drawn_by_site(drawn, by_week, np.random.default_rng(SEED + 4))
    return SiteWeeks(by_week, expected_by_site(expected, by_week), at)


def _share_held(weeks: Weeks, rng: np.random.Generator) -> float:
    """Share of past weeks, or their parts in a month, within the range the sharing-out alone gives."""
    came, month_came, share = (weeks.tried[weeks.tried[:, 1] * weeks.tried[:, 2] >= LEAST_EXPECTED]).T
    if not len(came):
        return float("nan")
    alone = [
        week_shares_drawn(np.array([one, 1 - one]), weeks, DRAWS_TRIED, rng)[:, 0]
        for one in np.minimum(share, 1 - 1e-9)
    ]
    drawn = rng.binomial(month_came.astype(np.int64)[:, None], np.array(alone)).T
    low, high = count_range(drawn.astype(float), LEVEL)
    return float(((came >= low) & (came <= high)).mean())
