"""Arrivals, starts and ends: each session run through, one patient behind the other."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.demo import story


def arrivals(rng: np.random.Generator, slot_minute: np.ndarray) -> np.ndarray:
    """Draw arrivals in whole minutes: most early, some late."""
    n = len(slot_minute)
    late = rng.random(n) < story.LATE_SHARE
    early_by = rng.gamma(2.0, story.EARLY_MEAN_MINUTES / 2, n)
    late_by = rng.gamma(1.5, story.LATE_MEAN_MINUTES / 1.5, n)
    return np.rint(slot_minute + np.where(late, late_by, -early_by))


def starts(rows: dict[str, Any], arrived: np.ndarray, minutes: np.ndarray) -> np.ndarray:
    """Minute of the day at which each attended visit starts.

    A visit starts at its slot, or when the patient has arrived, or when the one
    before has ended and the room is ready, whichever comes last: Lindley's
    recursion (1952), with fixed slots. Rows are in order of session and slot.
    """
    session = rows["day"] * 10 + rows["practitioner"]
    new_session = np.concatenate([[True], session[1:] != session[:-1]])
    earliest = np.maximum(rows["slot_minute"], arrived)
    began = np.empty(len(session))
    free_at = 0.0
    for row, (fresh, ready, took) in enumerate(
        zip(new_session.tolist(), earliest.tolist(), minutes.tolist(), strict=True)
    ):
        began[row] = ready if fresh else max(ready, free_at)
        free_at = began[row] + took + story.TURNAROUND_MINUTES
    return began
