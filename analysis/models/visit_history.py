"""Attended visits in order: who was seen before, and when each came next."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from analysis.problems import NotEnough
from analysis.schema import BOOKING_KINDS

KINDS = tuple(BOOKING_KINDS)
NEW = KINDS.index("new")
SECOND = KINDS.index("second_attempt")
OTHER = KINDS.index("other")
RETURNED_KINDS = (KINDS.index("routine_recall"), KINDS.index("symptoms_return"))
NEVER = np.iinfo(np.int64).max
"""Stands for a next visit that has not come."""
EPOCH = pd.Timestamp("1970-01-01")
TOLD = ["slot_start", "attendance", "patient_key", "booking_kind", "hearing_aid"]


@dataclass(frozen=True, eq=False)
class History:
    """Attended visits, one entry each, oldest first; days count from 1 January 1970.

    Attributes
    ----------
    day : numpy.ndarray of int
        Day of the visit.
    kind : numpy.ndarray of int
        Place of the booking kind in ``KINDS``.
    keyed : numpy.ndarray of bool
        Whether the log says which patient.
    linked : numpy.ndarray of bool
        Whether this patient has an earlier visit in the log.
    returner : numpy.ndarray of bool
        Whether the patient had, by this visit, come back at least once.
    hearing_aid : numpy.ndarray of bool
        Whether a hearing aid was noted.
    next_day, next_kind : numpy.ndarray of int
        The patient's next attended visit; ``NEVER`` and -1 where none has come.
    diary_days : numpy.ndarray of int
        Days with any booking, in order, each once.
    """

    day: np.ndarray
    kind: np.ndarray
    keyed: np.ndarray
    linked: np.ndarray
    returner: np.ndarray
    hearing_aid: np.ndarray
    next_day: np.ndarray
    next_kind: np.ndarray
    diary_days: np.ndarray

    def until(self, last: int) -> History:
        """Give what was known at the end of day ``last``: later visits have not come."""
        come = int(np.searchsorted(self.day, last, side="right"))
        cut = {each.name: getattr(self, each.name)[:come] for each in fields(self) if each.name != "diary_days"}
        late = cut["next_day"] > last
        cut["next_day"] = np.where(late, NEVER, cut["next_day"])
        cut["next_kind"] = np.where(late, -1, cut["next_kind"])
        return replace(self, **cut, diary_days=self.diary_days[self.diary_days <= last])

    def since(self, day: int) -> slice:
        """Give the place of the visits from a day on."""
        return slice(int(np.searchsorted(self.day, day)), None)

    @property
    def stratum(self) -> np.ndarray:
        """Give whom the visit's patient is followed with: ``2 * hearing_aid + returner``."""
        return 2 * self.hearing_aid.astype(np.int64) + self.returner


def day_number(when: pd.Timestamp) -> int:
    """Count the days from 1 January 1970.

    Examples
    --------
    >>> day_number(pd.Timestamp("1970-01-31"))
    30
    """
    return (when.normalize() - EPOCH).days


def visit_history(visits: pd.DataFrame, *, last_day: pd.Timestamp) -> History:
    """Put the attended visits in order and find who was seen before.

    Parameters
    ----------
    visits : pandas.DataFrame
        The ``visits`` table; bookings after ``last_day`` are not history.
        Where no row at all says whether it was attended, all count as attended.
    last_day : pandas.Timestamp
        Last day the log covers.

    Returns
    -------
    History

    Raises
    ------
    NotEnough
        If no dated visit was attended.

    Notes
    -----
    A visit without a kind, or any first visit in a log that never says "new
    patient", counts as a new patient's where it is the patient's first in the
    log, and as "other" where it is not. Two bookings of one patient on one day
    are two visits.

    Examples
    --------
    >>> visits = pd.DataFrame({"patient_key": ["a", "b", "a"], "attendance": ["attended"] * 3,
    ...     "slot_start": pd.to_datetime(["2026-01-05", "2026-01-06", "2026-02-04"]),
    ...     "booking_kind": ["new", "new", "second_attempt"], "hearing_aid": [True, None, True]})
    >>> history = visit_history(visits, last_day=pd.Timestamp("2026-02-28"))
    >>> history.linked.tolist(), (history.next_day - history.day)[0].item()
    ([False, False, True], 30)
    """
    told = visits[TOLD]
    dated = told[told["slot_start"].notna() & (told["slot_start"].dt.normalize() <= last_day)]
    came = dated[dated["attendance"].eq("attended")] if dated["attendance"].notna().any() else dated
    if came.empty:
        raise NotEnough("The log holds no attended visit.", "Record for each booking its date and whether it was kept.")
    came = came.sort_values("slot_start", kind="stable")
    day = _days(came["slot_start"])
    key = came["patient_key"].astype("object")
    keyed = key.notna().to_numpy()
    patient = pd.Series(np.where(keyed, pd.factorize(key)[0], -1 - np.arange(len(came))))
    linked = patient.duplicated().to_numpy()
    kind = _kinds(came["booking_kind"], keyed & ~linked)
    next_day, next_kind = _next_visit(patient, day, kind)
    return History(
        day=day,
        kind=kind,
        keyed=keyed,
        linked=linked,
        returner=_returners(patient, kind),
        hearing_aid=came["hearing_aid"].astype("boolean").fillna(False).to_numpy(dtype=bool),
        next_day=next_day,
        next_kind=next_kind,
        diary_days=np.unique(_days(dated["slot_start"])),
    )


def _days(moments: pd.Series) -> np.ndarray:
    """Count days from 1 January 1970."""
    return (moments.dt.normalize() - EPOCH).dt.days.to_numpy(dtype=np.int64)


def _kinds(said: pd.Series, first_seen: np.ndarray) -> np.ndarray:
    """Give each visit a kind, from the log or from being the patient's first."""
    kind = pd.Categorical(said.astype("object"), categories=list(KINDS)).codes.astype(np.int64)
    never_new = not (kind == NEW).any()
    kind = np.where(first_seen & ((kind < 0) | never_new), NEW, kind)
    return np.where(kind < 0, OTHER, kind)


def _returners(patient: pd.Series, kind: np.ndarray) -> np.ndarray:
    """Say whether a patient had come back by each visit; a second attempt is no return."""
    own = pd.Series(kind != SECOND).groupby(patient).cumsum()
    told = pd.Series(np.isin(kind, RETURNED_KINDS)).groupby(patient).cummax()
    return ((own >= 2) | told).to_numpy()


def _next_visit(patient: pd.Series, day: np.ndarray, kind: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Find each patient's next attended visit."""
    after = pd.DataFrame({"day": day, "kind": kind}).groupby(patient).shift(-1, fill_value=-1)
    next_day = after["day"].to_numpy(dtype=np.int64)
    return np.where(next_day < 0, NEVER, next_day), after["kind"].to_numpy(dtype=np.int64)
