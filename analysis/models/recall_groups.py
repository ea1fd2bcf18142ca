"""Whose ears have a recall curve of their own, and what a log too thin for one lacks."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pandas as pd

from analysis.models.recall_evidence import EVERYONE, absence_tells
from analysis.models.recall_group_names import recall_group_names, recall_groups
from analysis.models.recall_returns import Returns, patient_returns
from analysis.problems import NotEnough
from analysis.settings import RecallPart

FEWEST_OCCLUDING = 10
"""Ears found occluding again that a curve needs (our choice, no source)."""
FEWEST_DAYS_APART = 60
"""Days between the times after which the 5 and 95 in 100 of ears were seen again, for a curve (our choice, no source)."""
DAYS_A_MONTH = 30.4375


@dataclass(frozen=True, eq=False)
class Group:
    """A group's first clearances and how long its patients stay away."""

    name: str
    first: pd.DataFrame
    returns: list[Returns]


def everyone_and_groups(
    gaps: pd.DataFrame, first: pd.DataFrame, settings: RecallPart, facts: tuple[str, ...]
) -> tuple[Group, list[Group]]:
    """Form everyone's group, and those with enough ears for a curve of their own.

    Parameters
    ----------
    gaps, first : pandas.DataFrame
        The table ``GAPS``, and ``first_clearances`` of it.
    settings : RecallPart
        Ears graded at a later visit that a group needs, and the symptom window.
    facts : tuple of str
        What makes the groups, as in the setting ``groups``; by hearing aid where there are none.

    Returns
    -------
    (Group, list of Group)
        A group whose own share of never-returners, or of those who never call, is known too
        loosely has everyone's. Where staying away says nothing, all who do are taken for gone.
    """
    telling = absence_tells(gaps)
    window = settings.symptom_window_days
    whole = patient_returns(gaps, window)
    of_first, of_gaps = recall_group_names(first, facts), recall_group_names(gaps, facts)
    own = []
    for name in recall_groups(facts):
        its_first = first[of_first == name]
        if enough(its_first, settings.fewest_ears):
            returns = patient_returns(gaps[of_gaps == name], window, whole=whole)
            own.append(Group(name, its_first, told_returns(returns, telling=telling)))
    return Group(EVERYONE, first, told_returns(whole, telling=telling)), own


def told_returns(returns: list[Returns], *, telling: bool) -> list[Returns]:
    """Take everyone who stays away for gone where staying away says nothing of the ears."""
    return returns if telling else [replace(each, never=1.0, error=0.0) for each in returns]


def graded_later(first: pd.DataFrame) -> pd.Series:
    """Say of each gap whether a later visit showed the ear's state."""
    return (first["open_until_days"] > 0) | first["occluding_by_days"].notna()


def enough(first: pd.DataFrame, fewest_ears: int) -> bool:
    """Say whether ears are enough for a curve."""
    return bool(
        graded_later(first).sum() >= fewest_ears and first["occluding_by_days"].notna().sum() >= FEWEST_OCCLUDING
    )


def refuse_too_little(first: pd.DataFrame, fewest_ears: int) -> None:
    """Say in plain words what the log lacks.

    Raises
    ------
    NotEnough
        If no clearance can be followed, nobody came back, no ear was graded on
        return, too few were, or all were seen about as long after their clearance.
    """
    if first.empty:
        raise NotEnough(
            "The log holds no cleared ear of a known patient.",
            "Record a patient number at every visit, and each ear's outcome.",
        )
    if not first["returned"].any():
        raise NotEnough(
            "Nobody has come back yet after an ear was cleared.",
            "Keep one patient number for each patient, and wait until patients have come back.",
        )
    graded, occluding = int(graded_later(first).sum()), int(first["occluding_by_days"].notna().sum())
    if graded == 0:
        raise NotEnough("No ear was graded when its patient came back.", "Record each ear's grade at every visit.")
    if not enough(first, fewest_ears):
        raise NotEnough(
            f"Only {graded} cleared ears were graded at a later visit, {occluding} of them occluding; "
            f"a curve needs {fewest_ears}, {FEWEST_OCCLUDING} of them occluding.",
            "Record each ear's grade at every visit, and wait until more patients have come back.",
        )
    _refuse_one_moment(first)


def _refuse_one_moment(first: pd.DataFrame) -> None:
    """Refuse ears all seen about as long after their clearance: one point settles no curve."""
    seen = first["occluding_by_days"].fillna(first["open_until_days"])[graded_later(first)]
    early, late = seen.quantile([0.05, 0.95])
    if late - early < FEWEST_DAYS_APART:
        raise NotEnough(
            f"Nearly all ears seen again were seen about {round(float(seen.median()) / DAYS_A_MONTH)} months after they were "
            "cleared. That says how many are occluding by then, but not how many sooner or later.",
            "Wait until people have come back after shorter and longer times too, or take in earlier exports.",
        )
