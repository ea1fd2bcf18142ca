"""Suction noise of each practitioner's working day: ears by method, times minutes and levels the owner measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.problems import NotEnough
from analysis.schema import METHOD_JOIN
from analysis.settings import MonitoringPart
from analysis.stats.noise_dose import daily_level, niosh_dose

FEWEST_DAYS = 10
"""Working days below which no middle day is said (our own line, no source)."""
SUCTIONS = ("wide_suction", "fine_suction")


@dataclass(frozen=True, eq=False)
class NoisyDays:
    """Each working day with suction: its dose by NIOSH (1 is all of it) and its level over eight hours, dB(A)."""

    dose: np.ndarray
    level: np.ndarray


def suction_days(visits: pd.DataFrame, ears: pd.DataFrame, inside: pd.Series, measured: MonitoringPart) -> NoisyDays:
    """Work out dose and level of every working day with suction.

    Parameters
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS``.
    inside : pandas.Series of bool
        The visits to look at.
    measured : MonitoringPart
        Levels in dB(A) and minutes at an ear; nought is not measured.

    Returns
    -------
    NoisyDays

    Raises
    ------
    NotEnough
        If the log uses a suction whose level or minutes were not measured.
    """
    came = visits[inside & (visits["attendance"] == "attended").fillna(False)]
    who = came["practitioner"].astype("object").fillna(came["site"].astype("object")).fillna("")
    when = pd.DataFrame({"visit_id": came["visit_id"], "day": came["slot_start"].dt.normalize(), "who": who})
    treated = ears.loc[ears["visit_id"].isin(came["visit_id"]), ["visit_id", "methods"]]
    joined = treated.merge(when, on="visit_id")
    used = joined["methods"].astype("object").fillna("").astype("str").str.split(METHOD_JOIN)
    counts = pd.DataFrame({each: used.map(lambda order, each=each: each in order) for each in SUCTIONS}).astype(int)
    by_day = counts.groupby([joined["day"], joined["who"]]).sum()
    levels = np.array([measured.wide_suction_level, measured.fine_suction_level])
    minutes = np.array([measured.wide_suction_minutes, measured.fine_suction_minutes])
    needed = by_day.sum().to_numpy() > 0
    if (needed & ((levels == 0) | (minutes == 0))).any() or not (levels * minutes).any():
        raise NotEnough(
            "The noise of suction, or how long it runs at an ear, was not measured.",
            "Write levels and minutes of wide and fine-end suction into clinic.toml, under monitoring.",
        )
    worked = by_day[by_day.sum(axis=1) > 0].to_numpy() * minutes
    return NoisyDays(
        np.array([niosh_dose(each, levels) for each in worked]),
        np.array([daily_level(each, levels) for each in worked]),
    )
