"""Who is due a recall, and in which month."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analysis.models.recall_evidence import EVERYONE
from analysis.models.recall_group_names import recall_group_names

AHEAD_MONTHS = 3
COLUMNS = ["due_month", "patient_key", "months_overdue", "last_seen", "recall_group", "site"]
NOT_COMING = ("missed", "cancelled_late", "cancelled", "moved")


@dataclass(frozen=True, eq=False)
class RecallList:
    """Who to call, and who was left out.

    Attributes
    ----------
    due : pandas.DataFrame
        One row a patient: ``due_month`` (its first day), ``patient_key``,
        ``months_overdue`` (0 where not), ``last_seen``, ``recall_group``, ``site``; the longest overdue first.
    booked, later : int
        Patients left out: with a booking ahead; due after the months looked at.
    """

    due: pd.DataFrame
    booked: int
    later: int


def recall_list(
    gaps: pd.DataFrame,
    visits: pd.DataFrame,
    months: dict[str, int],
    *,
    last_day: pd.Timestamp,
    facts: tuple[str, ...] = (),
) -> RecallList:
    """List patients due a recall by the end of the third month after the log's last day.

    Parameters
    ----------
    gaps, visits : pandas.DataFrame
        The tables ``GAPS`` and ``VISITS``.
    months : dict of str to int
        Recall interval by group; ``everyone`` for those whose group has none.
    last_day : pandas.Timestamp
        Last day the log covers; the month it lies in is this month.
    facts : tuple of str, optional
        What makes the groups, as in the setting ``groups``; by hearing aid without it.

    Returns
    -------
    RecallList

    Notes
    -----
    The interval runs from the patient's last clearance, or from a later visit
    at which the ears were looked at and nothing was cleared. Who has a booking
    after the last day that was not cancelled is left out. A patient's group goes
    by what was noted last; where the ears are of two groups, as their canals may
    be, the patient is called when the sooner of the two is due.

    Examples
    --------
    >>> from analysis.schema import GAPS, VISITS, typed_frame
    >>> gaps = typed_frame(GAPS, pd.DataFrame({"patient_key": ["p1"], "cleared_on": [pd.Timestamp("2026-01-20")]}))
    >>> found = recall_list(gaps, typed_frame(VISITS, pd.DataFrame()), {"everyone": 6}, last_day=pd.Timestamp("2026-09-30"))
    >>> found.due[["due_month", "months_overdue"]].to_numpy().tolist()
    [[Timestamp('2026-07-01 00:00:00'), 2]]
    """
    patients = _last_seen(gaps, visits, last_day, _sooner_group(gaps, months, facts))
    interval = patients["recall_group"].map(months).astype(int)
    months_since_year_0 = patients["last_seen"].dt.year * 12 + patients["last_seen"].dt.month - 1 + interval
    overdue = last_day.year * 12 + last_day.month - 1 - months_since_year_0
    due_month = pd.to_datetime(
        pd.DataFrame({"year": months_since_year_0 // 12, "month": months_since_year_0 % 12 + 1, "day": 1})
    )
    listed = patients.assign(due_month=due_month, months_overdue=overdue.clip(lower=0))
    booked = listed["patient_key"].isin(_booked(visits, last_day))
    later = ~booked & (overdue < -AHEAD_MONTHS)
    due = listed[~booked & ~later].sort_values(["due_month", "patient_key"], ignore_index=True)
    return RecallList(due[COLUMNS], int(booked.sum()), int(later.sum()))


def _sooner_group(gaps: pd.DataFrame, months: dict[str, int], facts: tuple[str, ...]) -> pd.Series:
    """Give each patient's group, by what was noted last; of two groups of two ears, the one called back sooner."""
    ears = gaps.sort_values("cleared_on").drop_duplicates(["patient_key", "ear"], keep="last")
    by_patient = ears.groupby("patient_key")
    for fact in ("hearing_aid", "cotton_bud", "age_band"):
        ears[fact] = by_patient[fact].transform("last")
    named = recall_group_names(ears, facts)
    named = named.where(named.isin(months), EVERYONE)
    sooner = named.map(months).sort_values(kind="stable").index
    return named[sooner].groupby(ears.loc[sooner, "patient_key"]).first()


def _last_seen(gaps: pd.DataFrame, visits: pd.DataFrame, last_day: pd.Timestamp, group: pd.Series) -> pd.DataFrame:
    """Give each patient with a clearance the last day they were seen, their group and the site then."""
    last = gaps.sort_values("cleared_on").drop_duplicates("patient_key", keep="last")
    day = visits["slot_start"].fillna(visits["started_at"]).dt.normalize()
    attended = (visits["attendance"] == "attended").fillna(False) & (day <= last_day)
    seen = day[attended].groupby(visits["patient_key"]).max()
    later = pd.Series(seen.reindex(last["patient_key"]).to_numpy(dtype="datetime64[us]"), index=last.index)
    return pd.DataFrame(
        {
            "patient_key": last["patient_key"],
            "last_seen": later.where(later > last["cleared_on"], last["cleared_on"]),
            "recall_group": group.reindex(last["patient_key"]).to_numpy(),
            "site": last["site"],
        }
    ).reset_index(drop=True)


def _booked(visits: pd.DataFrame, last_day: pd.Timestamp) -> pd.Series:
    """Patients with a booking after the last day that stands."""
    ahead = visits["slot_start"].dt.normalize() > last_day
    return visits.loc[ahead & ~visits["attendance"].isin(NOT_COMING), "patient_key"].dropna()
