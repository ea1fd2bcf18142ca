"""Ways in which the invented clinic may be otherwise than the models suppose."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.demo import details, people, story, weeks
from analysis.demo.minutes import ear_minutes

Rows = dict[str, Any]
FAST_SHARE, FAST_SCALE, SLOW_SCALE = 0.35, 0.3, 1.5
"""Two sorts of spells: a third of them fill within months, the rest over years; no Weibull and no log-logistic does so."""
TIMES = np.concatenate([np.arange(0, 3, 0.002), np.arange(3, 60.0, 0.05)])


def log_normal_minutes() -> tuple:
    """Draw minutes log-normal, with the demo's spread."""
    return ((details, "draw_minutes", _log_normal),)


def multiplicative_ears() -> tuple:
    """Let each ear lengthen the visit by a share of it, so that two full ears take longer than their parts together."""
    return ((details, "mean_minutes", _multiplied),)


def regrowth_at_two_speeds() -> tuple:
    """Let some ears fill again fast and the rest slowly."""
    return ((weeks, "draw_onset", _two_speed_onset), (people, "draw_onset", _two_speed_onset))


def two_speed_hazard(time: np.ndarray) -> np.ndarray:
    """Cumulative hazard of the two speeds together, in units of its scale."""
    fast, slow = ((time / scale) ** story.WEIBULL_SHAPE for scale in (FAST_SCALE, SLOW_SCALE))
    # the logarithm of both shares still open, fast ones shown relative to the slow, which last longer
    return slow - np.log(FAST_SHARE * np.exp(np.maximum(slow - fast, -700.0)) + 1 - FAST_SHARE)


def weibull_hazard(time: np.ndarray) -> np.ndarray:
    """Cumulative hazard of the story's Weibull time, in units of its scale."""
    return time**story.WEIBULL_SHAPE


def _log_normal(rng: np.random.Generator, mean: np.ndarray) -> np.ndarray:
    """Draw whole minutes around their means, at least three."""
    variance = np.log1p(1 / story.MINUTES_SHAPE)
    drawn = mean * np.exp(rng.normal(-variance / 2, np.sqrt(variance), len(mean)))
    return np.maximum(np.rint(drawn), 3.0)


def _multiplied(rows: Rows, first: np.ndarray, used: np.ndarray) -> np.ndarray:
    """Mean minutes of each visit: what comes before any ear, times a factor for each ear."""
    fixed = story.OVERHEAD_MINUTES + story.KIND_MINUTES[rows["kind"]] + story.PRACTITIONER_MINUTES[rows["practitioner"]]
    factors = 1 + ear_minutes(rows, first, used) / story.OVERHEAD_MINUTES
    return fixed * factors.prod(axis=1) + story.IN_CHAIR_MINUTES * rows["in_chair"]


def _two_speed_onset(rng: np.random.Generator, everyone: Any, who: np.ndarray, open_at: np.ndarray) -> np.ndarray:
    """Draw the day each ear becomes half blocked, given that it was open on a day; as ``people.draw_onset``."""
    scale = everyone.scale_days(who)[:, None]
    age = np.maximum(open_at - everyone.open_from[who], 0.0) / scale
    wait = rng.standard_exponential((len(who), 2)) / everyone.frailty[who][:, None]
    time = np.interp(two_speed_hazard(age) + wait, two_speed_hazard(TIMES), TIMES)
    return everyone.open_from[who] + scale * time
