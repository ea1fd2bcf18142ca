"""The share of new patients back within a time, to hold beside what others saw."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analysis.derive.gaps import attended_visits
from analysis.models.recall_callers import FEWEST_READ
from analysis.models.recall_returns import AFTER_CLEARANCE, patient_returns
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate


def new_patients_back(
    gaps: pd.DataFrame, visits: pd.DataFrame, *, last_day: pd.Timestamp, days: float, level: float = 0.95
) -> Estimate:
    """Share of new patients who came back within some days of the log first clearing an ear of theirs.

    Parameters
    ----------
    gaps, visits : pandas.DataFrame
        The tables ``GAPS`` and ``VISITS``.
    last_day : pandas.Timestamp
        Last day the log covers.
    days : float
    level : float, optional
        How sure the range should be.

    Returns
    -------
    Estimate
        ``n`` is the new patients with a cleared ear.

    Raises
    ------
    NotEnough
        If the log notes no new patient with a cleared ear, or fewer than 10 were watched for so long.

    Notes
    -----
    Only patients whose first attended booking in the log was as a new patient:
    those known before are there because they do come back. The Kaplan-Meier
    curve of returns, so that patients cleared lately count for as long as they
    were watched; second attempts are no return.
    """
    came = attended_visits(visits, last_day).sort_values(["moment", "visit_id"]).drop_duplicates("patient_key")
    new = came.loc[(came["booking_kind"] == "new").fillna(False), "patient_key"]
    theirs = gaps[gaps["patient_key"].isin(new)]
    if theirs.empty:
        raise NotEnough("The log notes no new patient with a cleared ear.", "Record each booking's kind.")
    returns = patient_returns(theirs)[AFTER_CLEARANCE]
    if returns.until_days < days:
        raise NotEnough(
            f"Fewer than {FEWEST_READ} new patients not yet back were watched for {days / 365.25 * 12:.0f} months.",
            "Keep logging returns, and ask again.",
        )
    away = returns.curve.estimate_at(days, level)
    return replace(away, value=1 - away.value, low=1 - away.high, high=1 - away.low)
