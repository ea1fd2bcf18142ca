"""Attempts: an ear's visits in order, and whether each attempt succeeded."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.schema import ATTEMPTS, METHOD_JOIN, OCCLUDING, SUCCESSES, typed_frame
from analysis.stats.places import place_of

FROM_EAR = ["visit_id", "ear", "grade", "impacted", "debris", "canal", "methods", "outcome", "eardrum", "middle_ear"]
FROM_VISIT = [
    "patient_key",
    "minutes",
    "minutes_quality",
    "softening_advised",
    "softener",
    "softening_days",
    "booking_kind",
    "age_band",
    "hearing_aid",
    "practitioner",
    "site",
]


def attempts(
    visits: pd.DataFrame, ears: pd.DataFrame, *, second_attempt_days: int, last_day: pd.Timestamp
) -> pd.DataFrame:
    """List every attempt at an ear: which attempt of its episode it was, and whether it succeeded.

    Parameters
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS``.
    second_attempt_days : int
        Days. Another attempt on the ear within these (the last day included)
        belongs to the same episode and undoes a success.
    last_day : pandas.Timestamp
        Last day the log covers; later attempts are not looked at.

    Returns
    -------
    pandas.DataFrame
        The table ``ATTEMPTS``, one row an ear worked on at an attended visit,
        in order of time, whatever the order of the rows given.

    Notes
    -----
    *Attempt.* An ear on which something was done. An export that keeps no
    methods at all cannot say so; there it is an ear graded partly or fully
    occluding, or not graded, whose outcome is not "nothing to remove" (an ear
    neither graded nor given an outcome is no attempt). In an export that keeps
    methods, an ear without one is no attempt even where it was found clear
    afterwards: counting only the cleared ones would flatter the clinic.

    *Success.* The outcome was clear, or a non-occluding remnant left, and no
    further attempt on that ear followed within the days. It is empty

    - while the follow-up is shorter than the days, unless the attempt has
      failed already (whoever reports shares leaves these latest days out
      altogether, for only failures are known in them);
    - where no outcome was recorded. That no further attempt followed is no
      proof of success, the patient may have gone elsewhere; and to count only
      the failures that a further attempt gives away would be one-sided;
    - where the outcome is "nothing to remove" though something was done.

    Without a patient number each visit is taken for a patient of its own: no
    further attempt can be seen, and success rests on the outcome alone.

    *Contraindicated.* An operated canal, a perforation or an abnormal eardrum
    on record; empty where canal, eardrum and middle ear are all unrecorded.
    *Softening used.* An agent named, or days of softening above nought.

    Examples
    --------
    >>> from analysis.schema import EAR_ROWS, VISITS
    >>> visits = typed_frame(VISITS, pd.DataFrame({
    ...     "visit_id": ["v1", "v2"], "patient_key": ["p1", "p1"], "attendance": ["attended"] * 2,
    ...     "slot_start": pd.to_datetime(["2026-03-02 09:00", "2026-03-16 09:00"])}))
    >>> ears = typed_frame(EAR_ROWS, pd.DataFrame({
    ...     "visit_id": ["v1", "v2"], "ear": ["left"] * 2, "methods": ["fine_suction>hook_or_loop", "irrigation"],
    ...     "outcome": ["occluding_left", "clear"]}))
    >>> table = attempts(visits, ears, second_attempt_days=28, last_day=pd.Timestamp("2026-06-30"))
    >>> table[["attempt_number", "last_method", "success"]].to_numpy().tolist()
    [[1, 'hook_or_loop', False], [2, 'irrigation', True]]
    """
    worked = _ears_worked_on(visits, ears, last_day)
    again = _tried_again(worked.pop("whose").to_numpy(), worked["day"].to_numpy(), second_attempt_days)
    followed = worked["day"] + pd.Timedelta(days=second_attempt_days) <= last_day
    worked["attempt_number"] = again.number
    worked["success"] = _success(worked["outcome"], again.later, followed)
    worked["contraindicated"] = _contraindicated(worked)
    worked["softening_used"] = _softening_used(worked)
    visit = worked.pop("visit")
    worked["ears_worked"] = np.bincount(visit)[visit]
    worked["first_method"] = worked["methods"].map(lambda methods: methods.split(METHOD_JOIN)[0], na_action="ignore")
    worked["last_method"] = worked["methods"].map(lambda methods: methods.split(METHOD_JOIN)[-1], na_action="ignore")
    return typed_frame(ATTEMPTS, worked)


def _ears_worked_on(visits: pd.DataFrame, ears: pd.DataFrame, last_day: pd.Timestamp) -> pd.DataFrame:
    """Join each ear that was worked on to its attended visit, in order of time; number visits, and whose ear it is."""
    moment = visits["slot_start"].fillna(visits["started_at"])
    came = np.flatnonzero((visits["attendance"] == "attended") & (moment.dt.normalize() <= last_day))
    named = pd.DataFrame({"moment": moment.iloc[came], "name": visits["visit_id"].iloc[came]}).reset_index(drop=True)
    came = came[named.sort_values(["moment", "name"]).index]
    names = visits["visit_id"].iloc[came]
    if not names.is_unique:
        raise ValueError("A visit occurs more than once.")
    place = place_of(ears["visit_id"], names)
    mine = ears[FROM_EAR].assign(methods=ears["methods"].replace("", None).astype("category"))
    export, _ = pd.factorize(visits["source_file"].iloc[came])
    rows = np.flatnonzero(_worked_on(mine, np.append(export, -1)[place], place >= 0))
    rows = rows[np.lexsort([ears["ear"].cat.codes.to_numpy()[rows] % 3, place[rows]])]  # an ear not named comes last
    theirs = visits[FROM_VISIT].iloc[came[place[rows]]]
    worked = pd.concat([mine.iloc[rows].reset_index(drop=True), theirs.reset_index(drop=True)], axis=1)
    return worked.assign(
        day=moment.dt.normalize().to_numpy()[came[place[rows]]],
        visit=place[rows],
        whose=_whose_ear(visits["patient_key"].iloc[came], place[rows], worked["ear"]),
    )


def _worked_on(ears: pd.DataFrame, export: np.ndarray, attended: np.ndarray) -> np.ndarray:
    """Say of each ear whether something was done at an attended visit, export by export as each keeps its methods."""
    done = ears["methods"].notna().to_numpy()
    keeps_methods = np.isin(export, np.unique(export[done & attended]))
    grade, outcome = ears["grade"], ears["outcome"]
    occluding = grade.isin(OCCLUDING) | (grade.isna() & outcome.notna())
    return attended & (done | (~keeps_methods & (occluding & (outcome != "nothing_to_remove")).to_numpy()))


def _whose_ear(patients: pd.Series, visit: np.ndarray, ear: pd.Series) -> np.ndarray:
    """Give ears their numbers; without a patient number every visit is a patient of its own."""
    patient, different = pd.factorize(patients)
    whose = np.where(patient >= 0, patient, len(different) + np.arange(len(patients)))
    return whose[visit] * 3 + ear.cat.codes.to_numpy()


def _tried_again(whose: np.ndarray, day: np.ndarray, episode_days: int) -> pd.DataFrame:
    """Give each attempt's number in its episode, and whether a ``later`` one belongs to it, of attempts in order of time."""
    order = np.argsort(whose, kind="stable")
    days = np.diff(day[order]) / np.timedelta64(1, "D")
    belongs = (np.diff(whose[order]) == 0) & (days <= episode_days)
    place, begins = np.arange(len(order)), np.zeros(len(order), dtype=np.int64)
    begins[1:] = np.where(belongs, 0, place[1:])
    later = np.zeros(len(order), dtype=bool)
    later[:-1] = belongs
    number = place - np.maximum.accumulate(begins) + 1
    return pd.DataFrame({"number": number, "later": later}, index=order).sort_index()


def _success(outcome: pd.Series, tried_again: pd.Series, followed: pd.Series) -> pd.Series:
    """Say success, failure, or nothing where neither is known."""
    good = outcome.isin(SUCCESSES)
    unknown = outcome.isna() | (outcome == "nothing_to_remove") | (good & ~tried_again & ~followed)
    return (good & ~tried_again).astype("boolean").mask(unknown)


def _contraindicated(worked: pd.DataFrame) -> pd.Series:
    """Say whether the record speaks against drops or water, where it says anything."""
    found = (
        (worked["canal"] == "operated")
        | (worked["eardrum"] == "seen_abnormal")
        | (worked["middle_ear"] == "perforation")
    )
    silent = worked[["canal", "eardrum", "middle_ear"]].isna().all(axis=1)
    return found.astype("boolean").mask(silent)


def _softening_used(worked: pd.DataFrame) -> pd.Series:
    """Say whether an agent was used before the visit, where agent or days are recorded."""
    agent, days = worked["softener"], worked["softening_days"]
    used = np.where(agent.notna(), agent != "none", days > 0)
    return pd.Series(used, index=worked.index, dtype="boolean").mask(agent.isna() & days.isna())
