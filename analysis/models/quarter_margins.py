"""What answers of one quarter tell together: counts that share a total in two of them, so that neither gives the other away."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from analysis.models.quarter_case_mix import case_mix_counts
from analysis.models.quarter_counts import activity_counts, outcome_counts
from analysis.models.quarter_measures import ALL, Cell, Counts
from analysis.models.quarter_periods import THIS, Periods
from analysis.models.quarter_punctuality import punctuality_counts
from analysis.problems import NotEnough
from analysis.schema import BOOKING_KINDS

NEW = BOOKING_KINDS["new"]
RETURNING = [label for kind, label in BOOKING_KINDS.items() if kind != "new"]
REST = "rest_of_"
ATTENDED: Cell = ("attended", ALL)
TOLD = frozenset([ATTENDED, ("timed", ALL), ("with_slot", ALL)])
"""Safety and keeping to time rest on the visits attended or timed, and say how many."""


def booking_margins(visits: pd.DataFrame, found: Periods) -> Counts:
    """Join how bookings turned out with starts and minutes by kind of booking.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    found : Periods

    Returns
    -------
    Counts
        Those of ``activity_counts`` and ``punctuality_counts``; each number of
        bookings holds at least those of them of which more is known.

    Raises
    ------
    NotEnough
        If ``activity_counts`` raises it.
    """
    counts, parts = activity_counts(visits, found)
    holds: dict[Cell, list[list[Cell]]] = {}
    for part in parts:
        holds["booked", part] = [[("held", part)]]
        holds["attended", part] = [[("known_kind", part)], [("timed", part)]]
    try:
        kept, kinds, _ = punctuality_counts(visits, found)
    except NotEnough:
        return joined([counts], holds, told=TOLD & counts.by_period[THIS].keys())
    holds[ATTENDED].append([("with_slot", ALL)])
    for mark in ("timed", "with_slot"):
        holds.setdefault(("new", ALL), []).append([(mark, NEW)] if NEW in kinds else [])
        holds.setdefault(("returning", ALL), []).append([(mark, kind) for kind in RETURNING if kind in kinds])
    return joined([counts, kept], holds, told=TOLD)


def attempt_margins(
    attempts: pd.DataFrame, ears: pd.DataFrame, found: Periods, followed_until: pd.Timestamp
) -> tuple[Counts, pd.DataFrame, pd.DataFrame]:
    """Join how first attempts went with what was seen and done: both tell their grades.

    Parameters
    ----------
    attempts, ears : pandas.DataFrame
        The tables ``ATTEMPTS`` and ``EAR_ROWS``.
    found : Periods
    followed_until : pandas.Timestamp
        As for ``outcome_counts``.

    Returns
    -------
    (Counts, pandas.DataFrame, pandas.DataFrame)
        The counts, and the rows marked by ``outcome_counts`` and by ``case_mix_counts``.

    Raises
    ------
    NotEnough
        If the quarter has no first attempt.
    """
    went, judged = outcome_counts(attempts, found, followed_until)
    seen, described = case_mix_counts(attempts, ears, found)
    known = ("graded", "judged", "with_impaction", "with_debris", "with_method", "with_drum", "with_middle_ear")
    holds = {("first", ALL): [[(each, ALL)] for each in known]}
    return joined([went, seen], holds, told=frozenset([("first", ALL)])), judged, described


def joined(
    several: Sequence[Counts], holds: Mapping[Cell, Sequence[Sequence[Cell]]], *, told: frozenset[Cell] = frozenset()
) -> Counts:
    """Join counts of the same quarter that share some.

    Parameters
    ----------
    several : sequence of Counts
        A count that stands in two of them is the same in both.
    holds : mapping of (str, str) to sequences of (str, str)
        For each count, sets of others it holds, though there may be more to it.
    told : frozenset of (str, str), optional
        Counts that further answers tell.

    Returns
    -------
    Counts
        With what is left of each holding count as a further count of blanks.

    Examples
    --------
    >>> both = joined(
    ...     [Counts({"this": {("booked", ALL): 9}}, {}, {}), Counts({"this": {("held", ALL): 7}}, {}, {})],
    ...     {("booked", ALL): [[("held", ALL)]]},
    ... )
    >>> both.by_period["this"][("rest_of_booked_0", ALL)], both.sums
    (2, {('booked', 'all'): [[('held', 'all'), ('rest_of_booked_0', 'all')]]})
    """
    by_period: dict[str, dict[Cell, int]] = {}
    sums: dict[Cell, list[list[Cell]]] = {}
    base: dict[str, str] = {}
    for counts in several:
        for period, cells in counts.by_period.items():
            by_period.setdefault(period, {}).update(cells)
        for total, sets in counts.sums.items():
            sums.setdefault(total, []).extend(sets)
        base |= counts.base
    unshown = set()
    for (name, part), held in holds.items():
        for place, made_of in enumerate(held):
            rest = (f"{REST}{name}_{place}", part)
            for cells in by_period.values():
                cells[rest] = cells[name, part] - sum(cells[each] for each in made_of)
            sums.setdefault((name, part), []).append([*made_of, rest])
            unshown.add(rest)
    return Counts(by_period, sums, base, told, frozenset(unshown))
