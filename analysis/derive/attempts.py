"""Attempts: an ear's visits in order, and whether each attempt succeeded."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.schema import ATTEMPTS, METHOD_JOIN, OCCLUDING, SUCCESSES, typed_frame
from analysis.stats.places import place_of

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
    worked = _ears_worked_on(visits, ears)
    worked = worked[worked["day"] <= last_day].sort_values(["moment", "visit_id", "ear"]).reset_index(drop=True)
    days_since = _days_since_last_attempt(worked)
    first = ~(days_since <= second_attempt_days)
    tried_again = _days_to_next_attempt(worked) <= second_attempt_days
    followed = worked["day"] + pd.Timedelta(days=second_attempt_days) <= last_day
    worked["attempt_number"] = _place_in_episode(worked, first)
    worked["success"] = _success(worked["outcome"], tried_again, followed)
    worked["contraindicated"] = _contraindicated(worked)
    worked["softening_used"] = _softening_used(worked)
    worked["ears_worked"] = worked.groupby("visit_id")["ear"].transform("size")
    worked["first_method"] = worked["methods"].str.replace(f"{METHOD_JOIN}.*", "", regex=True)
    worked["last_method"] = worked["methods"].str.replace(f".*{METHOD_JOIN}", "", regex=True)
    return typed_frame(ATTEMPTS, worked)


def _ears_worked_on(visits: pd.DataFrame, ears: pd.DataFrame) -> pd.DataFrame:
    """Join each ear that was worked on to its attended visit."""
    moment = visits["slot_start"].fillna(visits["started_at"])
    kept = visits[["visit_id", "source_file", *FROM_VISIT]].assign(moment=moment, day=moment.dt.normalize())
    kept = kept[(visits["attendance"] == "attended") & moment.notna()]
    if kept["visit_id"].duplicated().any():
        raise ValueError("A visit occurs more than once.")
    place = place_of(ears["visit_id"], kept["visit_id"])
    mine, theirs = ears.drop(columns="minutes")[place >= 0], kept.drop(columns="visit_id").iloc[place[place >= 0]]
    joined = pd.concat([mine.reset_index(drop=True), theirs.reset_index(drop=True)], axis=1)
    joined["methods"] = joined["methods"].where(joined["methods"].str.len() > 0)
    return joined[_worked_on(joined)].assign(whose=lambda ear: _whose_ear(ear))


def _worked_on(joined: pd.DataFrame) -> pd.Series:
    """Say of each ear whether something was done, export by export as each keeps its methods."""
    done = joined["methods"].notna()
    keeps_methods = done.groupby(joined["source_file"].fillna("")).transform("any")
    grade, outcome = joined["grade"], joined["outcome"]
    occluding = grade.isin(OCCLUDING) | (grade.isna() & outcome.notna())
    return done | (~keeps_methods & occluding & (outcome != "nothing_to_remove"))


def _whose_ear(worked: pd.DataFrame) -> pd.Series:
    """Give ears their numbers; without a patient number every visit is a patient of its own."""
    patient, patients = pd.factorize(worked["patient_key"])
    visit, _ = pd.factorize(worked["visit_id"])
    ear, ears = pd.factorize(worked["ear"], use_na_sentinel=False)
    whose = np.where(patient >= 0, patient, len(patients) + visit)
    return pd.Series(whose * len(ears) + ear, index=worked.index)


def _days_since_last_attempt(worked: pd.DataFrame) -> pd.Series:
    """Days since the ear's former attempt; empty for its first in the log."""
    return worked.groupby("whose")["day"].diff().dt.days


def _days_to_next_attempt(worked: pd.DataFrame) -> pd.Series:
    """Days to the ear's next attempt; empty for its last in the log."""
    return -worked.groupby("whose")["day"].diff(-1).dt.days


def _place_in_episode(worked: pd.DataFrame, first: pd.Series) -> pd.Series:
    """Count the attempts of each ear's episode from 1."""
    episode = first.groupby(worked["whose"]).cumsum()
    return worked.groupby([worked["whose"], episode]).cumcount() + 1


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
