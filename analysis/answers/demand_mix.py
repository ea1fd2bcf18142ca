"""How full ears will be found at the coming visits, and how long these take."""

from __future__ import annotations

import numpy as np

from analysis.answers.demand_figures import SEED, Figures
from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.demand_changed import Change, changed_returns
from analysis.models.grade_at_return import fit_grades_at_return
from analysis.models.return_table import DAYS_A_MONTH
from analysis.models.returns_ahead import RECALL
from analysis.models.visit_history import History, day_number
from analysis.models.visit_states import DAYS_LOOKED_AT, visit_states
from analysis.planning.visit_mix import VisitMix, visit_mix
from analysis.problems import NotEnough


def coming_mix(clinic: Clinic, figures: Figures) -> VisitMix | NotEnough:
    """Expect how full ears will be found and how long visits take, or say why that cannot be had.

    Parameters
    ----------
    clinic : Clinic
    figures : Figures
        The clinic's forecast.

    Returns
    -------
    VisitMix or NotEnough
        Without patient numbers, or where grades at return cannot be fitted,
        recalls are taken to be found as full as in the last year.
    """
    rng = np.random.default_rng(SEED + 4)
    try:
        states = visit_states(clinic.visits, clinic.ears, last_day=figures.last_day)
    except NotEnough as reason:
        return reason
    if np.isnan(states.minutes).any():
        return NotEnough(
            "Too few visits of the last year have minutes of their own for ears of each fullness.",
            "Record when each visit starts and ends, and each ear's grade, also where nothing was removed.",
        )
    slope, later = _moved(clinic, figures, rng)
    turnaround = clinic.settings.slots.turnaround_minutes
    return visit_mix(states, slope=slope, later=later, turnaround_minutes=turnaround, rng=rng)


def _moved(clinic: Clinic, figures: Figures, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Give how recalls' fullness grows with the months, and how much later the coming ones are than the last year's."""
    rows, months = figures.demand.others.shape[:2]
    try:
        ahead = changed_returns(figures.demand, Change()).log_months
        fitted = fit_grades_at_return(clinic_gaps(clinic), clinic.settings.recall.fewest_ears)
    except NotEnough:
        return np.zeros(rows), np.zeros((rows, months))  # recalls are then taken to be found as full as they were
    past = _log_months(figures.history, day_number(figures.last_day))
    later = np.where(ahead != 0, ahead - past, 0.0) if past is not None else np.zeros((rows, months))
    return fitted.of(symptoms=False).slope_draws(rows, rng), later


def _log_months(history: History, last: int) -> float | None:
    """Mean logarithm of the months since the visit before, over the last year's routine recalls."""
    recalled = (history.next_kind == RECALL) & (history.next_day > last - DAYS_LOOKED_AT) & (history.next_day <= last)
    days = (history.next_day - history.day)[recalled]
    return float(np.log(np.maximum(days, 1) / DAYS_A_MONTH).mean()) if len(days) else None
