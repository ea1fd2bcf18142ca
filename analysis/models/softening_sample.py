"""Which ears and visits a comparison of softening rests on, and which it leaves out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.problems import NotEnough
from analysis.schema import OCCLUDING

EAR_FACTS = ("grade", "impacted", "debris", "canal")
VISIT_FACTS = ("age_band", "hearing_aid", "booking_kind", "practitioner")
FACTS = (*EAR_FACTS, *VISIT_FACTS)
"""What is made alike in both arms."""
CONTRASTS = {"advised": "softening_advised", "used": "softening_used"}
"""Column that says which arm an ear is in: what a booking message changes, and what the ear received."""
MEASURED = ("timed", "rounded")
ADVICE = "Record at every booking whether softening was advised."
USE = "Ask at every visit which agent was used before it, and for how many days; write 'none' for none."
REMEDIES = {"advised": ADVICE, "used": USE}


@dataclass(frozen=True, eq=False)
class Sample:
    """Rows compared.

    Attributes
    ----------
    rows : pandas.DataFrame
        Rows of ``ATTEMPTS``.
    left_out : dict of str to int
        Code of a reason, and how many ears (or visits) were left out for it; a
        row counts once, under the first reason that fits.
    """

    rows: pd.DataFrame
    left_out: dict[str, int]

    @property
    def whose(self) -> np.ndarray:
        """Patient of each row; a visit without a patient number is one of its own."""
        return self.rows["patient_key"].fillna("visit " + self.rows["visit_id"]).to_numpy(dtype=object)


def compared_ears(
    attempts: pd.DataFrame, *, contrast: str, followed_until: pd.Timestamp, keep_contraindicated: bool = False
) -> Sample:
    """Take the ears on which success at the first attempt is compared.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``.
    contrast : str
        ``advised`` or ``used``.
    followed_until : pandas.Timestamp
        Last day whose attempts were followed for the full days. Later ones are
        left out altogether: of them only failures are known.
    keep_contraindicated : bool, optional
        Keep ears on which softening or irrigation was contraindicated, to see
        what leaving them out does.

    Returns
    -------
    Sample
        First attempts on partly or fully occluding ears, arm and success known.

    Raises
    ------
    NotEnough
        If the log has no such ears because it lacks a fact.
    """
    _refuse_empty(attempts, contrast)
    reasons = _ear_reasons(attempts, contrast, followed_until, keep_contraindicated=keep_contraindicated)
    sample = _sifted(attempts, reasons)
    if sample.rows.empty and attempts["success"].isna().all():
        raise NotEnough(
            "No attempt in the log has both a recorded outcome and a follow-up that is long enough.",
            "Record for every ear worked on whether it ended clear, with a remnant, or still occluding.",
        )
    return sample


def other_ears(
    attempts: pd.DataFrame, *, contrast: str, followed_until: pd.Timestamp, beside_occluding: bool
) -> Sample:
    """Take first attempts on ears that were not occluding.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``.
    contrast : str
        ``advised`` or ``used``.
    followed_until : pandas.Timestamp
        Last day whose attempts were followed for the full days.
    beside_occluding : bool
        Take only ears whose other ear was occluding, and a first attempt too, at
        the same visit: people softened for that one.

    Returns
    -------
    Sample
        Otherwise as ``compared_ears``; ``left_out`` names ``occluding`` and, where
        asked for, ``no_occluding_ear_beside``.

    Raises
    ------
    NotEnough
        If the log lacks a fact.
    """
    _refuse_empty(attempts, contrast)
    reasons = _ear_reasons(attempts, contrast, followed_until)
    del reasons["not_occluding"]
    reasons["occluding"] = occluding = attempts["grade"].isin(OCCLUDING)
    if beside_occluding:
        first = occluding & ~_later_attempt(attempts)
        reasons["no_occluding_ear_beside"] = ~first.groupby(attempts["visit_id"]).transform("any")
    return _sifted(attempts, reasons)


def compared_visits(attempts: pd.DataFrame, *, contrast: str) -> Sample:
    """Take the visits on which minutes are compared, with every ear worked on at them.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``.
    contrast : str
        ``advised`` or ``used``.

    Returns
    -------
    Sample
        All ears worked on at visits with a partly or fully occluding ear, whose
        ears are all first attempts and none contraindicated, with minutes that
        were measured. ``left_out`` counts visits.

    Raises
    ------
    NotEnough
        If the log has no such visits because it lacks a fact.
    """
    _refuse_empty(attempts, contrast)
    visit = attempts["visit_id"]
    reasons = _visit_reasons(attempts, contrast) | {
        "minutes_not_measured": ~attempts["minutes_quality"].isin(MEASURED) | attempts["minutes"].isna(),
    }
    sample = _sifted(attempts, reasons, by=visit)
    if sample.rows.empty and not attempts["minutes_quality"].isin(MEASURED).any():
        raise NotEnough(
            "The log holds no measured minutes.", "Record when each visit starts and when it ends, to the minute."
        )
    return sample


def followed_visits(attempts: pd.DataFrame, *, contrast: str, followed_until: pd.Timestamp, known: str = "") -> Sample:
    """Take the visits on which what followed them is compared, with every ear worked on at them.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``.
    contrast : str
        ``advised`` or ``used``.
    followed_until : pandas.Timestamp
        Last day whose attempts were followed for the full days.
    known : str, optional
        A column that must be recorded.

    Returns
    -------
    Sample
        As ``compared_visits``, without asking for minutes, and with a column
        ``tried_again``: whether a further attempt followed at any of the visit's
        ears within the set days.
    """
    _refuse_empty(attempts, contrast)
    visit = attempts["visit_id"]
    reasons = _visit_reasons(attempts, contrast) | {"too_recent": attempts["day"] > followed_until}
    if known:
        reasons["outcome_not_recorded"] = attempts[known].isna()
    marked = attempts.assign(tried_again=_tried_again(attempts).groupby(visit).transform("any"))
    return _sifted(marked, reasons, by=visit)


def _tried_again(attempts: pd.DataFrame) -> pd.Series:
    """Mark attempts whose ear's next attempt belongs to the same episode."""
    following = attempts.groupby(["patient_key", "ear"], observed=True)["attempt_number"].shift(-1)
    return (following == attempts["attempt_number"] + 1).fillna(value=False).astype(bool)


def _ear_reasons(
    attempts: pd.DataFrame, contrast: str, followed_until: pd.Timestamp, *, keep_contraindicated: bool = False
) -> dict[str, pd.Series]:
    """Mark the ears that the comparison of success does not take."""
    return {
        "later_attempt": _later_attempt(attempts),
        "too_recent": attempts["day"] > followed_until,
        "grade_not_recorded": attempts["grade"].isna(),
        "not_occluding": ~attempts["grade"].isin(OCCLUDING),
        "contraindicated": attempts["contraindicated"].fillna(value=False) & (not keep_contraindicated),
        "arm_not_recorded": attempts[CONTRASTS[contrast]].isna(),
        "outcome_not_recorded": attempts["success"].isna(),
    }


def _visit_reasons(attempts: pd.DataFrame, contrast: str) -> dict[str, pd.Series]:
    """Mark the visits that no comparison by visit takes."""
    visit = attempts["visit_id"]
    return {
        "later_attempt": _later_attempt(attempts).groupby(visit).transform("any"),
        "grade_not_recorded": attempts["grade"].isna().groupby(visit).transform("any"),
        "not_occluding": ~attempts["grade"].isin(OCCLUDING).groupby(visit).transform("any"),
        "contraindicated": attempts["contraindicated"].fillna(value=False).groupby(visit).transform("any"),
        "arm_not_recorded": attempts[CONTRASTS[contrast]].isna(),
    }


def _refuse_empty(attempts: pd.DataFrame, contrast: str) -> None:
    """Say which fact the log lacks altogether."""
    if attempts.empty:
        raise NotEnough(
            "The log shows no ear that was worked on.", "Record for each ear the methods used, or grade and outcome."
        )
    if attempts[CONTRASTS[contrast]].isna().all():
        raise NotEnough(f"The log does not say where softening was {contrast}.", REMEDIES[contrast])
    if attempts["grade"].isna().all():
        raise NotEnough(
            "The log holds no occlusion grades, and without them easy ears cannot be told from hard ones.",
            "Record for each ear whether it is clear, non-occluding, partly or fully occluding.",
        )


def _later_attempt(attempts: pd.DataFrame) -> pd.Series:
    """Mark what is no first attempt, by the ear's own history or by how it was booked."""
    return (attempts["attempt_number"] > 1).astype(bool) | (attempts["booking_kind"] == "second_attempt")


def _sifted(attempts: pd.DataFrame, reasons: dict[str, pd.Series], by: pd.Series | None = None) -> Sample:
    """Leave rows out reason by reason, counting each row (or visit) once."""
    kept = np.ones(len(attempts), dtype=bool)
    left_out = {}
    for reason, marked in reasons.items():
        hit = kept & marked.to_numpy(dtype=bool)
        left_out[reason] = int(hit.sum()) if by is None else int(by[hit].nunique())
        kept &= ~hit
    return Sample(attempts[kept].reset_index(drop=True), left_out)
