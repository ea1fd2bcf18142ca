"""A small invented log of first attempts in which softening's effect is known, for the tests of softening.

Harder, fuller ears are advised to soften more often and clear less often, so
the plain comparison misleads. Two ears of a patient share an ease of their own.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analysis.schema import ATTEMPTS, EAR_ROWS, VISITS, typed_frame

OVERHEAD_MINUTES, FULL_MINUTES, PART_MINUTES, SAVED_AN_EAR = 9.0, 8.0, 5.0, 1.5
USED_IF_ADVISED, USED_UNASKED = 0.7, 0.15


@dataclass(frozen=True, eq=False)
class Planted:
    """A log and what is true of it: differences in success, and minutes saved a visit.

    ``overlap_differences``: the differences in success, by contrast, averaged as
    overlap weights average them: over the ears that might well have been in either arm.
    """

    attempts: pd.DataFrame
    used_difference: float
    advised_difference: float
    used_saves_minutes: float
    advised_saves_minutes: float
    overlap_differences: dict[str, float] = field(default_factory=dict)


def invented_attempts(
    rng: np.random.Generator,
    *,
    patients: int = 2000,
    effect: float = 0.8,
    trap: float = 2.0,
    saved_an_ear: float = SAVED_AN_EAR,
) -> Planted:
    """Invent one visit a patient, most with both ears blocked.

    ``effect`` is softening's log odds of success, ``trap`` how much more hard
    and full ears are advised (log odds), ``saved_an_ear`` the minutes softening saves.
    """
    two = rng.random(patients) < 0.6
    whose = np.repeat(np.arange(patients), np.where(two, 2, 1))
    ear = np.where(np.r_[True, whose[1:] != whose[:-1]], "left", "right")
    hard, full = rng.random(len(whose)) < 0.4, rng.random(len(whose)) < 0.5
    ease = rng.normal(0, 0.6, patients)[whose]
    expected = np.bincount(whose, hard + full, patients) / np.bincount(whose, minlength=patients)
    advised = rng.random(patients) < _chance(trap * (expected - 0.9))
    used = rng.random(patients) < np.where(advised, USED_IF_ADVISED, USED_UNASKED)
    plain = 1.9 - 1.2 * hard - 0.7 * full + ease
    without, with_it = _chance(plain), _chance(plain + effect)
    success = rng.random(len(whose)) < np.where(used[whose], with_it, without)
    minutes = _minutes(rng, whose, full, saved_an_ear * used[whose])
    takes_up = USED_IF_ADVISED - USED_UNASKED
    ears_a_visit = len(whose) / patients
    table = pd.DataFrame(
        {
            "visit_id": [f"v{i}" for i in whose],
            "patient_key": [f"p{i}" for i in whose],
            "ear": ear,
            "day": pd.Timestamp("2025-01-01") + pd.to_timedelta(whose % 365, unit="D"),
            "attempt_number": 1,
            "grade": np.where(full, "fully_occluding", "partly_occluding"),
            "debris": np.where(hard, "hard_wax", "soft_wax"),
            "canal": rng.choice(["ordinary", "narrow"], len(whose), p=[0.85, 0.15]),
            "impacted": rng.random(len(whose)) < 0.2,
            "first_method": "fine_suction",
            "last_method": "fine_suction",
            "outcome": np.where(success, "clear", "occluding_left"),
            "success": success,
            "contraindicated": False,
            "ears_worked": np.bincount(whose)[whose],
            "minutes": minutes[whose],
            "minutes_quality": "timed",
            "softening_advised": advised[whose],
            "softening_used": used[whose],
            "softener": np.where(used, "olive_oil", "none")[whose],
            "booking_kind": rng.choice(["new", "routine_recall"], patients)[whose],
            "age_band": rng.choice(["18_39", "40_59", "60_74", "75_and_over"], patients)[whose],
            "hearing_aid": (rng.random(patients) < 0.3)[whose],
            "practitioner": rng.choice(["A", "B"], patients)[whose],
        }
    )
    effect_used = float((with_it - without).mean())
    saved = saved_an_ear * ears_a_visit
    each, sort_of_ear = with_it - without, 2 * hard + full
    overlap = {
        "used": _over_the_overlap(each, used[whose], sort_of_ear),
        "advised": _over_the_overlap(each, advised[whose], sort_of_ear) * takes_up,
    }
    return Planted(typed_frame(ATTEMPTS, table), effect_used, effect_used * takes_up, saved, saved * takes_up, overlap)


def as_log(attempts: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Turn attempts back into the visits and ears they would have come from."""
    visits = attempts.drop_duplicates("visit_id").assign(attendance="attended", slot_start=lambda row: row["day"])
    ears = attempts.drop(columns="minutes").assign(methods=attempts["first_method"].astype("str"))
    return typed_frame(VISITS, visits), typed_frame(EAR_ROWS, ears)


def _over_the_overlap(each: np.ndarray, arm: np.ndarray, sort_of_ear: np.ndarray) -> float:
    """Average each ear's effect, weighed by how near its sort of ear is to even arms."""
    chance = (np.bincount(sort_of_ear, arm, 4) / np.bincount(sort_of_ear, minlength=4))[sort_of_ear]
    return float(np.average(each, weights=chance * (1 - chance)))


def _minutes(rng: np.random.Generator, whose: np.ndarray, full: np.ndarray, saved: np.ndarray) -> np.ndarray:
    """Draw each visit's minutes: overhead and a part for each ear, less what softening saves."""
    parts = np.where(full, FULL_MINUTES, PART_MINUTES) - saved
    mean = OVERHEAD_MINUTES + np.bincount(whose, parts)
    return rng.gamma(14.0, mean / 14.0)


def _chance(log_odds: np.ndarray) -> np.ndarray:
    """Turn log odds into a chance."""
    return 1 / (1 + np.exp(-log_odds))
