"""What the what-ifs stand on: the four models of one log, drawn together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
import pandas as pd

from analysis.answers.clinic_attempts import clinic_attempts
from analysis.answers.demand_capacity import Capacity, Needs, capacity_of, needs_of
from analysis.answers.recall_material import clinic_gaps
from analysis.answers.slot_material import slot_material
from analysis.answers.softening_asked import Asked, asked_of
from analysis.clinic import Clinic
from analysis.models.adjusted import adjusted_arms
from analysis.models.booking_facts import ANY_KIND
from analysis.models.grade_at_return import fit_grades_at_return
from analysis.models.return_visits import FULLY, OPEN, PARTLY, STATES, return_visits
from analysis.models.returns_ahead import RECALL
from analysis.models.softening_material import Material, minutes_material, second_visits_material
from analysis.models.visit_history import KINDS
from analysis.models.visit_states import DAYS_LOOKED_AT, visit_states
from analysis.planning.capacity import booking_ends, minutes_by_kind
from analysis.planning.scenarios import Advice, FoundStates, VisitWork
from analysis.problems import DataProblem, NotEnough
from analysis.stats.influence import correlations
from analysis.stats.two_arms import TwoArms

SEED = 20261101
CONTRAST = "advised"
Made = TypeVar("Made")


@dataclass(frozen=True, eq=False)
class ScenarioMaterial:
    """Everything the scenarios are played with.

    Attributes
    ----------
    needs : Needs
        The forecast and what its visits take.
    capacity : Capacity or None
        The same beside the sessions there are; None where these are not known.
    work : VisitWork
    states : FoundStates or None
    advice : Advice or None
    slot : numpy.ndarray or None
        Recommended minutes by kind of booking.
    missing : dict of str to NotEnough
        What could not be had, and why.
    newly_advised : int
        Visits of the last year that could have been advised and were not.
    """

    needs: Needs
    capacity: Capacity | None
    work: VisitWork
    states: FoundStates | None
    advice: Advice | None
    slot: np.ndarray | None
    missing: dict[str, NotEnough] = field(default_factory=dict)
    newly_advised: int = 0


def scenario_material(clinic: Clinic) -> ScenarioMaterial:
    """Bring the clinic's models together; what one of them refuses is left out and named.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    ScenarioMaterial

    Raises
    ------
    NotEnough
        If there is no forecast, no minutes, or no patient numbers.
    """
    needs = needs_of(clinic)
    demand = needs.figures.demand
    many, rng = len(demand.others), np.random.default_rng(SEED)
    missing: dict[str, NotEnough] = {}

    def tried(name: str, make: Callable[[], Made]) -> Made | None:
        """Keep the reason where a model has no figure."""
        try:
            return make()
        except NotEnough as reason:
            missing[name] = reason
            return None

    if not demand.returns.expected[:, RECALL].sum() > 0:
        missing["recall"] = NotEnough(
            "The log holds no routine recall, so there is no interval to move.",
            "Set recall_uptake under [demand] and today_months under [recall] in clinic.toml to try a recall out.",
        )
    work = _work(clinic, needs, many, rng)
    capacity = tried("capacity", lambda: capacity_of(clinic))
    states = tried("grades", lambda: _states(clinic, many, rng))
    advised = tried("advice", lambda: _advice(clinic, asked_of(clinic), many, rng, missing))
    slot = tried("slots", lambda: _recommended(clinic, work))
    advice, newly = advised or (None, 0)
    return ScenarioMaterial(needs, capacity, work, states, advice, slot, missing, newly)


def _work(clinic: Clinic, needs: Needs, many: int, rng: np.random.Generator) -> VisitWork:
    """Draw minutes and lost bookings as uncertain as the log leaves them."""
    part, last_day = clinic.settings.slots, needs.figures.last_day
    minutes = minutes_by_kind(clinic.visits, last_day=last_day, turnaround_minutes=part.turnaround_minutes)
    chair, sd, n = (minutes[name].to_numpy(dtype=float) for name in ("chair", "chair_sd", "chair_n"))
    error = sd / np.sqrt(np.maximum(n, 1.0))
    drawn = chair + error * np.vstack([np.zeros(len(KINDS)), rng.standard_normal((many - 1, len(KINDS)))])
    ends = booking_ends(clinic.visits, last_day=last_day)
    kept, lost = (ends[name].to_numpy(dtype=float) for name in ("kept", "lost"))
    share = rng.beta(kept + 0.5, np.maximum(lost, 1e-12), size=(many, len(KINDS)))
    share[0] = np.maximum(kept, 0.5) / np.maximum(kept + lost, 0.5)
    return VisitWork(drawn, minutes["slot"].to_numpy(dtype=float), (1 - share) / share, part.session_minutes)


def _states(clinic: Clinic, many: int, rng: np.random.Generator) -> FoundStates:
    """Draw how full ears are found, and what hangs on it."""
    settings = clinic.settings
    found = visit_states(clinic.visits, clinic.ears, last_day=clinic.last_day)
    grades = fit_grades_at_return(clinic_gaps(clinic), settings.recall.fewest_ears)
    worked = clinic_attempts(clinic)
    taken = return_visits(clinic.visits, clinic.ears, worked, settings.visit_time)
    minutes = np.column_stack([taken.minutes[state].draws(many, rng) for state in STATES])
    again = np.zeros((many, len(STATES)))
    for state in (PARTLY, FULLY):
        again[:, STATES.index(state)] = 1 - np.clip(taken.success[state].draws(many, rng), 0.0, 1.0)
    again[:, STATES.index(OPEN)] = 0.0
    slope = grades.of(symptoms=False).slope_draws(many, rng)
    return FoundStates(found.shares, minutes, again, slope)


def _advice(
    clinic: Clinic, asked: Asked, many: int, rng: np.random.Generator, missing: dict[str, NotEnough]
) -> tuple[Advice, int]:
    """Draw what advising everyone changes: second visits and minutes of the same patients, together."""
    material = second_visits_material(
        asked.table, contrast=CONTRAST, fewest_visits=asked.fewest, followed_until=asked.followed_until
    )
    again = _arms(material)
    try:
        timed = _arms(minutes_material(asked.table, contrast=CONTRAST, fewest_visits=asked.fewest))
    except NotEnough as reason:
        timed, missing["minutes_saved"] = None, reason
    fewer, saved = _fewer_drawn(again, timed, many, rng)
    since = asked.followed_until - pd.Timedelta(days=DAYS_LOOKED_AT)
    rows = material.sample.rows
    newly = rows.loc[~material.treated & (rows["day"] > since).to_numpy(), "booking_kind"]
    later = (asked.table["attempt_number"] > 1) & asked.table["day"].between(since, asked.followed_until)
    second = max(asked.table.loc[later.fillna(False), "visit_id"].nunique(), 1)
    left = np.clip(1 - len(newly) * fewer / second, 0.0, None)
    came = _attended(clinic.visits, since, asked.followed_until)
    return Advice(_by_kind(newly) / np.maximum(_by_kind(came), 1.0), saved, left), len(newly)


def _arms(material: Material) -> TwoArms:
    """Compare like with like."""
    return adjusted_arms(
        material.columns,
        treated=material.treated,
        outcome=material.outcome,
        clusters=material.sample.whose,
        shares=material.shares,
    )


def _fewer_drawn(
    again: TwoArms, timed: TwoArms | None, many: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Draw second visits and minutes saved by one visit advised; both lean together as their patients do."""
    arms = [arm for arm in (again, timed) if arm is not None]
    values = np.array([arm.untreated - arm.treated for arm in arms])
    apart = np.array([1.0, -1.0])
    errors = np.array([np.sqrt(apart @ arm.covariance @ apart) for arm in arms])
    together = correlations([arm.difference_shifts for arm in arms]) * np.outer(errors, errors)
    drawn = values + rng.multivariate_normal(np.zeros(len(arms)), together, size=many, method="eigh")
    drawn[0] = values
    return drawn[:, 0], drawn[:, 1] if timed is not None else np.zeros(many)


def _attended(visits: pd.DataFrame, since: pd.Timestamp, until: pd.Timestamp) -> pd.Series:
    """Kinds of the visits attended in a stretch of days."""
    day = visits["slot_start"].dt.normalize()
    inside = (day > since) & (day <= until) & visits["attendance"].eq("attended").fillna(False)
    return visits.loc[inside, "booking_kind"]


def _by_kind(kinds: pd.Series) -> np.ndarray:
    """Count by kind of booking; blanks are other visits."""
    return kinds.astype("object").fillna(ANY_KIND).value_counts().reindex(list(KINDS), fill_value=0).to_numpy(float)


def _recommended(clinic: Clinic, work: VisitWork) -> np.ndarray:
    """Minutes the recommended template gives each kind of booking, with its part of catch-up gaps."""
    try:
        found = slot_material(clinic)
    except DataProblem as problem:  # the answer on slots says so; what is not of slots is still played
        raise NotEnough(problem.what, problem.remedy) from None
    plan, evidence = found.plan, found.evidence
    minutes = plan.slots["recommended_minutes"].to_numpy(dtype=float)
    kind = np.array(evidence.kinds)[evidence.kind_of]
    many = np.asarray(evidence.bookings, dtype=float)
    gap = clinic.settings.slots.grid_minutes * sum(
        sign / every for sign, every in ((1, plan.catch_up_every), (-1, plan.gaps_today)) if every
    )
    of_kind = {name: np.average(minutes[kind == name], weights=many[kind == name]) for name in set(kind)}
    rest = of_kind.get(ANY_KIND, float("nan"))
    slot = np.array([of_kind.get(name, rest) for name in KINDS]) + gap
    return np.where(np.isnan(slot), work.slot, slot)
