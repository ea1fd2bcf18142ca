"""Which group of patients an ear belongs to: by hearing aid, or by the facts the owner named."""

from __future__ import annotations

import itertools

import pandas as pd

YES, NO = "yes", "no"
OLDER = ("60_74", "75_and_over")
SPLITS = ("hearing_aid", "cotton_bud", "age_60", "canal")
GROUPS = {True: "hearing_aid", False: "no_hearing_aid"}
"""The groups where the owner named no facts."""


def group_names(gaps: pd.DataFrame, facts: tuple[str, ...]) -> pd.Series:
    """Name each gap's group; empty where a fact was not noted.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``.
    facts : tuple of str
        Of ``SPLITS``.

    Returns
    -------
    pandas.Series of str

    Examples
    --------
    >>> from analysis.schema import GAPS, typed_frame
    >>> gaps = typed_frame(GAPS, pd.DataFrame({"hearing_aid": [True, None], "age_band": ["75_and_over", "18_39"]}))
    >>> group_names(gaps, ("hearing_aid", "age_60")).tolist()
    ['hearing_aid:yes age_60:yes', '']
    """
    named = pd.Series("", index=gaps.index, dtype="str")
    known = pd.Series(True, index=gaps.index)
    for fact in facts:
        holds, noted = _holds(gaps, fact)
        known &= noted
        named = named + f"{fact}:" + holds.map({True: YES, False: NO}).astype("str") + " "
    return named.str.strip().where(known, "")


def _holds(gaps: pd.DataFrame, fact: str) -> tuple[pd.Series, pd.Series]:
    """Say of each gap whether a fact holds, and whether it was noted."""
    if fact == "age_60":
        return gaps["age_band"].isin(OLDER), gaps["age_band"].notna()
    if fact == "canal":
        return gaps["canal"] != "ordinary", gaps["canal"].notna()
    return (gaps[fact] == True).fillna(False).astype(bool), gaps[fact].notna()  # noqa: E712 (yes, no or not noted)


def all_names(facts: tuple[str, ...]) -> list[str]:
    """List the groups some facts make, those in whom they hold first.

    Examples
    --------
    >>> all_names(("hearing_aid",))
    ['hearing_aid:yes', 'hearing_aid:no']
    """
    parts = [[f"{fact}:{holds}" for holds in (YES, NO)] for fact in facts]
    return [" ".join(each) for each in itertools.product(*parts)] if facts else []


def recall_group_names(gaps: pd.DataFrame, facts: tuple[str, ...]) -> pd.Series:
    """Name the group by which each gap's ear is recalled: the owner's, or by hearing aid where no facts are named.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``, or any with the columns the facts need.
    facts : tuple of str
        The setting ``groups``.

    Returns
    -------
    pandas.Series of str
        Empty where a fact was not noted.

    Examples
    --------
    >>> from analysis.schema import GAPS, typed_frame
    >>> gaps = typed_frame(GAPS, pd.DataFrame({"hearing_aid": [True, None], "age_band": ["75_and_over", "18_39"]}))
    >>> recall_group_names(gaps, ()).tolist(), recall_group_names(gaps, ("age_60",)).tolist()
    (['hearing_aid', ''], ['age_60:yes', 'age_60:no'])
    """
    if facts:
        return group_names(gaps, facts)
    return gaps["hearing_aid"].map(GROUPS).astype("str").fillna("")


def recall_groups(facts: tuple[str, ...]) -> list[str]:
    """List the groups people are recalled by, in the order they are shown.

    Examples
    --------
    >>> recall_groups(()), recall_groups(("age_60",))
    (['hearing_aid', 'no_hearing_aid'], ['age_60:yes', 'age_60:no'])
    """
    return all_names(facts) if facts else list(GROUPS.values())
