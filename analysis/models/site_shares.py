"""The clinic's forecast shared out between its sites."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.stats import chi2_contingency

from analysis.models.visit_history import KINDS
from analysis.problems import NotEnough

MONTHS_LOOKED_AT = 12
HALF = 6
FEWEST_VISITS = 50
"""Visits of the months looked at that a site needs for a forecast of its own (our choice, no source)."""
PRIOR_VISITS = 1.0
"""Visits by which a kind's shares are drawn towards those of all kinds (our choice, no source)."""
MOVED = 0.001
"""Chance below which the shares of two half-years are said to differ (our choice, no source)."""
NO_SITE = ""


@dataclass(frozen=True, eq=False)
class SiteVisits:
    """Attended visits of late by site.

    Attributes
    ----------
    names : tuple of str
        Sites with enough visits, the busiest first; then, where there are any,
        all others together under an empty name.
    counts : numpy.ndarray, shape (sites, kinds)
        Visits of the months looked at.
    small : dict of str to int
        Sites with too few visits, and how many; an empty name is no site noted.
    spread : float
        Variance of the sites' monthly shares as a multiple of chance, at least 1.
    a_month : float
        Visits of an average month.
    months : int
        Whole months looked at: twelve, or six where shares have moved.
    moved : bool
        Whether the last half-year's shares differ from those before.
    """

    names: tuple[str, ...]
    counts: np.ndarray
    small: dict[str, int]
    spread: float
    a_month: float
    months: int
    moved: bool

    @property
    def shown(self) -> list[int]:
        """Places of the sites with a figure; the rest together have one if they have visits enough."""
        many = self.counts.sum(axis=1)
        return [place for place, name in enumerate(self.names) if name != NO_SITE or many[place] >= FEWEST_VISITS]


@dataclass(frozen=True, eq=False)
class SiteCounts:
    """Attended visits by month, kind and site.

    Attributes
    ----------
    names : tuple of str
        Every site of the log; an empty name is no site noted.
    counts : numpy.ndarray, shape (months, kinds, sites)
    """

    names: tuple[str, ...]
    counts: np.ndarray

    def until(self, month: int) -> SiteCounts:
        """Give the months before one of them."""
        return SiteCounts(self.names, self.counts[:month])


def site_counts(visits: pd.DataFrame, months: pd.PeriodIndex) -> SiteCounts:
    """Count the attended visits of months by kind and site.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``; where no row says whether it was attended, all count.
    months : pandas.PeriodIndex
        Months in order, without a gap.

    Returns
    -------
    SiteCounts

    Raises
    ------
    NotEnough
        If no visit at all says its site.
    """
    if visits["site"].isna().all():
        raise NotEnough("The log does not say at which site a visit was.", "Add a column with the site to the export.")
    dated = visits[_came(visits) & visits["slot_start"].notna()]
    month = pd.PeriodIndex(dated["slot_start"], freq="M").asi8 - months.asi8[0]
    inside = (month >= 0) & (month < len(months))
    site, names = pd.factorize(dated["site"].astype("object").fillna(NO_SITE)[inside], sort=True)
    kind = pd.Categorical(dated["booking_kind"].astype("object").fillna("other")[inside], categories=KINDS).codes
    counts = np.zeros((len(months), len(KINDS), len(names)))
    np.add.at(counts, (month[inside], kind, site), 1.0)
    return SiteCounts(tuple(str(name) for name in names), counts)


def site_visits(visits: pd.DataFrame, whole: pd.PeriodIndex) -> SiteVisits:
    """Count the attended visits of the last twelve whole months by site.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``; where no row says whether it was attended, all count.
    whole : pandas.PeriodIndex
        The log's whole months.

    Returns
    -------
    SiteVisits

    Raises
    ------
    NotEnough
        If fewer than two sites have 50 visits in these months.
    """
    return shares_of_late(site_counts(visits, whole[-MONTHS_LOOKED_AT:]))


def shares_of_late(log: SiteCounts) -> SiteVisits:
    """Take the sites' shares from the last twelve months.

    Parameters
    ----------
    log : SiteCounts

    Returns
    -------
    SiteVisits

    Raises
    ------
    NotEnough
        If fewer than two sites have 50 visits in these months.

    Notes
    -----
    Where the shares of the last six months differ from those of the six before
    by more than chance (chi-squared, 1 in 1,000), the last six alone are taken.
    How far months' shares vary beyond chance is Pearson's statistic by its
    degrees of freedom.
    """
    counts = log.counts[-MONTHS_LOOKED_AT:]
    totals = dict(zip(log.names, counts.sum(axis=(0, 1)).astype(int).tolist(), strict=True))
    busiest = sorted((name for name in log.names if name != NO_SITE), key=lambda name: (-totals[name], name))
    large = [name for name in busiest if totals[name] >= FEWEST_VISITS]
    if len(large) < 2:
        raise NotEnough(*_too_few({name: totals[name] for name in busiest if totals[name]}))
    small = {name: many for name, many in totals.items() if name not in large and many}
    rest = [log.names.index(name) for name in small]
    at = counts[..., [log.names.index(name) for name in large]]
    at = np.concatenate([at, counts[..., rest].sum(axis=2, keepdims=True)], axis=2) if small else at
    moved = _moved(at.sum(axis=1))
    used = at[-HALF:] if moved else at
    names = (*large, NO_SITE) if small else tuple(large)
    a_month = float(used.sum() / len(used))
    return SiteVisits(names, used.sum(axis=0).T, small, _spread(used.sum(axis=1)), a_month, len(used), moved)


def _came(visits: pd.DataFrame) -> pd.Series:
    """Say which bookings were attended; where no row says, all that are dated."""
    told = visits["attendance"].notna().any()
    return (visits["attendance"].eq("attended") if told else visits["slot_start"].notna()).fillna(False)


def shares_by_week(visits: pd.DataFrame, sites: SiteVisits, whole: pd.PeriodIndex) -> SiteVisits:
    """Let the sites' shares vary as they have from week to week, where they are to share out weeks.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    sites : SiteVisits
        As ``site_visits`` found them.
    whole : pandas.PeriodIndex
        The log's whole months.

    Returns
    -------
    SiteVisits
        The same shares; ``spread`` is that of the weeks from Monday within the
        months looked at, and ``a_month`` the visits of an average such week.

    Notes
    -----
    Sites that open on few days differ more from week to week than from month
    to month. Pearson's statistic by its degrees of freedom, as for months.
    """
    months = whole[-sites.months :]
    week = visits["slot_start"].dt.to_period("W")
    inside = (week.dt.start_time >= months[0].start_time) & (week.dt.end_time <= months[-1].end_time)
    seen = visits[_came(visits) & inside.fillna(False)]
    if seen.empty:
        return sites
    place = seen["site"].astype("object").where(seen["site"].isin(sites.names), NO_SITE)
    by_week = pd.crosstab(week[seen.index], place).reindex(columns=list(sites.names), fill_value=0)
    counts = by_week.to_numpy(dtype=float)
    return replace(sites, spread=_spread(counts), a_month=float(counts.sum() / len(counts)))


def _too_few(totals: dict[str, int]) -> tuple[str, str]:
    """Say why there is nothing to share out."""
    held = "; ".join(f"{site} {many:,}" for site, many in totals.items())
    if len(totals) < 2:
        return "The log holds one site only, so the clinic's forecast is its forecast.", "Nothing need be recorded."
    return (
        f"Fewer than two sites have {FEWEST_VISITS} visits in the last months ({held}).",
        "Ask again when more sites have as many.",
    )


def _moved(by_month: np.ndarray) -> bool:
    """Say whether the last half-year's shares differ from those before."""
    if len(by_month) < 2 * HALF:
        return False
    halves = np.array([by_month[:-HALF].sum(axis=0), by_month[-HALF:].sum(axis=0)])
    if not (halves.sum(axis=1) > 0).all():
        return False
    kept = halves[:, halves.sum(axis=0) > 0]
    return kept.shape[1] > 1 and bool(chi2_contingency(kept, correction=False).pvalue < MOVED)


def _spread(by_month: np.ndarray) -> float:
    """Give Pearson's statistic of the months' shares by its degrees of freedom, at least 1."""
    busy = by_month[by_month.sum(axis=1) > 0]
    if len(busy) < 2:
        return 1.0
    found = chi2_contingency(busy[:, busy.sum(axis=0) > 0], correction=False)
    return max(1.0, float(found.statistic / max(found.dof, 1)))


def expected_by_site(expected: np.ndarray, sites: SiteVisits) -> np.ndarray:
    """Share expected visits out; shape (months, kinds, sites), adding up to ``expected``."""
    weights = _weights(sites)
    return expected[:, :, None] * (weights / weights.sum(axis=1, keepdims=True))


def drawn_by_site(drawn: np.ndarray, sites: SiteVisits, rng: np.random.Generator) -> np.ndarray:
    """Share drawn visits out between the sites.

    Parameters
    ----------
    drawn : numpy.ndarray, shape (futures, months, kinds)
        Visits of the clinic: whole numbers.
    sites : SiteVisits
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray, shape (futures, months, kinds, sites)
        Whole numbers that add up to ``drawn``.

    Notes
    -----
    Each future has its own shares, by kind, as uncertain as so many visits
    leave them (Dirichlet). Given these, whose visit each is, is chance
    (multinomial); where months' shares have varied beyond chance, so do they
    here (Dirichlet around the future's own shares, with that variance).

    Examples
    --------
    >>> sites = SiteVisits(("north", "south"), np.full((2, 5), 30.0), {}, 1.0, 300.0, 12, False)
    >>> drawn = np.full((3, 2, 5), 20.0)
    >>> bool((drawn_by_site(drawn, sites, np.random.default_rng(1)).sum(axis=3) == drawn).all())
    True
    """
    futures, months, kinds = drawn.shape
    weights = _weights(sites)
    shares = rng.standard_gamma(np.broadcast_to(weights, (futures, *weights.shape)))
    shares = np.broadcast_to(_to_one(shares)[:, None], (futures, months, kinds, len(sites.names)))
    if sites.spread > 1:
        steadiness = max((sites.a_month - 1) / (sites.spread - 1) - 1, 1.0)
        shares = _to_one(rng.standard_gamma(steadiness * shares))
    return rng.multinomial(drawn.astype(np.int64), shares).astype(float)


def _weights(sites: SiteVisits) -> np.ndarray:
    """Visits by kind and site, each kind's drawn a little towards those of all kinds; shape (kinds, sites)."""
    overall = sites.counts.sum(axis=1) / sites.counts.sum()
    return sites.counts.T + PRIOR_VISITS * overall


def _to_one(values: np.ndarray) -> np.ndarray:
    """Divide by the sum over sites, within what a multinomial takes for adding up to one."""
    values = np.maximum(values, 1e-12)
    return values / values.sum(axis=-1, keepdims=True)
