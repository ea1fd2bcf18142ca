"""Hide small counts so that nobody can work them out from the counts beside them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import linprog

Sum = tuple[int, Sequence[int]]
"""A shown sum: the place of the total, and the places of its parts."""
SPAN = 1 - 1e-6
"""Two numbers at least this far apart are different counts; the rest is rounding."""


def hidden_counts(counts: Sequence[int], sums: Sequence[Sum], bound: int) -> np.ndarray:
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

    Returns
    -------
    numpy.ndarray of bool, shape (k,)
        True where the count is to be hidden. Nought stays shown: no one stands
        behind it.

    Raises
    ------
    ValueError
        If parts do not add up to their total.

    Notes
    -----
    A small count beside its total and all other parts can be worked out. So a
    further count is hidden, the smallest that shares a sum with it, and again,
    until every hidden count could be at least two different numbers (of 1 or
    more) given everything shown. The span of each is found by linear
    programming, the usual audit of cell suppression [1]_. Which count is
    hidden second is a simple rule and may hide more than needed.

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
    hidden = (known > 0) & (known < bound)
    seen = np.stack([known, known])
    while (betrayed := _betrayed(known, rules, hidden, seen)).any():
        beside = (rules[(rules[:, betrayed] != 0).any(axis=1)] != 0).any(axis=0)
        candidates = np.flatnonzero(beside & ~hidden & (known > 0))
        if not candidates.size:
            candidates = np.flatnonzero(~hidden & (known > 0))
        hidden[candidates[np.argmin(known[candidates])]] = True
    return hidden


def _betrayed(known: np.ndarray, rules: np.ndarray, hidden: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """Mark hidden counts that can be only one number given what is shown.

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
    bounds = (1.0, known.sum() + 2.0)
    places = np.flatnonzero(hidden)
    for place, cell in enumerate(places):
        wanted = np.zeros(len(places))
        wanted[place] = 1.0
        for way in (-1, 1):
            if seen[1, cell] - seen[0, cell] < SPAN:
                table = linprog(way * wanted, A_eq=unknown, b_eq=shown, bounds=bounds).x
                seen[0, places] = np.minimum(seen[0, places], table)
                seen[1, places] = np.maximum(seen[1, places], table)
        betrayed[cell] = seen[1, cell] - seen[0, cell] < SPAN
    return betrayed
