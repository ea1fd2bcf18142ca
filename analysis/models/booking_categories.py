"""Booking categories: what a receptionist can tell apart, and the minutes of each."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
import pandas as pd

from analysis.models.booking_facts import ANY_KIND, FACTS
from analysis.schema import BOOKING_KINDS
from analysis.stats.gamma import mixture_quantile

MOST_CATEGORIES = 4
SHARES = (0.5, 0.8, 0.9)
FEWEST_IN_KIND = 30
"""Visits a kind of booking needs for minutes of its own (a rule of caution, no source)."""


def booking_categories(
    facts: pd.DataFrame, splits: dict[str, str], own: Collection[str] = ()
) -> tuple[pd.DataFrame, np.ndarray]:
    """Sort visits into booking categories: kinds, some of them split by one further fact.

    Parameters
    ----------
    facts : pandas.DataFrame
        As ``booking_facts`` gives them, one row a visit.
    splits : dict of str to str
        For each kind to be split, the fact it is split by; the most worth first.
    own : collection of str, optional
        The owner's own kinds: each has its category, every other kind is ``other``.

    Returns
    -------
    pandas.DataFrame, indexed by ``booking``
        ``booking_kind``, ``fact``, ``known``, ``or_not_known`` (it holds the
        visits whose fact is not recorded as well) and ``visits``, in order of kind.
    numpy.ndarray of object, shape (visits,)
        Each visit's category.

    Notes
    -----
    At most four categories, unless they are the owner's: beyond that the
    splits worth least are left out, then the rarest kinds go with ``other``.
    Kinds of fewer than 30 visits are put together as ``other``; where they
    are too few even so, their visits have no category (None). A visit whose
    further fact is not recorded goes with the commoner level of its kind.

    Examples
    --------
    >>> facts = pd.DataFrame({"booking_kind": ["new"] * 40 + ["routine_recall"] * 20})
    >>> categories, of_visit = booking_categories(facts, {})
    >>> categories["visits"].to_dict(), of_visit[-1] is None
    ({'new': 40}, True)
    """
    counts = facts["booking_kind"].value_counts()
    common, splits = _few_enough(counts, splits, own)
    rare = ~facts["booking_kind"].isin(common) | (facts["booking_kind"] == ANY_KIND)
    kind = facts["booking_kind"].astype("object").mask(rare, ANY_KIND if rare.sum() >= FEWEST_IN_KIND else None)
    rows, of_visit = [], np.full(len(facts), None, dtype=object)
    for each in [name for name in BOOKING_KINDS if (kind == name).any()]:
        mine = (kind == each).to_numpy(dtype=bool)
        fact = splits.get(each, "")
        commonest = facts.loc[mine, fact].mode().iloc[0] if fact else ""
        level = facts[fact].fillna(commonest) if fact else None
        for known in [""] if level is None else sorted(FACTS[fact]):
            here = mine if level is None else mine & (level == known).to_numpy(dtype=bool)
            name = each if level is None else f"{each}, {fact}={known}"
            of_visit[here] = name
            blanks = bool(fact) and known == commonest and bool(facts.loc[mine, fact].isna().any())
            rows.append([name, each, fact, known, blanks, int(here.sum())])
    return pd.DataFrame(rows, columns=["booking", "booking_kind", "fact", "known", "or_not_known", "visits"]).set_index(
        "booking"
    ), of_visit


def _few_enough(counts: pd.Series, splits: dict[str, str], own: Collection[str]) -> tuple[list[str], dict[str, str]]:
    """Give the kinds with a category of their own and their splits, so that all categories are four at most."""
    common = [str(kind) for kind in counts.index if kind != ANY_KIND and counts[kind] >= FEWEST_IN_KIND]
    if own:
        return [kind for kind in common if kind in own], splits
    kept = {kind: fact for kind, fact in splits.items() if kind in common or kind == ANY_KIND}
    while len(common) > 1 and _how_many(counts, common, kept) > MOST_CATEGORIES:
        if kept:
            kept.popitem()
        else:
            common = common[:-1]
    return common, kept


def _how_many(counts: pd.Series, common: list[str], splits: dict[str, str]) -> int:
    """Count categories: the common kinds, a second for every split, and ``other`` where enough is left for it."""
    left = int(counts[[kind for kind in counts.index if kind not in common]].sum())
    return len(common) + len(splits) + (left >= FEWEST_IN_KIND)


def sorted_into(facts: pd.DataFrame, categories: pd.DataFrame) -> pd.Series:
    """Sort further visits into booking categories that were found on others.

    Parameters
    ----------
    facts : pandas.DataFrame, indexed by ``visit_id``
        As ``booking_facts`` gives them.
    categories : pandas.DataFrame
        As ``booking_categories`` gives them.

    Returns
    -------
    pandas.Series of object, indexed by ``visit_id``
        A kind without a category of its own goes with ``other``, if there is one; else None.
    """
    kinds = set(categories["booking_kind"])
    kind = facts["booking_kind"].where(facts["booking_kind"].isin(kinds), ANY_KIND)
    of_visit = pd.Series(None, index=facts.index, dtype=object)
    for name, one in categories.to_dict("index").items():
        here = kind == one["booking_kind"]
        if one["fact"]:
            level = facts[one["fact"]]
            here &= (level == one["known"]).fillna(False) | (level.isna() & bool(one["or_not_known"]))
        of_visit[here] = name
    return of_visit


def category_means(
    means: np.ndarray, minutes: np.ndarray, of_visit: np.ndarray, weights: np.ndarray | None = None
) -> np.ndarray:
    """Scale fitted means so that each category's visits take on average what they took in the log.

    A fact known at booking may go with longer visits for reasons the ears do
    not show; the fit knows nothing of it, the category's own mean does.

    Parameters
    ----------
    means, minutes : numpy.ndarray, shape (visits,)
        Fitted mean and actual minutes of each visit.
    of_visit : numpy.ndarray, shape (visits,)
        Each visit's category, of any kind that can be compared.
    weights : numpy.ndarray, shape (visits,), optional
        How often each visit counts.

    Returns
    -------
    numpy.ndarray, shape (visits,)

    Examples
    --------
    >>> category_means(np.array([10.0, 20.0]), np.array([18.0, 18.0]), np.array(["new", "new"])).tolist()
    [12.0, 24.0]
    """
    which, _ = pd.factorize(pd.Series(of_visit).astype("object").fillna(""))
    counts = np.ones(len(means)) if weights is None else weights
    return means_as_logged(means, which, counts, counts * minutes)


def means_as_logged(means: np.ndarray, which: np.ndarray, often: np.ndarray, took: np.ndarray) -> np.ndarray:
    """Do as ``category_means`` for alike visits together: how often each counts, and the minutes they took in all.

    Examples
    --------
    >>> means_as_logged(np.array([10.0, 20.0]), np.zeros(2, dtype=int), np.array([3.0, 1.0]), np.array([40.0, 60.0])).tolist()
    [20.0, 40.0]
    """
    logged, fitted = np.bincount(which, took), np.bincount(which, often * means)
    return means * np.divide(logged, fitted, out=np.ones(len(fitted)), where=fitted > 0)[which]


def category_quantiles(
    means: np.ndarray, shape: float, of_visit: np.ndarray, names: Sequence[str], weights: np.ndarray | None = None
) -> dict[tuple[str, float], float]:
    """Minutes that given shares of each category's visits stay within."""
    weights = np.ones(len(means)) if weights is None else weights
    found = {}
    for name in names:
        mine = (of_visit == name) & (weights > 0)
        for share in SHARES:
            found[name, share] = mixture_quantile(share, means[mine], weights[mine], shape) if mine.any() else np.nan
    return found
