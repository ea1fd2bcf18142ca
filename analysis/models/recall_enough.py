"""Whether ears are enough for a recall curve, and what a log too thin for one lacks."""

from __future__ import annotations

import pandas as pd

from analysis.problems import NotEnough

FEWEST_OCCLUDING = 10
"""Ears found occluding again that a curve needs (our choice, no source)."""
FEWEST_DAYS_APART = 60
"""Days between the times after which the 5 and 95 in 100 of ears were seen again, for a curve (our choice, no source)."""
DAYS_A_MONTH = 30.4375


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
