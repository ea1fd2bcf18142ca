"""The clinic's visits made ready for the questions of time: up to its last day, worked ears beside them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.answers.clinic_attempts import clinic_attempts
from analysis.answers.kept import once_a_clinic
from analysis.clinic import Clinic
from analysis.models.booking_categories import category_means, category_quantiles
from analysis.models.booking_minutes import BookingMinutes, fit_booking_minutes
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.visit_sample import FEWEST_VISITS
from analysis.models.visit_time import fit_visit_time
from analysis.present.answer import Basis
from analysis.problems import NotEnough

SEED = 20260930
"""Every run draws the same patients again, so a figure changes only when the log does."""


@dataclass(frozen=True, eq=False)
class TimedVisits:
    """The log's visits up to its last day, the ears worked on, and the split of the minutes.

    Attributes
    ----------
    visits : pandas.DataFrame
        ``VISITS`` up to the log's last day; a visit without a slot has its start for one.
    worked : pandas.DataFrame
        ``ATTEMPTS`` of these visits.
    fitted : FittedVisitTime
    """

    visits: pd.DataFrame
    worked: pd.DataFrame
    fitted: FittedVisitTime

    @property
    def rng(self) -> np.random.Generator:
        """A generator that starts afresh, as for ``VisitLog``."""
        return np.random.default_rng(SEED)


@dataclass(frozen=True, eq=False)
class VisitLog:
    """The log's visits and what was found of their minutes.

    Attributes
    ----------
    visits : pandas.DataFrame
        ``VISITS`` up to the log's last day; a visit without a slot has its start for one.
    fitted : FittedVisitTime
    expected : BookingMinutes
    """

    visits: pd.DataFrame
    fitted: FittedVisitTime
    expected: BookingMinutes

    @property
    def rng(self) -> np.random.Generator:
        """A generator that starts afresh, so that asking one question never changes the answer to another."""
        return np.random.default_rng(SEED)

    @property
    def within(self) -> dict[tuple[str, float], float]:
        """Minutes that shares of each booking category's visits stay within."""
        names = list(self.expected.categories.index)
        means = category_means(self.fitted.means, self.fitted.minutes, self.expected.of_visit)
        return category_quantiles(means, self.fitted.shape, self.expected.of_visit, names)


@once_a_clinic
def visit_log(clinic: Clinic) -> VisitLog:
    """Fit visit time on a clinic's log.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    VisitLog

    Raises
    ------
    NotEnough
        If the log holds too few visits with minutes of their own.
    """
    timed = timed_visits(clinic)
    settings = clinic.settings
    expected = fit_booking_minutes(
        timed.visits, clinic.ears, timed.fitted, settings.visit_time, settings.slots.categories
    )
    return VisitLog(timed.visits, timed.fitted, expected)


@once_a_clinic
def timed_visits(clinic: Clinic) -> TimedVisits:
    """Take a clinic's visits whose minutes count and split their minutes; raises ``NotEnough`` as ``visit_log`` does."""
    attended = int((clinic.visits["attendance"] == "attended").sum())
    if attended < FEWEST_VISITS:
        raise NotEnough(
            f"The log holds {attended:,} attended visits; {FEWEST_VISITS} are needed.", "Add more of the log."
        )
    slot = clinic.visits["slot_start"].fillna(clinic.visits["started_at"])
    visits = clinic.visits.assign(slot_start=slot)[slot.dt.normalize() <= clinic.last_day]
    worked = clinic_attempts(clinic)
    fitted = fit_visit_time(visits, worked, clinic.ears, clinic.settings.visit_time, level=clinic.settings.level)
    return TimedVisits(visits, worked, fitted)


def visit_basis(clinic: Clinic, log: VisitLog | TimedVisits, method: str) -> Basis:
    """Say which visits' minutes an answer rests on, and which were left out and why."""
    part, sample = clinic.settings.visit_time, log.fitted.sample
    why = {
        "filled_from_slot": "visits whose end was copied from the slot",
        "missing": "visits without a start or an end",
        "implausible": f"visits with impossible times, or shorter than {part.shortest_minutes:g} or longer than {part.longest_minutes:g} minutes",
        "ungraded": "visits with a worked ear that is not graded",
        "ear_minutes": "visits whose ears are not all timed, or take longer than the visit",
        "rare_grade": f"visits with an ear of a grade seen at fewer than {part.fewest_visits} visits",
    }
    slots = sample.visits["slot_start"]
    return Basis(
        used=len(sample.visits),
        of_what="attended visits",
        left_out={why[reason]: many for reason, many in sample.left_out.items()},
        first_day=slots.min(),
        last_day=slots.max(),
        method=method,
    )
