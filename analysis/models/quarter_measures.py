"""A quarter's measures beside earlier quarters': counts, shares, changes with ranges, small counts hidden."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
import pandas as pd

from analysis.models.quarter_periods import THIS
from analysis.stats.estimate import Estimate
from analysis.stats.proportions import exact_share, newcombe_difference, wilson_share
from analysis.stats.small_counts import hidden_counts
from analysis.stats.two_arms import plain_means

ALL = "all"

Cell = tuple[str, str]
"""A measure and the part of the clinic or log it is of: a site, or ``all``."""


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure of the quarter; what is too small to show is not in it.

    Attributes
    ----------
    name, part : str
        What is counted, and of which part: a site, or ``all``.
    counts : dict of str to int or None
        By period; None is too small to show.
    of : int or None
        What the share is of, this quarter; None where there is no share, or it is hidden.
    share : Estimate or None
        Share of ``of``, this quarter.
    earlier : dict of str to Estimate
        The share in the earlier quarters.
    change : dict of str to Estimate
        Against each earlier quarter: difference of shares (this less that), or
        ratio of counts (this over that) for a measure without a share.
    """

    name: str
    part: str
    counts: dict[str, int | None]
    of: int | None
    share: Estimate | None
    earlier: dict[str, Estimate]
    change: dict[str, Estimate]


@dataclass(frozen=True, eq=False)
class Counts:
    """Counts by period, how they add up, and what each share is of.

    Attributes
    ----------
    by_period : dict of str to dict of (str, str) to int
        Every count, totals among them.
    sums : dict of (str, str) to list of lists of (str, str)
        For each total the sets of parts that make it up.
    base : dict of str to str
        The measure each share is of.
    told : frozenset of (str, str)
        Counts that other answers tell, so that to hide them here is in vain.
    unshown : frozenset of (str, str)
        Counts of blanks, which no answer shows and which stand for nobody.
    """

    by_period: dict[str, dict[Cell, int]]
    sums: dict[Cell, list[list[Cell]]]
    base: dict[str, str]
    told: frozenset[Cell] = frozenset()
    unshown: frozenset[Cell] = frozenset()


def shown_measures(
    counts: Counts, names: Sequence[str], parts: Sequence[str], *, hide_below: int, level: float, rare: bool = False
) -> list[Measure]:
    """Make the measures to show, each with share, earlier quarters and changes, small counts left out.

    Parameters
    ----------
    counts : Counts
    names, parts : sequence of str
        Which measures of which parts, in this order.
    hide_below : int
        Counts under this are hidden, and with them whatever would give them away.
    level : float
        How sure ranges should be.
    rare : bool, optional
        True gives shares their exact range, for events that seldom happen.

    Returns
    -------
    list of Measure
        A change is given only where the counts of both quarters are shown.

    Notes
    -----
    Shares have Wilson's range (or the exact one), differences Newcombe's,
    ratios of counts the exact conditional one of ``count_ratio``.
    """
    hidden = {period: _hidden(cells, counts, hide_below) for period, cells in counts.by_period.items()}
    return [
        _measure(counts, (name, part), hidden, level=level, rare=rare)
        for part in parts
        for name in names
        if (name, part) in counts.by_period[THIS]
    ]


def _hidden(cells: dict[Cell, int], counts: Counts, bound: int) -> set[Cell]:
    """Find the cells of one period that must not be shown."""
    order = list(cells)
    places = {cell: place for place, cell in enumerate(order)}
    rules = [
        (places[total], [places[each] for each in made_of]) for total, sets in counts.sums.items() for made_of in sets
    ]
    told, unshown = ([places[cell] for cell in some] for some in (counts.told, counts.unshown))
    marks = hidden_counts(list(cells.values()), rules, bound, told=told, unshown=unshown)
    return {cell for cell, mark in zip(order, marks, strict=True) if mark}


def _measure(counts: Counts, cell: Cell, hidden: dict[str, set[Cell]], *, level: float, rare: bool) -> Measure:
    """Make one measure from its counts in every period."""
    name, part = cell
    base = (counts.base[name], part) if name in counts.base else None
    shown = {period for period in hidden if cell not in hidden[period] and base not in hidden[period]}
    pairs = {
        period: (cells[cell], cells[base] if base else 0)
        for period, cells in counts.by_period.items()
        if period in shown
    }
    share_of = exact_share if rare else wilson_share
    shares = {period: share_of(some, of, level) for period, (some, of) in pairs.items() if base and of}
    return Measure(
        name=name,
        part=part,
        counts={period: None if cell in hidden[period] else cells[cell] for period, cells in counts.by_period.items()},
        of=pairs[THIS][1] if base and THIS in shown else None,
        share=shares.pop(THIS, None),
        earlier=shares,
        change=_changes(pairs, level, shares=base is not None),
    )


def _changes(pairs: dict[str, tuple[int, int]], level: float, *, shares: bool) -> dict[str, Estimate]:
    """Compare this quarter with each earlier one that can be shown."""
    if THIS not in pairs:
        return {}
    some, of = pairs[THIS]
    earlier = {period: pair for period, pair in pairs.items() if period != THIS}
    if not shares:
        return {period: count_ratio(some, before, level) for period, (before, _) in earlier.items() if some and before}
    return {
        period: newcombe_difference((some, before), (of, of_before), level)
        for period, (before, of_before) in earlier.items()
        if of and of_before
    }


def count_ratio(now: int, before: int, level: float = 0.95) -> Estimate:
    """How many times as many as before, with the range that chance alone leaves.

    Parameters
    ----------
    now, before : int
        Two counts, at least 1 each.
    level : float, optional
        How sure the range should be.

    Returns
    -------
    Estimate
        A ratio; 1 is as many as before.

    Notes
    -----
    Given their sum, the first of two Poisson counts is binomial; the exact
    range of its share, as odds, is that of the ratio [1]_. Bookings that come
    in pairs, or quarters with fewer working days, would make it wider.

    References
    ----------
    .. [1] Przyborowski and Wilenski (1940), Biometrika 31, 313-323.

    Examples
    --------
    >>> ratio = count_ratio(120, 100)
    >>> round(ratio.value, 2), round(ratio.low, 2), round(ratio.high, 2)
    (1.2, 0.91, 1.58)
    """
    share = exact_share(now, now + before, level)
    low, high = (end / (1 - end) if end < 1 else inf for end in (share.low, share.high))
    return Estimate(now / before, low, high, level, now + before, "ratio of two counts, exact conditional range")


def widened(estimate: Estimate, outcome: np.ndarray, patients: np.ndarray, now: np.ndarray | None = None) -> Estimate:
    """Widen a range of ears to allow for two ears of a patient going together.

    Parameters
    ----------
    estimate : Estimate
        A share, or with ``now`` a difference of shares, as if ears were independent.
    outcome : numpy.ndarray of bool, shape (n,)
        Each ear's outcome.
    patients : numpy.ndarray, shape (n,)
        Whose ear it is.
    now : numpy.ndarray of bool, shape (n,), optional
        True for this quarter's ears, False for the earlier one's.

    Returns
    -------
    Estimate
        Never narrower than before, and within the bounds of a share.

    Notes
    -----
    Each half of the range grows by the root of the design effect: the
    patient-clustered sandwich variance [1]_ over the independent one.

    References
    ----------
    .. [1] Liang and Zeger (1986), Biometrika 73, 13-22.

    Examples
    --------
    Four patients whose two ears always agree tell as much as four ears.

    >>> outcome, patients = np.array([1, 1, 1, 1, 0, 0, 0, 0], bool), np.arange(8) // 2
    >>> wide = widened(Estimate(0.5, 0.4, 0.6, 0.95, 8, "share"), outcome, patients)
    >>> round(wide.low, 3), round(wide.high, 3)
    (0.359, 0.641)
    """
    lowest = 0.0 if now is None else -1.0
    # A share by itself is compared with an arm of one made-up patient, whose variance is nought.
    arm = np.append(np.ones(len(outcome), dtype=bool), False) if now is None else now
    values = np.append(outcome, False) if now is None else outcome
    whose = np.append(pd.Series(patients).astype("str").to_numpy(), "no one") if now is None else patients
    arms = plain_means(values, arm, whose)
    contrast = np.array([1.0, -1.0])
    together = float(contrast @ arms.covariance @ contrast)
    apart = sum(
        share * (1 - share) / n for share, n in ((arms.treated, arms.n_treated), (arms.untreated, arms.n_untreated))
    )
    factor = max(1.0, together / apart) ** 0.5 if apart > 0 else 1.0
    low = max(lowest, estimate.value - factor * (estimate.value - estimate.low))
    high = min(1.0, estimate.value + factor * (estimate.high - estimate.value))
    method = f"{estimate.method}, widened for ears of one patient"
    return Estimate(estimate.value, low, high, estimate.level, estimate.n, method)
