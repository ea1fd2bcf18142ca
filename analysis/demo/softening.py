"""Who is advised to soften, who does it, and how a first attempt ends.

The trap that is planted: the call lets the clinic suspect hard, full wax, such
ears are advised more often, and such ears clear less often. Softening itself
helps. Compared without care, the advised look no better, or worse.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.demo import story
from analysis.demo.wax import Found


@dataclass(frozen=True)
class Softened:
    """Per patient: what the call suggested, what was advised, what was done."""

    signal: np.ndarray
    advised: np.ndarray
    used: np.ndarray


def soften(rng: np.random.Generator, found: Found, kind: np.ndarray) -> Softened:
    """Draw signal, advice and use, each from the one before."""
    hard, full = found.debris == story.HARD, found.grade == story.FULLY
    worst = (hard.astype(int) + full).max(axis=1)
    signal = rng.random(len(kind)) < story.SIGNAL_SHARES[worst]
    advised = rng.random(len(kind)) < story.ADVISED_SHARES[signal.astype(int), kind]
    used = rng.random(len(kind)) < story.USED_SHARES[advised.astype(int), signal.astype(int)]
    return Softened(signal, advised, used)


def success_logit(found: Found, canal: np.ndarray, ease: np.ndarray, practitioner: np.ndarray) -> np.ndarray:
    """Log odds that an ear clears without softening; shape (patients, 2)."""
    less = story.SUCCESS_LESS
    narrow = np.isin(canal, (story.NARROW, story.TORTUOUS, story.NARROW_AND_TORTUOUS))
    return (
        story.SUCCESS_AT_BEST
        + less["fully"] * (found.grade == story.FULLY)
        + less["hard"] * (found.debris == story.HARD)
        + less["dead_skin"] * (found.debris == story.DEAD_SKIN)
        + less["impacted"] * found.impacted
        + less["narrow"] * narrow
        + less["operated"] * (canal == story.OPERATED)
        + ease[:, None]
        + story.SUCCESS_PRACTITIONER[practitioner][:, None]
    )


def chance(logit: np.ndarray) -> np.ndarray:
    """Turn log odds into a share."""
    return 1 / (1 + np.exp(-logit))
