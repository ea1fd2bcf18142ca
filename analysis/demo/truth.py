"""The planted truth, gathered: what a good answer should find in the invented clinic's log."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.demo import story
from analysis.demo.minutes import ear_minutes
from analysis.demo.people import People
from analysis.demo.truth_recall import recall_truth, return_truth
from analysis.demo.truth_softening import softening_truth

Rows = dict[str, Any]
DIGITS = 6


def gather_truth(people: People, rows: Rows, demand: dict[str, Any], seed: int) -> dict[str, Any]:
    """Gather every part; numbers are rounded, so that the file is the same on every machine."""
    return rounded(
        {
            "about": {
                "invented": True,
                "seed": seed,
                "first_day": "2023-10-01",
                "last_day": "2026-09-30",
                "sites": list(story.SITES),
                "practitioners": list(story.PRACTITIONERS),
            },
            "counts": _counts(rows),
            "visit_time": _visit_time(rows),
            "softening": softening_truth(rows),
            "recall": recall_truth(people, rows),
            "returns": return_truth(rows),
            "demand": demand,
        }
    )


def _counts(rows: Rows) -> dict[str, Any]:
    """Count bookings by attendance and kind, ears and patients."""
    came = rows["attendance"] == story.ATTENDED
    return {
        "bookings": len(came),
        "ears": 2 * int(came.sum()),
        "patients": len(np.unique(rows["patient"])),
        "attendance": {name: int((rows["attendance"] == each).sum()) for each, name in enumerate(story.ATTENDANCES)},
        "booking_kind": {name: int((rows["kind"] == each).sum()) for each, name in enumerate(story.KINDS)},
    }


def _visit_time(rows: Rows) -> dict[str, Any]:
    """Tell the parts of a visit's mean minutes, as planted and as mixed in the log by softening."""
    return {
        "overhead_minutes": story.OVERHEAD_MINUTES,
        "looked_at_minutes": story.LOOKED_AT_MINUTES,
        "overhead_and_two_ears_looked_at_minutes": story.OVERHEAD_MINUTES + 2 * story.LOOKED_AT_MINUTES,
        "softened_factor": story.SOFTENED_FACTOR,
        "in_chair_minutes": story.IN_CHAIR_MINUTES,
        "gamma_shape": story.MINUTES_SHAPE,
        "kind_minutes": dict(zip(story.KINDS, story.KIND_MINUTES.tolist(), strict=True)),
        "practitioner_minutes": dict(zip(story.PRACTITIONERS, story.PRACTITIONER_MINUTES.tolist(), strict=True)),
        "ear_minutes_unsoftened": {
            grade: dict(zip(story.METHOD_CODES, story.EAR_MINUTES[each].tolist(), strict=False))
            for each, grade in enumerate(story.GRADE_CODES)
            if each != story.CLEAR
        },
        "ear_minutes_in_the_log": _ear_minutes_in_the_log(rows),
    }


def _ear_minutes_in_the_log(rows: Rows) -> dict[str, dict[str, float]]:
    """Mean planted part of the ears of each grade and first method, softened and not together."""
    part = ear_minutes(rows, rows["first_method"], rows["used"])
    came = rows["worked"] & (rows["attendance"] == story.ATTENDED)[:, None]
    means: dict[str, dict[str, float]] = {}
    for grade, grade_name in enumerate(story.GRADE_CODES):
        for method, method_name in enumerate(story.METHOD_CODES[:5]):
            ears = came & (rows["grade"] == grade) & (rows["first_method"] == method)
            if ears.any():
                means.setdefault(grade_name, {})[method_name] = float(part[ears].mean())
    return means


def rounded(value: Any) -> Any:
    """Round every figure of a nested dictionary."""
    if isinstance(value, dict):
        return {str(name): rounded(each) for name, each in value.items()}
    if isinstance(value, list):
        return [rounded(each) for each in value]
    return round(value, DIGITS) if isinstance(value, float) else value
