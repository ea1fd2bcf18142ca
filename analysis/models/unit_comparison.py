"""Whether practitioners or sites differ by more than chance allows, on the same mix of cases."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.quarter_counts import starts, watched_visits
from analysis.stats.funnel import Funnel, share_funnel, spread_between

FEWEST_EXPECTED = 5.0
"""Cases and their opposites a unit needs to be expected to have before a normal limit holds (Cochran's rule; from memory)."""
ENOUGH_UNITS = 10
"""Units from which their own spread can be told from one unit that truly differs (our own line, no source)."""
PRACTITIONER, SITE = "practitioner", "site"


@dataclass(frozen=True, eq=False)
class Cases:
    """What is compared: one row a case.

    Attributes
    ----------
    name : str
        The measure.
    table : pandas.DataFrame
        ``day``, ``practitioner``, ``site``, ``outcome`` (yes or no), ``mix``
        (cases alike but for who saw them) and ``group`` (cases that go together).
    private : bool
        Whether a small count could give a patient away.
    """

    name: str
    table: pd.DataFrame
    private: bool = True


@dataclass(frozen=True, eq=False)
class Comparison:
    """One measure compared between units, in the order of their labels.

    Attributes
    ----------
    name, by : str
        The measure; ``practitioner`` or ``site``.
    labels : list of str
    n : numpy.ndarray of int, shape (k,)
    funnel : Funnel
    left_out : int
        Units with too few cases.
    """

    name: str
    by: str
    labels: list[str]
    n: np.ndarray
    funnel: Funnel
    left_out: int


def compared_cases(
    visits: pd.DataFrame,
    attempts: pd.DataFrame,
    *,
    first: pd.Timestamp,
    last: pd.Timestamp,
    followed_until: pd.Timestamp,
) -> list[Cases]:
    """List what is compared: first attempts, starts on time, and visits with an adverse event.

    Parameters
    ----------
    visits, attempts : pandas.DataFrame
        The tables ``VISITS`` and ``ATTEMPTS``.
    first, last : pandas.Timestamp
        First and last day compared.
    followed_until : pandas.Timestamp
        First attempts after this day are too recent for their success to be known.

    Returns
    -------
    list of Cases
        First attempts on the same mix of grade and impaction; visits and starts as they are.
    """
    judged = attempts[attempts["day"].between(first, min(last, followed_until)) & attempts["success"].notna()]
    judged = judged[judged["attempt_number"] == 1]
    grade, impacted = (
        judged[each].astype("object").fillna("not recorded").astype("str") for each in ("grade", "impacted")
    )
    mix = grade + "/" + impacted
    patient = judged["patient_key"].fillna(judged["visit_id"])
    success = judged[["day", "practitioner", "site"]].assign(
        outcome=judged["success"].astype(bool), mix=mix, group=patient
    )
    watched, event = watched_visits(visits)
    watched &= bool(visits["adverse_event"].notna().any())
    visits = visits[(visits["slot_start"] >= first) & (visits["slot_start"] < last + pd.Timedelta(days=1))]
    watched, event = watched[visits.index], event[visits.index]
    whose = visits["patient_key"].fillna(visits["visit_id"])
    seen = visits[["practitioner", "site"]].assign(day=visits["slot_start"], outcome=event, mix="", group=whose)
    begun = starts(visits)
    timed = visits.loc[begun.index, ["practitioner", "site"]].assign(
        day=begun["day"], outcome=begun["on_time"], mix="", group=begun["group"]
    )
    return [Cases("success", success), Cases("any_event", seen[watched]), Cases("on_time", timed, private=False)]


def compare_units(cases: Cases, unit: pd.Series, by: str, *, fewest: int, hide_below: int) -> Comparison | None:
    """Set each unit's share beside what chance allows.

    Parameters
    ----------
    cases : Cases
        Of the days to be compared only.
    unit : pandas.Series of str
        What each case's practitioner or site is called.
    by : str
    fewest : int
        Cases a unit needs to be shown.
    hide_below : int
        With one count of 1 to one less than this nobody is shown. Where the
        units left out have so few cases together, the next smallest is left
        out as well, for the sum of all cases may be known.

    Returns
    -------
    Comparison or None
        None with fewer than two units to show, or with a count too small.

    Notes
    -----
    *Like with like.* Each case is expected to go as its mix does in all units
    together (indirect standardisation). *Chance.* The variance by counting,
    less the part a unit itself has in that mix, times how much cases that go
    together swing (their squared summed surprises over the variance by
    counting), times the units' own over-dispersion [1]_ where there are ten.

    References
    ----------
    .. [1] Spiegelhalter (2005), Quality and Safety in Health Care 14, 347-351.
    """
    sizes = unit.value_counts()
    shown = sorted(_shown(sizes, fewest, hide_below), key=_natural)
    table = cases.table[unit.isin(shown)]
    place = pd.Categorical(unit[table.index], categories=shown).codes
    outcome = table["outcome"].to_numpy(dtype=float)
    chance = table["outcome"].astype(float).groupby(table["mix"]).transform("mean").to_numpy()
    of, successes, expected, variance = (
        np.bincount(place, weights, minlength=len(shown))
        for weights in (np.ones(len(table)), outcome, chance, chance * (1 - chance))
    )
    few = (np.minimum(expected, of - expected) < FEWEST_EXPECTED).any()
    small = any(((each > 0) & (each < hide_below)).any() for each in (successes, of - successes))
    if len(shown) < 2 or few or (cases.private and small):
        return None
    surprises = pd.Series(outcome - chance).groupby(table["group"].astype("str").to_numpy()).sum()
    together = max(1.0, float((surprises**2).sum() / variance.sum()))
    own = variance * (1 - variance / variance.sum())
    funnel = share_funnel(successes, expected, own, of, over_dispersion=together)
    if len(shown) >= ENOUGH_UNITS:
        swing = together * spread_between(funnel.z)
        funnel = share_funnel(successes, expected, own, of, over_dispersion=swing)
    return Comparison(cases.name, by, shown, of.astype(int), funnel, len(sizes) - len(shown))


def _shown(sizes: pd.Series, fewest: int, hide_below: int) -> list[str]:
    """Choose the units with enough cases, so that those left out are none or not a few together."""
    ordered = sizes.sort_values(kind="stable")
    first = int((ordered < fewest).sum())
    while first < len(ordered) and 0 < ordered.iloc[:first].sum() < hide_below:
        first += 1
    return list(ordered.index[first:])


def _natural(label: str) -> list[tuple[int, str]]:
    """Order labels by the alphabet, numbers in them by size: practitioner 2 before practitioner 10."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", label)]
