"""Gaps: from an ear's clearance to the next evidence of its state."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analysis.schema import GAPS, OCCLUDING, SUCCESSES, typed_frame

OPEN = ("clear", "non_occluding")
FROM_VISIT = ["patient_key", "booking_kind", "hearing_aid", "cotton_bud", "age_band", "site"]
EAR_KEY = ["patient_key", "ear"]
RETURN_KINDS = ("routine_recall", "symptoms_return")


@dataclass(frozen=True, eq=False)
class Clearances:
    """Every clearance of an ear, and what later visits say of it: what ``gaps`` of any symptom window are read from.

    Attributes
    ----------
    found : pandas.DataFrame
        One row a clearance, by patient, ear and day, with the patient's first return.
    evidence : pandas.DataFrame
        One row a later visit up to the one that ends the gap; ``gap`` is the row in ``found``.
    """

    found: pd.DataFrame
    evidence: pd.DataFrame

    def gaps(self, symptom_window_days: int) -> pd.DataFrame:
        """Give the table ``GAPS`` with one symptom window; see ``gaps``."""
        bounded = self.found.join(_bounds(self.evidence, symptom_window_days))
        nothing_later = {
            "open_until_days": 0.0,
            "left_at_calls": 0,
            "left_otherwise": 0,
            "cleaned_open": False,
            "ended_ungraded": False,
        }
        bounded = bounded.fillna(nothing_later)
        return typed_frame(GAPS, _name_return(bounded))


def clearances(
    visits: pd.DataFrame, ears: pd.DataFrame, *, last_day: pd.Timestamp, second_attempt_days: int = 28
) -> Clearances:
    """List every clearance of an ear with what later visits say of it; parameters as of ``gaps``."""
    seen = _ears_seen(visits, ears, last_day)
    seen["restarts"] = _restarts(seen, second_attempt_days)
    found = seen[seen["restarts"]].reset_index(drop=True).rename(columns={"day": "cleared_on"})
    found["watched_days"] = (last_day - found["cleared_on"]).dt.days
    found["known_before"] = found["patient_key"].isin(_known_before(visits, last_day))
    evidence = _evidence(seen, found)
    found = found.drop(columns="booking_kind")
    return Clearances(found.join(_first_return(found, visits, last_day, second_attempt_days)), evidence)


def gaps(
    visits: pd.DataFrame,
    ears: pd.DataFrame,
    *,
    symptom_window_days: int,
    last_day: pd.Timestamp,
    second_attempt_days: int = 28,
) -> pd.DataFrame:
    """List, for every clearance of an ear, how long it is known to have stayed open and by when it was occluding again.

    Parameters
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS``.
    symptom_window_days : int
        Days before a return with symptoms within which the ear that brought the
        patient is taken to have become occluding.
    last_day : pandas.Timestamp
        Last day the log covers; later visits are not looked at.
    second_attempt_days : int, optional
        Days. A clearance followed by another attempt on the ear within these,
        unless booked as a return, or at a booking for a second attempt, was not
        the end of its episode. Ears that fill within these days would else be
        lost, and the others seem to stay open for longer than they do.

    Returns
    -------
    pandas.DataFrame
        The table ``GAPS``, one row an ear and clearance, by patient, ear and
        day. Visits without a patient number give none: nothing links them.

    Notes
    -----
    *Start.* The last attempt of an episode, if its outcome was clear or a
    non-occluding remnant left. *Evidence* at a later visit, taken from the
    fuller view where the grade was revised:

    - found open and left alone: not yet occluding, and the clock runs on;
    - found open and cleaned: not yet occluding, and a new gap starts;
    - found partly or fully occluding: became so after it was last known open;
    - at a return with symptoms the patient chose the day, so the fuller of the
      occluding ears (both, if alike) became so within the window; the other ear
      shows its state on that day as it would at any visit;
    - not graded: says nothing, but work on the ear ends the gap.

    Beside this it is counted how often an ear was found non-occluding and left, and
    noted where such an ear was cleaned: cleaned ears were about to occlude.

    *Known before.* A patient whose first visit in the log is a return had come
    back before it began; so such patients say nothing of how many never do.

    A second attempt is no return. ``first_return_kind`` is that of the patient's
    first return, whatever ear it was for; ``return_kind`` and ``grade_at_return`` are
    those of the visit that ended the gap, or else of the latest that saw the
    ear; where that was a second attempt, the kind is that of the first return.

    Examples
    --------
    Cleared in January, found open at a recall in July and left alone, back with symptoms in December.

    >>> from analysis.schema import EAR_ROWS, VISITS
    >>> visits = typed_frame(VISITS, pd.DataFrame({
    ...     "visit_id": ["v1", "v2", "v3"], "patient_key": "p1", "attendance": "attended",
    ...     "slot_start": pd.to_datetime(["2025-01-06", "2025-07-05", "2025-12-12"]),
    ...     "booking_kind": ["new", "routine_recall", "symptoms_return"]}))
    >>> ears = typed_frame(EAR_ROWS, pd.DataFrame({
    ...     "visit_id": ["v1", "v2", "v3"], "ear": "left", "grade": ["fully_occluding", "clear", "partly_occluding"],
    ...     "outcome": ["clear", "nothing_to_remove", "clear"]}))
    >>> table = gaps(visits, ears, symptom_window_days=60, last_day=pd.Timestamp("2026-01-31"))
    >>> table[["open_until_days", "occluding_by_days", "watched_days"]].to_numpy().tolist()
    [[280.0, 340.0, 390.0], [0.0, nan, 50.0]]
    """
    cleared = clearances(visits, ears, last_day=last_day, second_attempt_days=second_attempt_days)
    return cleared.gaps(symptom_window_days)


def attended_visits(visits: pd.DataFrame, last_day: pd.Timestamp) -> pd.DataFrame:
    """Attended visits of known patients up to the last day, with ``moment`` and ``day``.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    last_day : pandas.Timestamp
        Last day the log covers.

    Returns
    -------
    pandas.DataFrame
        The rows kept, all columns of ``VISITS``, and the moment and day of each
        visit: the start of its slot, or its own start where no slot is logged.

    Examples
    --------
    >>> from analysis.schema import VISITS
    >>> one = {"visit_id": ["v1"], "patient_key": ["p1"], "attendance": ["missed"], "slot_start": ["2025-01-06"]}
    >>> len(attended_visits(typed_frame(VISITS, pd.DataFrame(one)), pd.Timestamp("2025-12-31")))
    0
    """
    moment = visits["slot_start"].fillna(visits["started_at"])
    dated = visits.assign(moment=moment, day=moment.dt.normalize())
    return dated[(dated["attendance"] == "attended") & dated["patient_key"].notna() & (dated["day"] <= last_day)]


def _known_before(visits: pd.DataFrame, last_day: pd.Timestamp) -> pd.Series:
    """List the patients whose first visit in the log is a return."""
    first = attended_visits(visits, last_day).sort_values("moment", kind="stable").drop_duplicates("patient_key")
    return first.loc[first["booking_kind"].isin(RETURN_KINDS), "patient_key"]


def _ears_seen(visits: pd.DataFrame, ears: pd.DataFrame, last_day: pd.Timestamp) -> pd.DataFrame:
    """Every ear of a known patient at every visit, by ear and day, with its state as found."""
    attended = attended_visits(visits, last_day)
    columns = ["visit_id", "ear", "grade", "grade_revised", "canal", "methods", "outcome"]
    seen = ears[columns].merge(attended[["visit_id", "day", "moment", *FROM_VISIT]], on="visit_id")
    seen = seen[seen["ear"].notna()].sort_values([*EAR_KEY, "moment", "visit_id"])
    seen = seen.drop_duplicates([*EAR_KEY, "day"], keep="last").reset_index(drop=True)
    grade, idle = seen["grade_revised"].fillna(seen["grade"]), seen["outcome"] == "nothing_to_remove"
    seen["whose"] = seen.groupby(EAR_KEY, observed=True).ngroup()
    seen["found"], seen["occluding"] = grade, grade.isin(OCCLUDING) & ~idle
    seen["open"] = grade.isin(OPEN) | (grade.isna() & idle)
    unchanged = (grade == "clear") & (seen["outcome"] == "clear")
    unchanged |= (grade == "non_occluding") & (seen["outcome"] == "non_occluding_left")
    untouched = idle | seen["outcome"].isna() | (unchanged & ~(seen["methods"].str.len() > 0))
    return seen.assign(worked_on=~untouched)


def _restarts(seen: pd.DataFrame, second_attempt_days: int) -> pd.Series:
    """Whether the ear's clock starts anew: cleared, and no further attempt in the episode."""
    worked = seen[seen["worked_on"]]
    by_ear = worked.groupby("whose")
    days_to_next, next_kind = -by_ear["day"].diff(-1).dt.days, by_ear["booking_kind"].shift(-1)
    soon = (days_to_next <= second_attempt_days) & ~next_kind.isin(RETURN_KINDS)
    again = soon | (next_kind == "second_attempt")
    cleared = worked["outcome"].isin(SUCCESSES) & ~again
    return cleared.reindex(seen.index, fill_value=False)


def _evidence(seen: pd.DataFrame, found: pd.DataFrame) -> pd.DataFrame:
    """Gather what later visits say of each gap, up to the one that ends it; ``gap`` is the row in ``found``."""
    gap = seen["restarts"].cumsum() - seen["restarts"] - 1
    started = found[["whose", "cleared_on"]].add_prefix("gap_").reindex(gap).set_axis(seen.index)
    fullest = seen["found"].cat.codes.where(seen["occluding"]).groupby(seen["visit_id"]).transform("max")
    brought = (seen["booking_kind"] == "symptoms_return") & (seen["found"].cat.codes == fullest)
    days = (seen["day"] - started["gap_cleared_on"]).dt.days.astype("float64")
    ends = seen["occluding"] | seen["worked_on"]
    later = seen.assign(gap=gap, days=days, brought=brought, ends=ends)[started["gap_whose"] == seen["whose"]]
    return later[later.groupby("gap")["ends"].cumsum() - later["ends"] == 0]


def _bounds(evidence: pd.DataFrame, symptom_window_days: int) -> pd.DataFrame:
    """Known open until, known occluding by, and what the latest visit found, one row a gap."""
    latest = evidence.drop_duplicates("gap", keep="last").set_index("gap")
    last_open = evidence[evidence["open"]].groupby("gap")["days"].max().reindex(latest.index).fillna(0.0)
    by = latest["days"].where(latest["occluding"])
    windowed = (by - symptom_window_days).where(latest["brought"])
    filling = (evidence["found"] == "non_occluding") & ~evidence["occluding"]
    left, at_call = filling & ~evidence["ends"], evidence["booking_kind"] == "symptoms_return"
    times = {"left_at_calls": left & at_call, "left_otherwise": left & ~at_call}
    counted = {name: which.groupby(evidence["gap"]).sum() for name, which in times.items()}
    return pd.DataFrame(
        {
            "open_until_days": last_open.where(~(windowed > last_open), windowed),
            "occluding_by_days": by,
            "return_kind": latest["booking_kind"],
            "grade_at_return": latest["found"],
            "cleaned_open": (latest["found"] == "non_occluding") & ~latest["occluding"] & latest["ends"],
            "ended_ungraded": latest["found"].isna() & latest["ends"],
            **counted,
        }
    )


def _first_return(
    found: pd.DataFrame, visits: pd.DataFrame, last_day: pd.Timestamp, second_attempt_days: int
) -> pd.DataFrame:
    """Whether the patient came back at all after each gap's start, when first and as what kind of booking."""
    came = attended_visits(visits, last_day)[["patient_key", "day", "booking_kind"]]
    pairs = found[["patient_key", "cleared_on"]].reset_index(names="gap").merge(came, on="patient_key")
    days = (pairs["day"] - pairs["cleared_on"]).dt.days
    unknown_kind = pairs["booking_kind"].isna()
    second = (pairs["booking_kind"] == "second_attempt") | (unknown_kind & (days <= second_attempt_days))
    later = pairs.assign(days=days)[(days > 0) & ~second].sort_values(["gap", "days"])
    first = later.drop_duplicates("gap").set_index("gap").reindex(found.index)
    return pd.DataFrame(
        {"returned": first["days"].notna(), "return_days": first["days"], "first_return_kind": first["booking_kind"]}
    )


def _name_return(found: pd.DataFrame) -> pd.DataFrame:
    """Name the kind of return also where the visit did not see this ear; none where nobody came back."""
    kind = found["return_kind"].where(found["return_kind"] != "second_attempt").fillna(found["first_return_kind"])
    return found.assign(
        return_kind=kind.where(found["returned"]), grade_at_return=found["grade_at_return"].where(found["returned"])
    )
