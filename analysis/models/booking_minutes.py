"""Minutes to expect from what is known when a visit is booked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.booking_categories import booking_categories, category_means, category_quantiles, means_as_logged
from analysis.models.booking_checks import fact_gains, held_out_coverage
from analysis.models.booking_facts import booking_facts
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.settings import VisitTimePart
from analysis.stats.cells import Cells, cells_of
from analysis.stats.estimate import Estimate
from analysis.stats.places import place_of
from analysis.stats.resampling import cluster_weights, percentile_range

MOST_BINS = 60
METHOD = "mixture of gamma distributions over the log's own visits; ranges by drawing patients again"


@dataclass(frozen=True, eq=False)
class BookingMinutes:
    """The minutes to expect by booking category.

    Attributes
    ----------
    categories : pandas.DataFrame, indexed by ``booking``
        ``booking_kind``, ``fact`` and ``known`` (the further fact it hangs on
        and its level; empty without), ``or_not_known`` (visits of which the
        fact is not known are with it), ``visits``. In order of kind.
    of_visit : numpy.ndarray of object, shape (visits,)
        Each fitted visit's category; None where its kind is too rare for one.
    held_out : dict of float to Estimate
        Share of the log's last visits that stayed within the quantile foretold
        from the visits before them. Empty where the log is too short to tell.
    gains : pandas.DataFrame
        ``booking_kind``, ``fact``, ``gain`` (share of the held-out loss saved by
        asking it as well), ``error`` (its standard error), ``visits``, ``chosen``.
    """

    categories: pd.DataFrame
    of_visit: np.ndarray
    held_out: dict[float, Estimate]
    gains: pd.DataFrame


def fit_booking_minutes(
    visits: pd.DataFrame,
    ears: pd.DataFrame,
    fitted: FittedVisitTime,
    settings: VisitTimePart,
    own: dict[str, str] | None = None,
) -> BookingMinutes:
    """Say how long visits of each booking category take, and check it on visits not used.

    Parameters
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS``.
    fitted : FittedVisitTime
        Fitted on the same tables.
    settings : VisitTimePart
    own : dict of str to str, optional
        The owner's own categories: kinds, and the fact each is split by, empty without.

    Returns
    -------
    BookingMinutes

    Notes
    -----
    At booking the ears are not yet seen. The distribution of minutes is the
    mixture, over the log's own visits of the category, of gamma distributions
    around their fitted means, scaled to the category's own mean. A category is a kind of booking, split by one
    further fact at most: the one that saves most of the loss (mean pinball loss
    at 0.5, 0.8 and 0.9) on held-out visits, if beyond one standard error it saves
    1 in 100 of it, the price of one more category. Held-out visits are later than the fitted ones: facts are chosen on the
    fourth fifth of the log, coverage is told on the last fifth.
    """
    facts = booking_facts(visits, ears)
    facts = facts.iloc[place_of(fitted.sample.visits["visit_id"], facts.index.to_series())].reset_index(drop=True)
    gains = fact_gains(fitted, facts, settings)
    best = gains[gains["chosen"]].sort_values("gain", ascending=False, kind="stable")
    found: dict[str, str] = dict(best[["booking_kind", "fact"]].itertuples(index=False))
    splits = {kind: fact for kind, fact in own.items() if fact} if own else found
    categories, of_visit = booking_categories(facts, splits, own or ())
    return BookingMinutes(
        categories=categories,
        of_visit=of_visit,
        held_out=held_out_coverage(fitted, facts, splits, settings, own or ()),
        gains=gains,
    )


def booking_quantiles(
    fitted: FittedVisitTime, expected: BookingMinutes, *, rng: np.random.Generator, draws: int = 100
) -> dict[tuple[str, float], Estimate]:
    """Minutes that half, 8 in 10 and 9 in 10 visits of each booking category stay within, with ranges.

    Parameters
    ----------
    fitted : FittedVisitTime
    expected : BookingMinutes
        Made from ``fitted``.
    rng : numpy.random.Generator
    draws : int, optional
        How often patients are drawn again.

    Returns
    -------
    dict of (str, float) to Estimate
        By category and share.
    """
    of_visit, names = expected.of_visit, list(expected.categories.index)
    means = category_means(fitted.means, fitted.minutes, of_visit)
    exact = category_quantiles(means, fitted.shape, of_visit, names)
    which, _ = pd.factorize(pd.Series(of_visit).astype("object"), use_na_sentinel=False)
    alike = cells_of(fitted.alike_visits.of_row, which)
    of_cell = of_visit[alike.first]
    base = _coarse(means[alike.first], fitted.shape, of_cell, names, alike.size.astype(float))
    drawn = [
        _redrawn(fitted, alike, which[alike.first], of_cell, names, weights)
        for weights in cluster_weights(fitted.patients, draws=draws, rng=rng)
    ]
    found = {}
    for key, value in exact.items():
        again, n = np.array([each[key] for each in drawn]), int((of_visit == key[0]).sum())
        kept = again[~np.isnan(again)]
        found[key] = percentile_range(value, base[key], kept, level=fitted.level, n=n, method=METHOD)
    return found


def _redrawn(
    fitted: FittedVisitTime, alike: Cells, which: np.ndarray, of_cell: np.ndarray, names: list[str], weights: np.ndarray
) -> dict[tuple[str, float], float]:
    """Give the quantiles, had each visit counted so often."""
    means, shape = fitted.redrawn(weights)
    often, took = alike.sums(weights), alike.sums(weights * fitted.minutes)
    return _coarse(means_as_logged(means[alike.first], which, often, took), shape, of_cell, names, often)


def _coarse(
    means: np.ndarray, shape: float, of_visit: np.ndarray, names: list[str], weights: np.ndarray
) -> dict[tuple[str, float], float]:
    """Do as ``category_quantiles``, with means of like size put together for speed."""
    some_means, some_weights, some_names = [], [], []
    for name in names:
        mine = np.flatnonzero(of_visit == name)
        order = mine[np.argsort(means[mine], kind="stable")]
        for bin_ in np.array_split(order, min(MOST_BINS, len(order))):
            total = weights[bin_].sum()
            if total > 0:
                some_means.append(weights[bin_] @ means[bin_] / total)
                some_weights.append(total)
                some_names.append(name)
    return category_quantiles(
        np.array(some_means), shape, np.array(some_names, dtype=object), names, np.array(some_weights)
    )
