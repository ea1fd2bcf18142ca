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


@dataclass(frozen=True, eq=False)
class VisitStates:
    """How full the fuller ear was found at the visits of the last year.

    Attributes
    ----------
    counts : numpy.ndarray, shape (kinds, states)
        Graded visits by kind of booking (``KINDS``) and state (``STATES``).
    visits : int
        Graded visits of all kinds.
    """

    counts: np.ndarray
    visits: int

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
    came = visits.loc[recent & visits["attendance"].eq("attended").fillna(False), ["visit_id", "booking_kind"]]
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
    kind = pd.Categorical(graded["booking_kind"].astype("object"), categories=list(KINDS)).codes
    counts = np.zeros((len(KINDS), len(STATES)))
    np.add.at(counts, (np.where(kind < 0, KINDS.index("other"), kind), state), 1.0)
    return VisitStates(counts, len(graded))
