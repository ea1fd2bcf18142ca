"""Recall uptake: patients due to be called back who came, and recall bookings that were kept."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analysis.models.quarter_counts import Totals, booking_flags, counted
from analysis.models.quarter_measures import ALL, Counts
from analysis.models.quarter_periods import THIS, Periods
from analysis.problems import NotEnough

RECALL: Totals = {
    "recall_due": (("recall_came", "recall_stayed_away"),),
    "recall_held": (("recall_kept", "recall_not_kept"),),
}
WINDOW_DAYS = 60
"""Days before and after the due day within which a visit counts as the recall's (our own line, no source)."""


def recall_counts(visits: pd.DataFrame, found: Periods, *, months: int) -> Counts:
    """Count patients due who came, and recall bookings that were kept.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    found : Periods
    months : int
        Months after a visit at which the clinic recalls today.

    Returns
    -------
    Counts
        ``recall_came`` of ``recall_due``, by the quarter in which the days to
        come ran out; ``recall_kept`` of ``recall_held``.

    Raises
    ------
    NotEnough
        If the quarter has neither.
    """
    due = patients_due(visits, months=months)
    flags = booking_flags(visits)
    recall = flags["held"] & (visits["booking_kind"] == "routine_recall").fillna(False).astype(bool)
    moments = pd.concat([due["closes"], visits["slot_start"]], ignore_index=True)
    empty_due, empty_booked = [False] * len(due), [False] * len(visits)
    marks = {
        "recall_due": [True] * len(due) + empty_booked,
        "recall_came": [*due["came"].tolist(), *empty_booked],
        "recall_stayed_away": [*(~due["came"]).tolist(), *empty_booked],
        "recall_held": [*empty_due, *recall.tolist()],
        "recall_kept": [*empty_due, *(recall & flags["attended"]).tolist()],
        "recall_not_kept": [*empty_due, *(recall & ~flags["attended"]).tolist()],
    }
    counts = counted(moments, {name: pd.Series(each, dtype=bool) for name, each in marks.items()}, RECALL, found)
    if not any(counts.by_period[THIS][name, ALL] for name in ("recall_due", "recall_held")):
        raise NotEnough(
            f"In {found.quarter.label} nobody with a patient number was due to be called back, and no recall was booked.",
            "Record patient numbers and the kind of every booking.",
        )
    return replace(counts, told=frozenset((name, ALL) for name in RECALL))


def patients_due(visits: pd.DataFrame, *, months: int) -> pd.DataFrame:
    """List the visits after which a recall fell due, and whether the patient came.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    months : int

    Returns
    -------
    pandas.DataFrame
        ``closes``: the last day that counts as the recall's; ``came``. Whoever
        was back before the first such day is not listed: no recall was due.

    Examples
    --------
    >>> visits = pd.DataFrame({
    ...     "patient_key": ["p1", "p1", "p2"], "attendance": "attended",
    ...     "slot_start": pd.to_datetime(["2025-03-03", "2026-03-20", "2025-03-03"])})
    >>> patients_due(visits, months=12)["came"].tolist()[:1], len(patients_due(visits, months=12))
    ([True], 3)
    """
    came = visits[(visits["attendance"] == "attended").fillna(False) & visits["patient_key"].notna()]
    seen = came[["patient_key", "slot_start"]].dropna().sort_values(["patient_key", "slot_start"], ignore_index=True)
    later = seen.groupby("patient_key")["slot_start"].shift(-1)
    due = seen["slot_start"].dt.normalize() + pd.DateOffset(months=months)
    window = pd.Timedelta(days=WINDOW_DAYS)
    listed = pd.DataFrame({"closes": due + window, "came": later < due + window + pd.Timedelta(days=1)})
    return listed[~(later < due - window)]
