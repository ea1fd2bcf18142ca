"""Minutes foretold at booking, checked on later visits that they were not fitted on."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pandas as pd

from analysis.models.booking_categories import (
    FEWEST_IN_KIND,
    SHARES,
    booking_categories,
    category_means,
    category_quantiles,
)
from analysis.models.booking_facts import FACTS
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.visit_time import fit_sample
from analysis.problems import NotEnough
from analysis.settings import VisitTimePart
from analysis.stats.estimate import Estimate
from analysis.stats.gamma import mixture_quantile
from analysis.stats.places import place_of
from analysis.stats.proportions import wilson_share
from analysis.stats.quantiles import pinball_losses

FEWEST_IN_LEVEL = 100
"""Visits either side of a further fact needs (a rule of caution, no source)."""
FEWEST_HELD_OUT = 100
PRICE_OF_A_CATEGORY = 0.01
"""Share of the held-out loss that one more category costs whoever books, to be saved beyond one standard error of the
saving: the one-standard-error rule of Breiman, Friedman, Olshen and Stone (1984), with a price (of our own, no source)."""
NOT_KNOWN, PRACTITIONER = "", "practitioner"
CHOOSE_FROM, CHECK_FROM = 0.6, 0.8
"""Facts are chosen on the visits between these parts of the log; coverage is told on what follows."""


def fact_gains(fitted: FittedVisitTime, facts: pd.DataFrame, settings: VisitTimePart) -> pd.DataFrame:
    """Share of the held-out loss that asking one further fact would save, kind by kind.

    Parameters
    ----------
    fitted : FittedVisitTime
    facts : pandas.DataFrame
        As ``booking_facts`` gives them, one row a fitted visit.
    settings : VisitTimePart

    Returns
    -------
    pandas.DataFrame
        ``booking_kind``, ``fact``, ``gain``, ``error`` (its standard error, a patient's visits going together),
        ``visits`` held out, ``chosen``: the best fact of its kind, if it saves ``PRICE_OF_A_CATEGORY`` beyond one
        standard error. Without rows where the log is too short. Practitioners are weighed but never chosen:
        who needs longer slots is a question of its own.
    """
    later = _later(fitted, CHOOSE_FROM, CHECK_FROM)
    earlier = _part(fitted, settings, CHOOSE_FROM) if later.sum() >= FEWEST_HELD_OUT else None
    columns = ["booking_kind", "fact", "gain", "error", "visits", "chosen"]
    if earlier is None:
        return pd.DataFrame(columns=columns).astype({"chosen": bool})
    before = _facts_of(earlier, fitted, facts)
    rows = []
    for kind in sorted(set(before["booking_kind"])):
        rows += _gains_of_kind(kind, earlier, before, fitted, facts, later)
    return pd.DataFrame(rows, columns=columns).astype({"chosen": bool})


def _gains_of_kind(
    kind: str,
    earlier: FittedVisitTime,
    before: pd.DataFrame,
    fitted: FittedVisitTime,
    facts: pd.DataFrame,
    later: np.ndarray,
) -> list[list]:
    """Work out the gains of one kind's facts, those with two levels common enough; mark the chosen one."""
    mine, theirs = (before["booking_kind"] == kind).to_numpy(), later & (facts["booking_kind"] == kind).to_numpy()
    if min(mine.sum(), theirs.sum()) < FEWEST_HELD_OUT:
        return []
    actual = fitted.minutes[theirs]
    plain = _losses(earlier, mine, np.full(len(mine), NOT_KNOWN), actual, np.full(len(actual), NOT_KNOWN))
    gains, errors, patients = {}, {}, pd.factorize(fitted.patients[theirs])[0]
    for fact in (*FACTS, PRACTITIONER):
        levels = before[fact].fillna(NOT_KNOWN).to_numpy(dtype=str)
        sizes = pd.Series(levels[mine & (levels != NOT_KNOWN)]).value_counts()
        if (sizes >= FEWEST_IN_LEVEL).sum() >= 2:
            actual_levels = facts.loc[theirs, fact].fillna(NOT_KNOWN).to_numpy(dtype=str)
            saved = (plain - _losses(earlier, mine, levels, actual, actual_levels)) / plain.mean()
            gains[fact] = float(saved.mean())
            errors[fact] = float(np.sqrt((np.bincount(patients, saved - saved.mean()) ** 2).sum()) / len(saved))
    best = max(
        (fact for fact in gains if fact != PRACTITIONER), key=lambda fact: gains[fact] - errors[fact], default=None
    )
    return [
        [kind, fact, gain, errors[fact], len(actual), fact == best and gain - errors[fact] >= PRICE_OF_A_CATEGORY]
        for fact, gain in gains.items()
    ]


def _losses(
    earlier: FittedVisitTime, mine: np.ndarray, levels: np.ndarray, actual: np.ndarray, actual_levels: np.ndarray
) -> np.ndarray:
    """Pinball loss of each visit's quantiles foretold by level; a level not seen before is foretold by all."""
    losses = np.zeros(len(actual))
    for level in np.unique(actual_levels):
        seen = mine & (levels == level) if (mine & (levels == level)).sum() >= FEWEST_IN_KIND else mine
        here = actual[actual_levels == level]
        means = earlier.means[seen] * earlier.minutes[seen].sum() / earlier.means[seen].sum()
        for share in SHARES:
            foretold = mixture_quantile(share, means, np.ones(len(means)), earlier.shape)
            losses[actual_levels == level] += pinball_losses(here, foretold, share) / len(SHARES)
    return losses


def held_out_coverage(
    fitted: FittedVisitTime,
    facts: pd.DataFrame,
    splits: dict[str, str],
    settings: VisitTimePart,
    own: Collection[str] = (),
) -> dict[float, Estimate]:
    """Share of the log's last fifth within the quantiles foretold from the visits before it.

    Parameters
    ----------
    fitted, facts, settings
        As for ``fact_gains``.
    splits : dict of str to str
        For each kind that is split, the fact it is split by.
    own : collection of str, optional
        The owner's own kinds.

    Returns
    -------
    dict of float to Estimate
        By quantile; empty where the log is too short.
    """
    later = _later(fitted, CHECK_FROM, 1.0)
    earlier = _part(fitted, settings, CHECK_FROM) if later.sum() >= FEWEST_HELD_OUT else None
    if earlier is None:
        return {}
    before = _facts_of(earlier, fitted, facts)
    categories, of_before = booking_categories(before, splits, own)
    _, of_visit = booking_categories(facts, splits, own)
    means = category_means(earlier.means, earlier.minutes, of_before)
    foretold = category_quantiles(means, earlier.shape, of_before, list(categories.index))
    known = later & np.isin(of_visit.astype(str), categories.index)
    actual, names = fitted.minutes[known], of_visit[known]
    covered = {}
    for share in SHARES:
        within = actual <= np.array([foretold[name, share] for name in names])
        covered[share] = wilson_share(int(within.sum()), len(within), fitted.level)
    return covered


def _part(fitted: FittedVisitTime, settings: VisitTimePart, upto: float) -> FittedVisitTime | None:
    """Fit the first part of the log; None where that is too little."""
    slots = fitted.sample.visits["slot_start"]
    try:
        return fit_sample(fitted.sample.before(slots.iloc[int(len(slots) * upto)]), settings, level=fitted.level)
    except NotEnough:
        return None


def _facts_of(earlier: FittedVisitTime, fitted: FittedVisitTime, facts: pd.DataFrame) -> pd.DataFrame:
    """Take the facts of the visits of an earlier fit."""
    place = place_of(earlier.sample.visits["visit_id"], fitted.sample.visits["visit_id"])
    return facts.iloc[place].reset_index(drop=True)


def _later(fitted: FittedVisitTime, start: float, end: float) -> np.ndarray:
    """Mark the fitted visits between two parts of the log."""
    place = np.arange(len(fitted.means))
    slots = fitted.sample.visits["slot_start"].to_numpy()
    return (slots >= slots[int(len(place) * start)]) & (place < len(place) * end)
