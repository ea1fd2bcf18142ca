"""A group's recall curve: how the share of its ears occluding again grows."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.models.recall_enough import DAYS_A_MONTH, graded_later
from analysis.stats.averaged_times import AveragedTimes
from analysis.stats.estimate import Estimate


@dataclass(frozen=True, eq=False)
class RecallCurve:
    """How the share of a group's ears that are occluding again grows with time.

    Attributes
    ----------
    group : str
        ``hearing_aid``, ``no_hearing_aid`` or ``everyone``; or a group of the owner's such as ``age_60:yes canal:no``.
    ears, seen_again, occluding : int
        Ears cleared; of these graded at a later visit; of these found occluding.
    own : bool
        False where the group has too few ears and shows the whole clinic's curve.
    watched_months : float
        Longest time an ear of the group was watched; the curve beyond is a guess.
    """

    group: str
    ears: int
    seen_again: int
    occluding: int
    own: bool
    watched_months: float
    times: AveragedTimes

    def months_until(self, share: float) -> Estimate:
        """Months until a share of the ears is occluding again."""
        return replace(self.times.time_until(share).scaled(1 / DAYS_A_MONTH), n=self.ears)

    def share_by(self, months: float) -> Estimate:
        """Share of the ears that is occluding again by some months, above nought."""
        return replace(self.times.share_by(months * DAYS_A_MONTH), n=self.ears)

    def share_draws(self, months: np.ndarray, many: int, rng: np.random.Generator) -> np.ndarray:
        """Draw the share by months from 0 as uncertain as it is, shape (many, months); the first row is the best curve."""
        return self.times.draws(months * DAYS_A_MONTH, many, rng)


def recall_curve(name: str, first: pd.DataFrame, times: AveragedTimes, *, own: bool) -> RecallCurve:
    """Put a fitted curve beside the ears it is said of."""
    watched = float(first["watched_days"].max()) / DAYS_A_MONTH if len(first) else 0.0
    occluding = int(first["occluding_by_days"].notna().sum())
    return RecallCurve(name, len(first), int(graded_later(first).sum()), occluding, own, watched, times)
