"""What is found in an ear on the day it is looked at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.demo import story
from analysis.demo.people import People


@dataclass(frozen=True)
class Found:
    """What both ears of some patients hold; arrays of shape (patients, 2)."""

    percent: np.ndarray
    grade: np.ndarray
    debris: np.ndarray
    impacted: np.ndarray


def look(rng: np.random.Generator, people: People, who: np.ndarray, day: np.ndarray) -> Found:
    """Grade the ears as first seen; softening before the visit does not change what is graded (assumed)."""
    percent = blocked_percent(people, who, day)
    grade = np.digitize(percent, [15.0, 50.0, 80.0])
    hard = rng.random(grade.shape) < np.array(story.HARD_SHARES)[grade]
    rest = rng.choice(len(story.OTHER_DEBRIS_SHARES), grade.shape, p=story.OTHER_DEBRIS_SHARES)
    debris = np.where(grade == story.CLEAR, story.NO_CODE, np.where(hard, story.HARD, rest))
    impacted = rng.random(grade.shape) < story.IMPACTED_SHARES[(debris == story.HARD).astype(int), grade]
    again = people.unfinished[who]
    return Found(
        percent,
        grade,
        np.where(again, people.debris[who], debris),
        np.where(again, people.impacted[who], impacted),
    )


def blocked_percent(people: People, who: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Share of each canal blocked: slow to 50 at the onset, then faster towards 100."""
    onset, start = people.onset_day[who], people.open_from[who]
    before = np.clip((day[:, None] - start) / np.maximum(onset - start, 1.0), 0.0, 0.9999)
    since = np.maximum(day[:, None] - onset, 0.0)
    after = 50 + 50 * -np.expm1(-since / people.speed_days[who][:, None])
    return np.where(onset > day[:, None], 49.99 * before**2, after)
