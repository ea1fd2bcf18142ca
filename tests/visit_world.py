"""A small invented log of visits whose minutes are known, for the tests of visit time and slots."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.schema import EAR_ROWS, VISITS, typed_frame

OVERHEAD, SHAPE = 9.0, 9.0
ADDED = {
    ("partly_occluding", "wide_suction"): 3.0,
    ("partly_occluding", "fine_suction"): 5.0,
    ("fully_occluding", "wide_suction"): 7.0,
    ("fully_occluding", "fine_suction"): 11.0,
}
KIND_MINUTES = {"new": 2.0, "routine_recall": -2.0}
WHO_MINUTES = {"A": -1.0, "B": 1.0}
SLOTS = {"new": 30, "routine_recall": 20}
MISSED = 0.1


def invented_log(
    rng: np.random.Generator, *, visits: int = 1200, easy: float = 0.0, split: bool = False
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Invent bookings, eight a half-day, half of them new patients; two visits a patient, one in ten missed.

    ``easy`` is the spread of a minute factor that a patient's visits share.
    ``split`` times each ear by itself; then a visit's minutes are their sum and the overhead's.
    """
    kind = np.where(rng.random(visits) < 0.5, "new", "routine_recall")
    who = np.where(rng.random(visits) < 0.5, "A", "B")
    patient = rng.permutation(np.repeat(np.arange((visits + 1) // 2), 2)[:visits])
    cells = list(ADDED)
    chosen = np.where(rng.random((visits, 2)) < 0.75, rng.integers(0, len(cells), (visits, 2)), -1)
    part = np.where(chosen >= 0, np.array([*ADDED.values(), 0.0])[chosen], 0.0)
    fixed = OVERHEAD + np.array([KIND_MINUTES[each] for each in kind]) + np.array([WHO_MINUTES[each] for each in who])
    factor = np.exp(rng.normal(-(easy**2) / 2, easy, len(patient)))[patient]
    each_ear = factor[:, None] * rng.gamma(SHAPE, part / SHAPE)
    rest = factor * rng.gamma(SHAPE, fixed / SHAPE)
    whole = factor * rng.gamma(SHAPE, (fixed + part.sum(axis=1)) / SHAPE)
    minutes = rest + each_ear.sum(axis=1) if split else whole
    came = rng.random(visits) >= MISSED
    start = pd.Timestamp("2025-01-06 09:00") + pd.to_timedelta(np.arange(visits) // 8, "D")
    start = start + pd.to_timedelta(25 * (np.arange(visits) % 8), "min")
    ids = np.char.add("v", np.char.zfill(np.arange(visits).astype(str), 5))
    log = pd.DataFrame(
        {
            "visit_id": ids,
            "patient_key": np.char.add("p", patient.astype(str)),
            "practitioner": who,
            "slot_start": start,
            "slot_minutes": [float(SLOTS[each]) for each in kind],
            "arrived_at": (start + pd.to_timedelta(rng.normal(-6, 5, visits).round(), "min")).where(came),
            "attendance": np.where(came, "attended", "missed"),
            "booking_kind": kind,
            "minutes": np.where(came, minutes, np.nan),
            "minutes_quality": np.where(came, "timed", None),
        }
    )
    visit, ear = np.nonzero((chosen >= 0) & came[:, None])
    worked = [cells[place] for place in chosen[visit, ear]]
    ears = pd.DataFrame(
        {
            "visit_id": ids[visit],
            "ear": np.array(["left", "right"])[ear],
            "grade": [grade for grade, _ in worked],
            "methods": [method for _, method in worked],
            "outcome": "clear",
            "minutes": each_ear[visit, ear] if split else np.nan,
        }
    )
    return typed_frame(VISITS, log), typed_frame(EAR_ROWS, ears)
