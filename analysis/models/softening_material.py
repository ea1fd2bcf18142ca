"""What a comparison of softening is fitted on: rows, arms, outcome and case mix, one outcome a function."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.case_mix import FEWEST_IN_LEVEL, CaseMix, case_mix, level_columns
from analysis.models.softening_sample import (
    CONTRASTS,
    EAR_FACTS,
    FACTS,
    VISIT_FACTS,
    Sample,
    compared_ears,
    compared_visits,
    followed_visits,
)
from analysis.problems import NotEnough


@dataclass(frozen=True, eq=False)
class Material:
    """Rows ready to be compared.

    Attributes
    ----------
    contrast : str
        ``advised`` or ``used``.
    sample : Sample
        Rows and what was left out.
    columns : pandas.DataFrame
        The case mix as numbers.
    mix : CaseMix
        Levels joined, blanks.
    treated : numpy.ndarray of bool, shape (n,)
    outcome : numpy.ndarray, shape (n,)
    shares : bool
        Whether the outcome is a yes or no.
    """

    contrast: str
    sample: Sample
    columns: pd.DataFrame
    mix: CaseMix
    treated: np.ndarray
    outcome: np.ndarray
    shares: bool


def ears_material(attempts: pd.DataFrame, *, contrast: str, fewest_ears: int, followed_until: pd.Timestamp) -> Material:
    """Take first attempts on occluding ears, and whether they succeeded.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``.
    contrast : str
        ``advised`` or ``used``.
    fewest_ears : int
        Ears the smaller arm needs.
    followed_until : pandas.Timestamp
        Last day whose attempts were followed for the full days.

    Returns
    -------
    Material

    Raises
    ------
    NotEnough
        If the log lacks a fact, the smaller arm has too few ears, or an arm has
        fewer than 5 successes or failures.
    """
    sample = compared_ears(attempts, contrast=contrast, followed_until=followed_until)
    outcome = sample.rows["success"].to_numpy(dtype=bool)
    treated = in_arm(sample, contrast)
    refuse_few(treated, contrast, fewest_ears, "ears")
    refuse_one_sided(treated, outcome, contrast)
    mix = case_mix(sample.rows, FACTS, treated=treated, outcome=outcome)
    return Material(contrast, sample, level_columns(mix.levels), mix, treated, outcome, shares=True)


def minutes_material(attempts: pd.DataFrame, *, contrast: str, fewest_visits: int) -> Material:
    """Take first-attempt visits and their minutes in the chair; see ``ears_material``."""
    sample = compared_visits(attempts, contrast=contrast)
    return _visits_material(sample, contrast, fewest_visits, "minutes", shares=False)


def second_visits_material(
    attempts: pd.DataFrame, *, contrast: str, fewest_visits: int, followed_until: pd.Timestamp
) -> Material:
    """Take first-attempt visits, and whether a further attempt followed at any of their ears; see ``ears_material``."""
    if attempts["patient_key"].isna().all():
        raise NotEnough(
            "The log has no patient numbers, so nobody's second visit can be seen.",
            "Keep a patient number in the export; it is made unreadable before anything is stored.",
        )
    sample = followed_visits(attempts, contrast=contrast, followed_until=followed_until)
    return _visits_material(sample, contrast, fewest_visits, "tried_again", shares=True)


def events_material(
    attempts: pd.DataFrame, events: pd.Series, *, contrast: str, fewest_visits: int, followed_until: pd.Timestamp
) -> Material:
    """Take first-attempt visits, and whether an event was written down.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``.
    events : pandas.Series of boolean
        By ``visit_id``; empty where nothing is recorded.
    contrast, fewest_visits, followed_until
        As for ``ears_material``.

    Returns
    -------
    Material

    Raises
    ------
    NotEnough
        Also if events are recorded nowhere.
    """
    if events.isna().all():
        raise NotEnough(
            "The log records no events.",
            "Write down of every visit whether anything untoward happened; 'none' for none.",
        )
    rows = attempts.assign(event=attempts["visit_id"].map(events).astype("boolean"))
    sample = followed_visits(rows, contrast=contrast, followed_until=followed_until, known="event")
    return _visits_material(sample, contrast, fewest_visits, "event", shares=True)


def _visits_material(sample: Sample, contrast: str, fewest: int, outcome_name: str, *, shares: bool) -> Material:
    """Bring the ears of each visit to one row a visit."""
    visits = Sample(sample.rows.drop_duplicates("visit_id").reset_index(drop=True), sample.left_out)
    treated = in_arm(visits, contrast)
    refuse_few(treated, contrast, fewest, "visits")
    outcome = visits.rows[outcome_name].to_numpy(dtype=bool if shares else float)
    if shares:
        refuse_one_sided(treated, outcome, contrast, of_what="visits", good="had it", bad="had it not")
    ear_outcome = sample.rows[outcome_name].to_numpy(dtype=bool) if shares else None
    ear_mix = case_mix(sample.rows, EAR_FACTS, treated=in_arm(sample, contrast), outcome=ear_outcome)
    visit_mix = case_mix(visits.rows, VISIT_FACTS, treated=treated, outcome=outcome if shares else None)
    columns = pd.concat([ear_counts(sample, visits, ear_mix), level_columns(visit_mix.levels)], axis=1)
    mix = CaseMix(
        visit_mix.levels,
        ear_mix.joined | visit_mix.joined,
        ear_mix.not_recorded | visit_mix.not_recorded,
        ear_mix.unrecorded + visit_mix.unrecorded,
    )
    return Material(contrast, visits, columns, mix, treated, outcome, shares)


def in_arm(sample: Sample, contrast: str) -> np.ndarray:
    """Say of each row whether it is in the softened arm."""
    return sample.rows[CONTRASTS[contrast]].to_numpy(dtype=bool)


def ear_counts(sample: Sample, visits: Sample, mix: CaseMix) -> pd.DataFrame:
    """Count, visit by visit, the ears worked on and those at each level of each ear fact."""
    columns = level_columns(mix.levels).assign(ears_worked=1.0)
    summed = columns.groupby(sample.rows["visit_id"]).sum()
    return summed.loc[visits.rows["visit_id"]].reset_index(drop=True)


def refuse_few(treated: np.ndarray, contrast: str, fewest: int, of_what: str) -> None:
    """Say how many more the smaller arm needs."""
    with_it, without = int(treated.sum()), int((~treated).sum())
    short = fewest - min(with_it, without)
    if short <= 0:
        return
    smaller = f"softening {contrast}" if with_it <= without else f"softening not {contrast}"
    raise NotEnough(
        f"Not enough {of_what} yet: {short:,} more with {smaller}. Only {min(with_it, without):,} {of_what} can be "
        f"compared with {smaller}; at least {fewest:,} are needed.",
        f"Go on recording where softening was {contrast} and where not.",
    )


def refuse_one_sided(
    treated: np.ndarray,
    outcome: np.ndarray,
    contrast: str,
    *,
    of_what: str = "ears",
    good: str = "succeeded",
    bad: str = "failed",
) -> None:
    """Refuse an arm in which nearly every row ended alike."""
    for name, arm in ((f"softening {contrast}", treated), (f"softening not {contrast}", ~treated)):
        for what, many in ((good, outcome[arm].sum()), (bad, (~outcome[arm]).sum())):
            if many < FEWEST_IN_LEVEL:
                raise NotEnough(
                    f"Of {arm.sum():,} {of_what} with {name} only {many:,} {what}; at least {FEWEST_IN_LEVEL} are needed.",
                    "Wait until the log is larger.",
                )
