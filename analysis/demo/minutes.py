"""Methods and minutes at the chair.

Minutes come first: gamma around *overhead + left part + right part + kind +
practitioner*. A second method follows where a visit ran long for its mean, so
it is a consequence of difficulty and no cause of it.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.demo import story
from analysis.schema import METHOD_JOIN

Rows = dict[str, Any]


def first_methods(rng: np.random.Generator, rows: Rows, canal: np.ndarray, perforation: np.ndarray) -> np.ndarray:
    """Choose each ear's first method by grade, debris, canal and habit; NO_CODE where nothing was done."""
    debris, grade = rows["debris"], rows["grade"]
    weights = story.METHOD_WEIGHTS * story.METHOD_HABITS[rows["practitioner"]][:, None, :]
    weights = np.array(np.broadcast_to(weights, (*grade.shape, len(story.METHOD_WEIGHTS))))
    weights[..., story.FINE] *= np.where(np.isin(debris, (story.DEAD_SKIN, story.MIXED)), 3.0, 1.0)
    weights[..., story.FINE] *= np.where(canal != story.ORDINARY, 1.8, 1.0)
    weights[..., story.HOOK] *= np.where(debris == story.HARD, 2.2, 1.0)
    weights[..., story.WIDE] *= np.where(grade == story.FULLY, 1.3, 1.0)
    weights[..., story.FORCEPS] *= np.where(debris == story.FOREIGN, 40.0, 1.0)
    weights[..., story.IRRIGATION] *= ~perforation & (canal != story.OPERATED)
    drawn = _draw(rng, weights)
    return np.where(rows["worked"], drawn, story.NO_CODE)


def _draw(rng: np.random.Generator, weights: np.ndarray) -> np.ndarray:
    """Draw one column by weight, for every row."""
    upto = weights.cumsum(axis=-1)
    return (rng.random(weights.shape[:-1])[..., None] * upto[..., -1:] > upto[..., :-1]).sum(axis=-1)


def ear_minutes(rows: Rows, first: np.ndarray, used: np.ndarray) -> np.ndarray:
    """Mean minutes each ear adds, softened or not as told; shape (visits, 2)."""
    grade = rows["grade"]
    worked = story.EAR_MINUTES[grade, np.maximum(first, 0)]
    softened = np.where(used[:, None] & (grade >= story.PARTLY), story.SOFTENED_FACTOR, 1.0)
    return np.where(rows["worked"], worked * softened, story.LOOKED_AT_MINUTES)


def mean_minutes(rows: Rows, first: np.ndarray, used: np.ndarray) -> np.ndarray:
    """Mean minutes of each visit."""
    fixed = story.OVERHEAD_MINUTES + story.KIND_MINUTES[rows["kind"]] + story.PRACTITIONER_MINUTES[rows["practitioner"]]
    return fixed + ear_minutes(rows, first, used).sum(axis=1) + story.IN_CHAIR_MINUTES * rows["in_chair"]


def in_chair(rng: np.random.Generator, rows: Rows) -> np.ndarray:
    """Say whether an agent was put in at the chair, for a few hard, impacted ears."""
    stuck = ((rows["debris"] == story.HARD) & rows["impacted"] & rows["worked"]).any(axis=1)
    return stuck & (rng.random(len(stuck)) < story.IN_CHAIR_SHARE)


def draw_minutes(rng: np.random.Generator, mean: np.ndarray) -> np.ndarray:
    """Draw whole minutes around their means, at least three."""
    return np.maximum(np.rint(rng.gamma(story.MINUTES_SHAPE, mean / story.MINUTES_SHAPE)), 3.0)


def method_texts(rng: np.random.Generator, rows: Rows, first: np.ndarray, ran_long: np.ndarray) -> np.ndarray:
    """Write each ear's methods in order; the longer a visit ran for its mean, the likelier a second."""
    hard = rows["debris"] == story.HARD
    likely = np.clip(0.06 + 0.12 * hard + 0.45 * np.maximum(ran_long - 1, 0)[:, None], 0, 0.8)
    failed = rows["outcome"] > 1
    likely = np.where(rows["worked"] & (rows["grade"] >= story.PARTLY), likely + 0.15 * failed, 0.0)
    follows = rng.random(first.shape) < likely
    second = np.where(
        first == story.HOOK,
        story.FINE,
        np.where(rng.random(first.shape) < 0.75, story.HOOK, np.where(first == story.FINE, story.FORCEPS, story.FINE)),
    )
    names = np.array([*story.METHOD_CODES, ""])
    return np.where(follows, np.char.add(np.char.add(names[first], METHOD_JOIN), names[second]), names[first])
