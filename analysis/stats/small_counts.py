"""Hide small counts so that nobody can work them out from the counts beside them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import linprog

Sum = tuple[int, Sequence[int]]
"""A shown sum: the place of the total, and the places of its parts."""
ROUNDING = 1e-6
SPAN = 1 - ROUNDING
"""Two numbers at least this far apart are different counts; the rest is rounding."""


def hidden_counts(
    counts: Sequence[int], sums: Sequence[Sum], bound: int, *, told: Sequence[int] = (), unshown: Sequence[int] = ()
) -> np.ndarray:
    """Say which counts of a table to hide before it leaves the clinic.

    Parameters
    ----------
    counts : sequence of int, length k
        Every count of the table, totals among them.
    sums : sequence of (int, sequence of int)
        For each total, its place in ``counts`` and the places of its parts,
        all of them: parts must add up to their total. A count may belong to
        several sums, as in a table with totals both ways.
    bound : int
        Counts of 1 up to one less than this are hidden.
    told : sequence of int, optional
        Places of counts that are known from elsewhere: to hide one of them
        helps nobody, so another is chosen.
    unshown : sequence of int, optional
        Places of counts that are shown nowhere and stand for nobody, such as
        blanks; nought or more.

    Returns
    -------
    numpy.ndarray of bool, shape (k,)
        True where the count is to be hidden. Nought stays shown: no one stands
        behind it. A small count that is told elsewhere is hidden like any other.

    Raises
    ------
    ValueError
        If parts do not add up to their total.

    Notes
    -----
    A small count beside its total and all other parts can be worked out. So a
    further count is hidden, the smallest that shares a sum with it, and again,
    until every hidden count could be at least two different numbers (of 1 or
    more), one of them no small count, given everything shown: two hidden counts
    of 2 beside a sum of 4 would both be known to be small. The span of each is
    found by linear
    programming, the usual audit of cell suppression [1]_. Which count is
    hidden second is a simple rule and may hide more than needed. Where nothing
    is left to hide but what is told elsewhere, it ends.

    References
    ----------
    .. [1] Fischetti and Salazar (2001), Management Science 47(7), 1008-1027.

    Examples
    --------
    Three missed bookings of 60 would follow from the others, so a second part goes too.

    >>> hidden_counts([50, 3, 7, 60], [(3, (0, 1, 2))], bound=5).tolist()
    [False, True, True, False]
    """
    known = np.asarray(counts, dtype=float)
    rules = np.zeros((len(sums), len(known)))
    for row, (total, parts) in enumerate(sums):
        rules[row, total] = 1.0
        rules[row, list(parts)] -= 1.0
    if np.any(rules @ known):
        raise ValueError("parts do not add up to their total")
    blank, fixed = np.isin(np.arange(len(known)), list(unshown)), np.isin(np.arange(len(known)), list(told))
    small = (known > 0) & (known < bound) & ~blank
    hidden = small | blank
    seen = np.stack([known, known])
    while (betrayed := _betrayed(known, rules, hidden, blank, seen, bound)).any():
        free = ~hidden & (known > 0) & ~fixed
        beside = (rules[(rules[:, betrayed] != 0).any(axis=1)] != 0).any(axis=0)
        candidates = np.flatnonzero(beside & free)
        if not candidates.size:
            candidates = np.flatnonzero(free)
        if not candidates.size:
            break
        hidden[candidates[np.argmin(known[candidates])]] = True
    return hidden & ~blank


def _betrayed(
    known: np.ndarray, rules: np.ndarray, hidden: np.ndarray, blank: np.ndarray, seen: np.ndarray, bound: int
) -> np.ndarray:
    """Mark the first hidden count that can be only one number, or only small ones, given what is shown.

    ``seen`` keeps the least and the most each count was in any table found that
    fits what is shown. It still fits once more is hidden, so few counts need a
    search of their own.
    """
    betrayed = np.zeros(len(known), dtype=bool)
    concerned = (rules[:, hidden] != 0).any(axis=1)
    if not concerned.any() or not (~hidden & (known > 0)).any():
        return betrayed
    unknown = rules[np.ix_(concerned, hidden)]
    shown = -rules[np.ix_(concerned, ~hidden)] @ known[~hidden]
    places = np.flatnonzero(hidden)
    bounds = [(0.0 if blank[cell] else 1.0, known.sum() + bound) for cell in places]
    for place, cell in sorted(enumerate(places), key=lambda each: known[each[1]]):
        if blank[cell]:
            continue
        wanted = np.zeros(len(places))
        wanted[place] = 1.0
        for way in (-1, 1):
            if not _safe(seen[:, cell], bound):
                table = linprog(way * wanted, A_eq=unknown, b_eq=shown, bounds=bounds).x
                seen[0, places] = np.minimum(seen[0, places], table)
                seen[1, places] = np.maximum(seen[1, places], table)
        if not _safe(seen[:, cell], bound):
            betrayed[cell] = True
            break
    return betrayed


def _safe(span: np.ndarray, bound: int) -> bool:
    """Whether a count's least and most leave it unknown, and unknown to be small."""
    return bool(span[1] - span[0] >= SPAN and span[1] > bound - ROUNDING)
