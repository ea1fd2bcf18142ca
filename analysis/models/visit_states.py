"""How full ears are found, visit by visit: shares and minutes by kind of booking."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.return_visits import STATES
from analysis.models.visit_history import KINDS
from analysis.problems import NotEnough
from analysis.schema import GRADES, OCCLUDING

DAYS_LOOKED_AT = 365
FEWEST_GRADED = 50
"""Graded visits a kind of booking needs for shares of its own (our choice, no source)."""
FEWEST_TIMED = 10
"""Timed visits of a kind and state that minutes of its own need (our choice, no source)."""
COUNTED = ("timed", "rounded")


@dataclass(frozen=True, eq=False)
class VisitStates:
    """How full the fuller ear was found at the visits of the last year.

    Attributes
    ----------
    counts : numpy.ndarray, shape (kinds, states)
        Graded visits by kind of booking (``KINDS``) and state (``STATES``).
    visits : int
        Graded visits of all kinds.
    minutes, spread : numpy.ndarray, shape (kinds, states)
        Mean and standard deviation of the minutes in the chair of the timed ones; a
        kind and state with fewer than 10 have those of the state. Missing
        where a state has too few at any kind.
    timed : numpy.ndarray, shape (kinds, states)
        Timed visits each mean rests on.
    """

    counts: np.ndarray
    visits: int
    minutes: np.ndarray
    spread: np.ndarray
    timed: np.ndarray

    @property
    def shares(self) -> np.ndarray:
        """Share of each state, by kind; a kind with too few graded visits has the shares of all."""
        every = self.counts.sum(axis=0)
        used = np.where(self.counts.sum(axis=1, keepdims=True) >= FEWEST_GRADED, self.counts, every)
        return used / used.sum(axis=1, keepdims=True)


def visit_states(visits: pd.DataFrame, ears: pd.DataFrame, *, last_day: pd.Timestamp) -> VisitStates:
    """Count the last year's visits by kind of booking and how full the fuller ear was found.

    Parameters
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS``.
    last_day : pandas.Timestamp
        Last day the log covers.

    Returns
    -------
    VisitStates

    Raises
    ------
    NotEnough
        If fewer than 50 attended visits of the last year have a graded ear.
    """
    day = visits["slot_start"].dt.normalize()
    recent = (day > last_day - pd.Timedelta(days=DAYS_LOOKED_AT)) & (day <= last_day)
    came = visits[recent & visits["attendance"].eq("attended").fillna(False)]
    place = ears["grade"].cat.codes
    fullest = place[place >= 0].groupby(ears["visit_id"]).max().rename("place")
    graded = came.merge(fullest, left_on="visit_id", right_index=True)
    if len(graded) < FEWEST_GRADED:
        raise NotEnough(
            f"Only {len(graded):,} visits of the last year have a graded ear, of the {FEWEST_GRADED} this needs.",
            "Record each ear's grade at every visit, also where nothing was removed.",
        )
    names = np.array(list(GRADES))[graded["place"].to_numpy(dtype=int)]
    state = np.array([STATES.index(name) if name in OCCLUDING else 0 for name in names])
    kind = pd.Categorical(graded["booking_kind"].astype("object"), categories=list(KINDS)).codes.astype(int)
    kind = np.where(kind < 0, KINDS.index("other"), kind)
    counts = np.zeros((len(KINDS), len(STATES)))
    np.add.at(counts, (kind, state), 1.0)
    timed = graded["minutes"].where(graded["minutes_quality"].isin(COUNTED)).to_numpy(dtype=float)
    return VisitStates(counts, len(graded), *_minutes(timed, kind, state))


def _minutes(minutes: np.ndarray, kind: np.ndarray, state: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give mean, standard deviation and number of timed visits by kind and state."""
    found = np.full((3, len(KINDS), len(STATES)), np.nan)
    known = ~np.isnan(minutes)
    for place in range(len(STATES)):
        of_state = minutes[known & (state == place)]
        for each in range(len(KINDS)):
            own = minutes[known & (state == place) & (kind == each)]
            used = own if len(own) >= FEWEST_TIMED else of_state
            if len(used) >= FEWEST_TIMED:
                found[:, each, place] = used.mean(), used.std(ddof=1), len(used)
    return found[0], found[1], found[2]
