"""What recall cost, grades at return and the recall list have in common: gaps, curves and costs of one log."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.answers.clinic_attempts import clinic_attempts
from analysis.answers.kept import once_a_clinic
from analysis.answers.recall_checks import ages_check
from analysis.answers.recall_group_words import lent, with_own
from analysis.clinic import Clinic
from analysis.derive.gaps import Clearances, clearances
from analysis.models.grade_at_return import GradesAtReturn, fit_grades_at_return
from analysis.models.recall import FittedRecall, fit_recall
from analysis.models.recall_ages import without_conflicting_ages
from analysis.models.recall_curve import RecallCurve
from analysis.models.recall_enough import DAYS_A_MONTH
from analysis.models.recall_evidence import EVERYONE
from analysis.models.return_visits import FULLY, OPEN, PARTLY, ReturnVisits, return_visits
from analysis.planning.recall_cost import EDGES, MIDDLES, CostCurve, ReturnCosts, cost_curve
from analysis.present.answer import Check
from analysis.schema import GRADES
from analysis.settings import RecallCostPart

DRAWS, SEED = 250, 20261
LONGEST_MONTHS = 36
SLOW_MONTHS = 12.0
"""Months within which people come of themselves who put up with symptoms for long (our choice, no source)."""


@dataclass(frozen=True, eq=False)
class RecallCosts:
    """Cost curves of the groups with a curve of their own (and of everyone, for the others), and what they stand on.

    ``shares`` are each group's drawn recall curves, ``costs`` what visits and days cost: with them
    intervals can be weighed again at other prices.
    """

    fitted: FittedRecall
    grades: GradesAtReturn
    visits: ReturnVisits
    curves: dict[str, CostCurve]
    shares: dict[str, np.ndarray]
    costs: ReturnCosts


def clinic_gaps(clinic: Clinic, symptom_window_days: int | None = None) -> pd.DataFrame:
    """List the clinic's gaps with its settings, or with another symptom window; no age of patients whose ages conflict."""
    window = clinic.settings.recall.symptom_window_days if symptom_window_days is None else symptom_window_days
    return _clearances(clinic).gaps(window)


def ages_used_check(clinic: Clinic) -> tuple[Check, ...]:
    """Say how many patients' ages conflict, where groups go by age; nothing otherwise."""
    if "age_60" not in clinic.settings.recall.groups:
        return ()
    return ages_check(without_conflicting_ages(clinic_gaps(clinic), clinic.visits)[1])


@once_a_clinic
def _clearances(clinic: Clinic) -> Clearances:
    """Find the clinic's clearances, which no symptom window changes; no age is used of patients whose ages conflict."""
    cleared = clearances(
        clinic.visits,
        clinic.ears,
        last_day=clinic.last_day,
        second_attempt_days=clinic.settings.softening.second_attempt_days,
    )
    return replace(cleared, found=without_conflicting_ages(cleared.found, clinic.visits)[0])


def recall_costs(clinic: Clinic) -> RecallCosts:
    """Weigh recall intervals for the clinic's groups.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    RecallCosts

    Raises
    ------
    NotEnough
        If curves, grades at return, minutes or success cannot be had from the log.
    """
    settings, table = clinic.settings, clinic_gaps(clinic)
    fitted = fit_recall(table, settings.recall, level=settings.level)
    grades = fit_grades_at_return(table, settings.recall.fewest_ears)
    worked = clinic_attempts(clinic)
    taken = return_visits(clinic.visits, clinic.ears, worked, settings.visit_time)
    rng = np.random.default_rng(SEED)
    costs = _costs(taken, grades, settings.recall_cost, settings.recall.symptom_window_days, rng)
    shown = _shown(fitted)
    shares = {name: curve.share_draws(EDGES, DRAWS, rng) for name, curve in shown.items()}
    curves = {name: cost_curve(shares[name], costs, _months(curve)) for name, curve in shown.items()}
    return RecallCosts(fitted, grades, taken, curves, shares, costs)


def prices_are_examples(part: RecallCostPart) -> bool:
    """Say whether prices and habits are still those the program comes with."""
    return part == replace(RecallCostPart(), list_months=part.list_months, currency=part.currency, within=part.within)


def said_of_prices(part: RecallCostPart) -> str:
    """Say plainly whose the prices are."""
    if prices_are_examples(part):
        return (
            "The prices and habits are the examples the program comes with, not this clinic's: nobody has measured them. Set "
            "your own under [recall_cost] in clinic.toml before you go by a month."
        )
    return "Prices and habits are those in clinic.toml; those left as delivered are examples that nobody has measured."


def _shown(fitted: FittedRecall) -> dict[str, RecallCurve]:
    """Keep groups with a curve of their own, and everyone where a group too small for one goes by everyone's."""
    own = with_own(fitted.curves)
    return own | {EVERYONE: fitted.curves[EVERYONE]} if lent(fitted.curves) else own


def _months(curve: RecallCurve) -> np.ndarray:
    """Whole months to weigh: as far as ears of the group were watched, three years at most."""
    return np.arange(1, max(2, min(LONGEST_MONTHS, int(curve.watched_months))) + 1)


def _costs(
    taken: ReturnVisits,
    grades: GradesAtReturn,
    prices: RecallCostPart,
    window_days: int,
    rng: np.random.Generator,
) -> ReturnCosts:
    """Draw what visits cost: minutes, success and grades each as uncertain as they are."""
    minutes = {state: figure.draws(DRAWS, rng) for state, figure in taken.minutes.items()}
    second = taken.second_minutes.draws(DRAWS, rng)
    whole = {
        state: minutes[state] + (1 - np.clip(taken.success[state].draws(DRAWS, rng), 0, 1)) * second
        for state in (PARTLY, FULLY)
    }
    late = []
    for symptoms in (False, True):
        kind = grades.of(symptoms=symptoms)
        full = np.array([_fully(kind.chances(MIDDLES, each)) for each in kind.draws(DRAWS, rng)])
        late.append((whole[PARTLY][:, None] * (1 - full) + whole[FULLY][:, None] * full) * prices.price_minute)
    waits = people_waiting(prices.slow_share, window_days, SLOW_MONTHS)
    return ReturnCosts(minutes[OPEN] * prices.price_minute, late[0], late[1], prices.price_symptom_day, waits)


def people_waiting(slow_share: float, window_days: int, slow_months: float) -> tuple[tuple[float, float], ...]:
    """Give shares of people, each with the months within which they come of themselves."""
    return (1 - slow_share, window_days / DAYS_A_MONTH), (slow_share, slow_months)


def _fully(chances: np.ndarray) -> np.ndarray:
    """Of the ears found occluding, the share that is fully so."""
    partly, fully = (chances[:, list(GRADES).index(state)] for state in (PARTLY, FULLY))
    either = partly + fully
    return np.divide(fully, either, out=np.zeros_like(either), where=either > 0)
