"""Orders that cannot be: times, attempts and ears that contradict each other, and two starts in one minute."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

FEWEST_STARTS = 20
"""Starts from which a practitioner's coinciding ones are told (our own line, no source)."""


@dataclass(frozen=True, slots=True)
class Order:
    """One kind of order that cannot be: the visits that show it, of those at which it could be seen."""

    what: str
    visits: frozenset[str]
    of: int


@dataclass(frozen=True, slots=True)
class Coincidence:
    """One practitioner's starts: how many share their minute with another, and how many come too soon.

    ``overlapping`` counts starts before the end of the practitioner's patient before.
    """

    part: str
    starts: int
    same_minute: int
    overlapping: int


def impossible_orders(visits: pd.DataFrame, ears: pd.DataFrame, *, second_attempt_days: int) -> list[Order]:
    """Look for what cannot have happened in the order in which it was written.

    Parameters
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS``.
    second_attempt_days : int
        A second attempt follows the first within these; so the log's first
        days say nothing of a first attempt that is not there.

    Returns
    -------
    list of Order
        Each kind, with a count of nought where it was looked for and not seen,
        and ``of`` nought where the log lacks the facts to look.

    Examples
    --------
    >>> from analysis.schema import EAR_ROWS, VISITS, typed_frame
    >>> start = pd.Timestamp("2026-03-02 09:00")
    >>> visits = typed_frame(VISITS, pd.DataFrame({"visit_id": ["v1"], "attendance": ["attended"], "slot_start": [start],
    ...     "started_at": [start], "ended_at": [start - pd.Timedelta(minutes=5)]}))
    >>> [(order.what, len(order.visits)) for order in impossible_orders(
    ...     visits, typed_frame(EAR_ROWS, pd.DataFrame()), second_attempt_days=28) if order.visits]
    [('ended_before_started', 1)]
    """
    came = visits[visits["attendance"] == "attended"]
    return [
        _later("ended_before_started", came, "started_at", "ended_at"),
        _later("arrived_after_ended", came, "arrived_at", "ended_at"),
        _later("started_before_arrived", came, "arrived_at", "started_at"),
        _not_kept_yet_timed(visits, ears),
        *_orders_of_patients(came, second_attempt_days),
        *_orders_of_ears(came, ears),
    ]


def _order(what: str, ids: pd.Series, found: pd.Series, seen: pd.Series) -> Order:
    """Keep the visits that show an order, of those at which it could be seen."""
    found = (found & seen).fillna(False).astype("bool")
    return Order(what, frozenset(ids[found]), int(ids[seen].nunique()))


def _later(what: str, came: pd.DataFrame, first: str, then: str) -> Order:
    """Find the visits at which the second moment lies before the first."""
    seen = came[first].notna() & came[then].notna()
    return _order(what, came["visit_id"], came[then] < came[first], seen)


def _not_kept_yet_timed(visits: pd.DataFrame, ears: pd.DataFrame) -> Order:
    """Find bookings that were missed or cancelled and yet have an end or ears."""
    not_kept = visits["attendance"].notna() & (visits["attendance"] != "attended")
    shown = visits["ended_at"].notna() | visits["visit_id"].isin(ears["visit_id"])
    return _order("not_kept_yet_seen", visits["visit_id"], shown, not_kept)


def _orders_of_patients(came: pd.DataFrame, second_attempt_days: int) -> list[Order]:
    """Find what a patient's visits, one after the other, cannot be."""
    numbered = came[(came["patient_key"].fillna("") != "") & came["slot_start"].notna()]
    ordered = numbered.sort_values(["slot_start", "visit_id"], kind="stable")
    ids, patient = ordered["visit_id"], ordered["patient_key"]
    earlier = ordered.groupby(patient).cumcount() > 0
    kind = ordered["booking_kind"]
    reach = ordered["slot_start"].min() + pd.Timedelta(days=second_attempt_days)
    age = ordered["age_band"].cat.codes.where(ordered["age_band"].notna())
    age_before = age.groupby(patient).ffill().groupby(patient).shift()
    twice = ordered.duplicated(["patient_key", "slot_start"], keep="first")
    followed = (kind == "second_attempt").fillna(False) & (ordered["slot_start"] > reach)
    return [
        _order("second_attempt_before_first", ids, ~earlier, followed),
        _order("new_yet_seen_before", ids, (kind == "new").fillna(False), earlier & kind.notna()),
        _order("younger_than_before", ids, age < age_before, age.notna() & age_before.notna()),
        _order("twice_at_once", ids, twice, patient.notna()),
    ]


def _orders_of_ears(came: pd.DataFrame, ears: pd.DataFrame) -> list[Order]:
    """Find ears whose grade, methods and outcome exclude each other."""
    seen = ears[ears["visit_id"].isin(came["visit_id"])]
    worked = (seen["methods"].fillna("") != "")  # fmt: skip
    ids = seen["visit_id"]
    same_grade = seen["grade"] == seen["grade_revised"].fillna(seen["grade"])
    still_clear = (seen["grade"] == "clear").fillna(False) & same_grade.fillna(True)
    return [
        _order("clear_yet_worked_on", ids, worked, still_clear),
        _order("nothing_to_remove_yet_worked_on", ids, worked, (seen["outcome"] == "nothing_to_remove").fillna(False)),
        _order(
            "clear_yet_left_occluding",
            ids,
            (seen["outcome"] == "occluding_left").fillna(False),
            still_clear & seen["outcome"].notna(),
        ),
    ]


def visits_with_any(orders: list[Order]) -> frozenset[str]:
    """Collect the visits that show at least one order that cannot be."""
    return frozenset().union(*(order.visits for order in orders))


def coinciding_starts(visits: pd.DataFrame, parts: pd.Series) -> list[Coincidence]:
    """Count the starts that one practitioner cannot have made: two in one minute, or before the last patient left.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``; bookings without a practitioner or a start are left out.
    parts : pandas.Series of str
        What each booking's practitioner is called.

    Returns
    -------
    list of Coincidence
        One a practitioner with at least ``FEWEST_STARTS`` starts, in the order of their names.
    """
    named = (
        (visits["attendance"] == "attended") & visits["started_at"].notna() & (visits["practitioner"].fillna("") != "")
    )
    rows = visits[named.fillna(False)]
    if rows.empty:
        return []
    rows = rows.assign(part=parts, minute=rows["started_at"].dt.floor("min"))
    ordered = rows.sort_values(["practitioner", "started_at", "ended_at", "visit_id"], kind="stable")
    together = ordered.duplicated(["practitioner", "minute"], keep=False)
    before = ordered.groupby("practitioner")["ended_at"].shift()
    first_of_minute = ~ordered.duplicated(["practitioner", "minute"], keep="first")
    overlaps = (before > ordered["started_at"]) & first_of_minute
    marked = ordered.assign(together=together, overlaps=overlaps).groupby("part")[["together", "overlaps"]]
    table = marked.sum().assign(starts=ordered.groupby("part").size())
    return [
        Coincidence(str(part), int(row["starts"]), int(row["together"]), int(row["overlaps"]))
        for part, row in table.iterrows()
        if row["starts"] >= FEWEST_STARTS
    ]
