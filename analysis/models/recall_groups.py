"""Whose ears have a recall curve of their own."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pandas as pd

from analysis.models.recall_enough import enough
from analysis.models.recall_evidence import EVERYONE, absence_tells
from analysis.models.recall_group_names import recall_group_names, recall_groups
from analysis.models.recall_returns import Returns, patient_returns
from analysis.settings import RecallPart


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
