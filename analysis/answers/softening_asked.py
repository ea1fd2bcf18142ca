"""What softening's deeper answers start from: the attempts, and each contrast's ears or the reason why not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import pandas as pd

from analysis.answers.clinic_attempts import clinic_attempts
from analysis.clinic import Clinic
from analysis.models.softening_material import Material, ears_material
from analysis.models.softening_sample import CONTRASTS
from analysis.problems import NotEnough

SEED = 20260105
"""So that the same log gives the same figures."""
Made = TypeVar("Made")


@dataclass(frozen=True, eq=False)
class Asked:
    """A clinic's attempts, and how far they were followed."""

    clinic: Clinic
    table: pd.DataFrame
    followed_until: pd.Timestamp

    @property
    def level(self) -> float:
        """How sure ranges should be."""
        return self.clinic.settings.level

    @property
    def fewest(self) -> int:
        """Ears (or visits) the smaller arm needs."""
        return self.clinic.settings.softening.fewest_ears

    def ears(self, contrast: str) -> Material:
        """Take the ears compared."""
        return ears_material(self.table, contrast=contrast, fewest_ears=self.fewest, followed_until=self.followed_until)


def asked_of(clinic: Clinic) -> Asked:
    """List the clinic's attempts by its own settings; a log without attended visits has no last day."""
    if not (clinic.visits["attendance"] == "attended").any():
        raise NotEnough("The log shows no attended visit.", "Record of every booking whether the patient came.")
    days = clinic.settings.softening.second_attempt_days
    table = clinic_attempts(clinic)
    return Asked(clinic, table, clinic.last_day - pd.Timedelta(days=days))


def by_contrast(make: Callable[[str], Made]) -> tuple[dict[str, Made], dict[str, NotEnough]]:
    """Make something for advice and for use; keep the reason where one has no figure.

    Raises
    ------
    NotEnough
        If neither has; the reason is that of advice.
    """
    made: dict[str, Made] = {}
    refusals: dict[str, NotEnough] = {}
    for contrast in CONTRASTS:
        try:
            made[contrast] = make(contrast)
        except NotEnough as reason:
            refusals[contrast] = reason
    if not made:
        raise refusals["advised"]
    return made, refusals
