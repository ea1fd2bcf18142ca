"""Ears whose filling nobody saw, cleaned while open or worked on without a grade: how often, and which ears stand for them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

FEWEST_LOOKS = 25
"""Looks at non-occluding ears at one kind of visit for their share cleaned to be used (our choice, no source)."""
MOST_CLEANED, MOST_EVER = 0.8, 0.95
"""Share cleaned above which those left alone cannot stand for all unless there are as many as that, and above which they never
can: each would count five times, and twenty (our choice, no source)."""
AT_CALLS, OTHERWISE = 0, 1


@dataclass(frozen=True, eq=False)
class Unseen:
    """How often ears found non-occluding after a clearance were cleaned, not left alone, and ears worked on were not graded.

    Attributes
    ----------
    cleaned, looks : numpy.ndarray of int, shape (2,)
        Such ears cleaned, and all of them, at returns with symptoms and at other visits.
    ungraded, ended : int
        Gaps that ended with work on an ear of unknown grade, and those that ended with work on any.
    """

    cleaned: np.ndarray
    looks: np.ndarray
    ungraded: int = 0
    ended: int = 0

    @classmethod
    def of(cls, gaps: pd.DataFrame) -> Unseen:
        """Count them in the table ``GAPS``."""
        ended = _flag(gaps["cleaned_open"])
        at_call = _at_call(gaps)
        cleaned = np.array([int((ended & at_call).sum()), int((ended & ~at_call).sum())])
        left = np.array([int(gaps["left_at_calls"].fillna(0).sum()), int(gaps["left_otherwise"].fillna(0).sum())])
        ungraded = int(_flag(gaps["ended_ungraded"]).sum())
        return cls(cleaned, cleaned + left, ungraded, ungraded + int(_ended_graded(gaps).sum()))

    @property
    def share(self) -> float:
        """Share cleaned of all looks; nought where there were none."""
        return float(self.cleaned.sum() / max(self.looks.sum(), 1))

    @property
    def without_grade(self) -> float:
        """Share of the gaps ended by work whose ear was not graded, as far as others can stand for them."""
        share = self.ungraded / max(self.ended, 1)
        return share if self.ended >= FEWEST_LOOKS and share <= MOST_CLEANED else 0.0

    @property
    def too_often(self) -> bool:
        """Whether open ears were cleaned so often, at some kind of visit, that months come out late."""
        return bool(((self.looks >= FEWEST_LOOKS) & ~self._can_stand()).any())

    @property
    def allowed_for(self) -> np.ndarray:
        """Share cleaned at each kind of visit that is made up for; nought where it cannot be."""
        return np.where(self._can_stand(), self._shares(), 0.0)

    def _can_stand(self) -> np.ndarray:
        """Whether those left alone at each kind of visit are many enough to stand for all."""
        shares, left = self._shares(), self.looks - self.cleaned
        return (shares <= MOST_CLEANED) | ((left >= FEWEST_LOOKS) & (shares <= MOST_EVER))

    def _shares(self) -> np.ndarray:
        """Share cleaned at each kind of visit; of all looks where a kind saw few, and nought where these are few too."""
        whole = self.share if self.looks.sum() >= FEWEST_LOOKS else 0.0
        return np.where(self.looks >= FEWEST_LOOKS, self.cleaned / np.maximum(self.looks, 1), whole)


def stand_for(gaps: pd.DataFrame, unseen: Unseen) -> np.ndarray:
    """Say how many ears each gap stands for.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``.
    unseen : Unseen
        Of the same log.

    Returns
    -------
    numpy.ndarray
        0 where the gap ended because a non-occluding ear was cleaned, or one whose grade was not written; of the others, 1
        over the chance to have been left alone at every look that found it so, and graded at the one that ended the gap.

    Notes
    -----
    An ear found non-occluding will occlude sooner than others. Those cleaned then are never seen to occlude; taken
    for ears that merely cease to be watched, they made months 2 to 9 in 100 late where one in three was cleaned.
    Ears found alike and left alone stand in for them (inverse probability of censoring weights [1]_): exact where
    who is cleaned is chance, given the kind of visit. An ear worked on without a grade was most likely occluding:
    ears graded at such work stand in for it, taking grades to be left out by chance; else months were 7 in 100 late
    where one grade in eight was blank.

    References
    ----------
    .. [1] Robins and Finkelstein (2000), Biometrics 56, 779-788.

    Examples
    --------
    Where half are cleaned, an ear found non-occluding twice and left alone stands for four.

    >>> from analysis.schema import GAPS, typed_frame
    >>> gaps = typed_frame(GAPS, pd.DataFrame({"left_otherwise": [0, 2, 0], "cleaned_open": [False, False, True]}))
    >>> stand_for(gaps, Unseen(np.array([0, 50]), np.array([0, 100]))).tolist()
    [1.0, 4.0, 0.0]
    """
    chance_left = 1 - unseen.allowed_for
    times = gaps[["left_at_calls", "left_otherwise"]].fillna(0).to_numpy(dtype=float)
    made_up = unseen.allowed_for[np.where(_at_call(gaps), AT_CALLS, OTHERWISE)] > 0
    left_alone = np.where(_flag(gaps["cleaned_open"]) & made_up, 0.0, (1 / chance_left**times).prod(axis=1))
    if not unseen.without_grade:
        return left_alone
    graded = np.where(_ended_graded(gaps), 1 / (1 - unseen.without_grade), 1.0)
    return left_alone * np.where(_flag(gaps["ended_ungraded"]), 0.0, graded)


def _flag(values: pd.Series) -> np.ndarray:
    """Give a yes-or-no column as it stands, blanks as no."""
    return values.fillna(False).to_numpy(dtype=bool)


def _ended_graded(gaps: pd.DataFrame) -> np.ndarray:
    """Say of each gap whether it ended with an ear of known grade."""
    return gaps["occluding_by_days"].notna().to_numpy() | _flag(gaps["cleaned_open"])


def _at_call(gaps: pd.DataFrame) -> np.ndarray:
    """Say of each gap whether it ended at a return with symptoms."""
    return (gaps["return_kind"] == "symptoms_return").fillna(False).to_numpy(dtype=bool)
