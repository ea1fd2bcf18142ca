"""What a return visit takes: minutes by how full the fuller ear is, and how often the first attempt succeeds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.problems import NotEnough
from analysis.schema import GRADES, OCCLUDING
from analysis.settings import VisitTimePart

FEWEST_VISITS = 10
"""Visits (or first attempts) a state needs for its own figure (our choice, no source)."""
OPEN, PARTLY, FULLY = "open", *OCCLUDING
STATES = (OPEN, PARTLY, FULLY)
RETURNS = ("routine_recall", "symptoms_return")


@dataclass(frozen=True, slots=True)
class Figure:
    """A mean with its standard error and how many it rests on."""

    mean: float
    error: float
    n: int

    def draws(self, many: int, rng: np.random.Generator) -> np.ndarray:
        """Draw it as uncertain as it is, the mean itself first."""
        return np.append(self.mean, self.mean + self.error * rng.standard_normal(many - 1))


@dataclass(frozen=True, slots=True)
class ReturnVisits:
    """Minutes and success of return visits.

    Attributes
    ----------
    minutes : dict of str to Figure
        By ``open``, ``partly_occluding`` and ``fully_occluding``: the fuller ear as first seen.
    success : dict of str to Figure
        Share of first attempts that succeeded, of partly and of fully occluding ears.
    second_minutes : Figure
        Minutes of a second attempt.
    """

    minutes: dict[str, Figure]
    success: dict[str, Figure]
    second_minutes: Figure


def return_visits(
    visits: pd.DataFrame, ears: pd.DataFrame, worked: pd.DataFrame, settings: VisitTimePart
) -> ReturnVisits:
    """Take this clinic's own minutes and success by grade.

    Parameters
    ----------
    visits, ears, worked : pandas.DataFrame
        The tables ``VISITS``, ``EAR_ROWS`` and ``ATTEMPTS``.
    settings : VisitTimePart
        Shortest and longest plausible minutes.

    Returns
    -------
    ReturnVisits

    Raises
    ------
    NotEnough
        If a state has fewer than 10 timed visits, or 10 followed first attempts.

    Notes
    -----
    Minutes are those of returns; where a state has too few of these, of all
    visits. Without second attempts in the log, one is taken to last as long as
    visits with a partly occluding ear.
    """
    timed = _timed(visits, ears, settings)
    minutes = {state: _minutes(timed, state) for state in STATES}
    second = timed.loc[timed["booking_kind"] == "second_attempt", "minutes"]
    first = worked[(worked["attempt_number"] == 1) & worked["success"].notna()]
    success = {grade: _success(first.loc[first["grade"] == grade, "success"], grade) for grade in OCCLUDING}
    return ReturnVisits(minutes, success, _mean(second) if len(second) >= FEWEST_VISITS else minutes[PARTLY])


def _timed(visits: pd.DataFrame, ears: pd.DataFrame, settings: VisitTimePart) -> pd.DataFrame:
    """Attended visits with minutes of their own, each with the state of its fuller ear."""
    own = visits["minutes_quality"].isin(["timed", "rounded"]) | (
        visits["minutes_quality"].isna() & visits["minutes"].notna()
    )
    plausible = visits["minutes"].between(settings.shortest_minutes, settings.longest_minutes)
    kept = visits.loc[
        (visits["attendance"] == "attended").fillna(False) & own & plausible, ["visit_id", "booking_kind", "minutes"]
    ]
    place = ears["grade"].cat.codes
    fullest = place[place >= 0].groupby(ears["visit_id"]).max().rename("place")
    timed = kept.merge(fullest, left_on="visit_id", right_index=True)
    names = np.array(list(GRADES))[timed["place"].to_numpy(dtype=int)]
    return timed.assign(state=np.where(np.isin(names, OCCLUDING), names, OPEN))


def _minutes(timed: pd.DataFrame, state: str) -> Figure:
    """Mean minutes of a state: of returns, or of all visits where returns are too few."""
    mine = timed[timed["state"] == state]
    returns = mine[mine["booking_kind"].isin(RETURNS)]
    used = returns if len(returns) >= FEWEST_VISITS else mine
    if len(used) < FEWEST_VISITS:
        raise NotEnough(
            f"Only {len(used):,} timed visits found the fuller ear {_spoken(state)}, of the {FEWEST_VISITS} this needs.",
            "Record when each visit starts and ends, and each ear's grade, also where nothing was removed.",
        )
    return _mean(used["minutes"])


def _mean(minutes: pd.Series) -> Figure:
    """Give a mean and its standard error."""
    return Figure(float(minutes.mean()), float(minutes.std(ddof=1) / np.sqrt(len(minutes))), len(minutes))


def _success(succeeded: pd.Series, grade: str) -> Figure:
    """Give a share and its standard error, steadied by one success and one failure."""
    n = len(succeeded)
    if n < FEWEST_VISITS:
        raise NotEnough(
            f"Only {n:,} first attempts at {_spoken(grade)} ears could be followed, of the {FEWEST_VISITS} this needs.",
            "Record each ear's grade and outcome at every visit.",
        )
    share = (float(succeeded.sum()) + 1) / (n + 2)
    return Figure(share, float(np.sqrt(share * (1 - share) / (n + 2))), n)


def _spoken(state: str) -> str:
    """Say a state."""
    return GRADES.get(state, "open")
