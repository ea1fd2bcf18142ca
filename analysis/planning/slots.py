"""How long to book: slots on the clinic's grid, weighed by waiting, idling and overtime."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.planning.session import Bookings
from analysis.planning.slot_evidence import SlotEvidence, draw_bookings, draw_luck
from analysis.planning.slot_search import best_template, run_slots, session_cost, slot_floors
from analysis.problems import DataProblem
from analysis.settings import SlotsPart
from analysis.stats.estimate import Estimate
from analysis.stats.resampling import cluster_weights, percentile_range

QUANTITIES = (
    "on_time_share",
    "mean_wait_minutes",
    "overtime_minutes",
    "idle_minutes",
    "patients_per_session",
)
COST = "session_cost"
FURTHER = ("room_minutes", "late_share")
"""Idle and overtime minutes together; sessions that end more than 15 minutes late."""
TODAY, RECOMMENDED = "current", "recommended"
SESSIONS_SEARCHED, SESSIONS_SHOWN, SESSIONS_REDRAWN = 4_000, 20_000, 1_500
METHOD = "simulated half-day sessions; ranges by drawing patients again"


@dataclass(frozen=True, eq=False)
class SlotPlan:
    """The recommended slots beside today's, and what each does to a full session.

    Attributes
    ----------
    slots : pandas.DataFrame, indexed by ``booking``
        ``recommended_minutes``, ``today_minutes`` (missing where not known),
        ``floor_minutes`` (protected minutes and the work on the ears, rounded
        up to the grid), ``floor_binds`` (a shorter slot would have been
        chosen without it) and ``bookings``.
    figures : dict of (str, str) to Estimate
        By policy (``current``, ``recommended``) and quantity. Without
        ``current`` where today's slots are not known.
    differences : dict of str to Estimate
        Recommended less today's, by quantity, the same patients meeting both;
        and ``session_cost`` in the owner's prices.
    redraws : int
        How often patients were drawn again.
    further : dict of (str, str) to Estimate
        By policy or ``difference``: ``room_minutes`` and ``late_share``.
    catch_up_every : int
        Patients after whom the recommended template leaves a gap of one step of the grid; nought is none.
    gaps_today : int
        The same of today's.
    """

    slots: pd.DataFrame
    figures: dict[tuple[str, str], Estimate]
    differences: dict[str, Estimate]
    redraws: int
    further: dict[tuple[str, str], Estimate]
    catch_up_every: int = 0
    gaps_today: int = 0

    @property
    def same(self) -> bool:
        """Whether today's template is the recommended one."""
        slots = self.slots["today_minutes"] == self.slots["recommended_minutes"]
        return bool(slots.all()) and self.catch_up_every == self.gaps_today

    @property
    def told_apart(self) -> bool:
        """Whether the log can tell that the recommended slots are worth more than today's."""
        return COST in self.differences and self.differences[COST].high < 0


def plan_slots(
    evidence: SlotEvidence, settings: SlotsPart, *, level: float, rng: np.random.Generator, redraws: int = 150
) -> SlotPlan:
    """Recommend slots by booking category, and compare them with today's.

    Parameters
    ----------
    evidence : SlotEvidence
    settings : SlotsPart
        Grid, floor, session, prices and today's slots.
    level : float
        How sure ranges should be.
    rng : numpy.random.Generator
    redraws : int, optional
        How often patients are drawn again for the ranges.

    Returns
    -------
    SlotPlan

    Raises
    ------
    DataProblem
        If all three prices are nought, so that no slot is better than another,
        or a slot that keeps the floor is longer than the session.

    Notes
    -----
    Ranges are those of the log, not of the simulation: patients are drawn
    again with all their bookings, minutes, mix and attendance are counted
    afresh (minutes by one step of the fit), and both templates meet the same
    luck. They do not hold that next year's patients may differ, nor that the
    recommended slots were the best of those tried on the same log.
    """
    floors = slot_floors(evidence, settings)
    _refuse(floors, settings)
    shortest = min(floors.min(), min(todays_slots(evidence, settings).values(), default=np.inf))
    searched = draw_bookings(evidence.model(), _luck(rng, settings, settings.grid_minutes * 2, SESSIONS_SEARCHED))
    recommended, gaps = best_template(searched, floors, settings)
    free, _ = best_template(searched, np.full(len(floors), float(settings.grid_minutes * 2)), settings)
    today = todays_slots(evidence, settings)
    slots = pd.DataFrame(
        {
            "recommended_minutes": recommended,
            "today_minutes": [float(today.get(name, np.nan)) for name in evidence.names],
            "floor_minutes": floors,
            "floor_binds": free < floors,
            "bookings": evidence.bookings,
        },
        index=pd.Index(evidence.names, name="booking"),
    )
    templates = {RECOMMENDED: (recommended, gaps)}
    if slots["today_minutes"].notna().all():
        templates[TODAY] = (slots["today_minutes"].to_numpy(), settings.today_catch_up_every)
    return _compared(slots, templates, evidence, settings, level, rng, redraws, shortest)


def _compared(
    slots: pd.DataFrame,
    templates: dict[str, tuple[np.ndarray, int]],
    evidence: SlotEvidence,
    settings: SlotsPart,
    level: float,
    rng: np.random.Generator,
    redraws: int,
    shortest: float,
) -> SlotPlan:
    """Run both templates on the same luck, at full length once and shorter for every redraw."""
    shown = _measure(
        templates, draw_bookings(evidence.model(), _luck(rng, settings, shortest, SESSIONS_SHOWN)), settings
    )
    luck = _luck(rng, settings, shortest, SESSIONS_REDRAWN)
    once = np.ones(len(evidence.held_kind))
    base = _measure(templates, draw_bookings(evidence.model(once), luck), settings)
    drawn = [
        _measure(templates, draw_bookings(evidence.model(weights), luck), settings)
        for weights in cluster_weights(evidence.held_patient, draws=redraws, rng=rng)
    ]
    n = len(evidence.fitted.means)

    def ranged(key: tuple[str, str]) -> Estimate:
        again = np.array([each[key] for each in drawn])
        return percentile_range(shown[key], base[key], again, level=level, n=n, method=METHOD)

    found = {key: ranged(key) for key in shown}
    return SlotPlan(
        slots=slots,
        figures={key: each for key, each in found.items() if key[0] in templates and key[1] in QUANTITIES},
        differences={
            quantity: each
            for (policy, quantity), each in found.items()
            if policy == "difference" and quantity not in FURTHER
        },
        redraws=redraws,
        further={key: each for key, each in found.items() if key[1] in FURTHER},
        catch_up_every=templates[RECOMMENDED][1],
        gaps_today=settings.today_catch_up_every,
    )


def _measure(
    templates: dict[str, tuple[np.ndarray, int]], bookings: Bookings, settings: SlotsPart
) -> dict[tuple[str, str], float]:
    """Run each template; where there are two, add recommended less today's."""
    found = {}
    for policy, (slots, gaps) in templates.items():
        figures = run_slots(slots, bookings, settings, gaps)
        found.update({(policy, quantity): float(getattr(figures, quantity)) for quantity in QUANTITIES})
        found[policy, COST] = session_cost(figures, settings)
        found[policy, "room_minutes"] = figures.idle_minutes + figures.overtime_minutes
        found[policy, "late_share"] = figures.late_share
    if TODAY in templates:
        for quantity in (*QUANTITIES, COST, *FURTHER):
            found["difference", quantity] = found[RECOMMENDED, quantity] - found[TODAY, quantity]
    return found


def _luck(rng: np.random.Generator, settings: SlotsPart, shortest: float, sessions: int) -> np.ndarray:
    """Draw the luck of sessions, with as many bookings as the shortest slots could hold."""
    return draw_luck(rng, bookings=int(settings.session_minutes // shortest), sessions=sessions)


def todays_slots(evidence: SlotEvidence, settings: SlotsPart) -> dict[str, int]:
    """Give today's slots by category: the owner's, else the commonest of the log."""
    by_kind = {**evidence.slot_minutes, **settings.today}
    kinds = [evidence.kinds[place] for place in evidence.kind_of]
    return {name: by_kind[kind] for name, kind in zip(evidence.names, kinds, strict=True) if kind in by_kind}


def recommended_template(
    evidence: SlotEvidence, settings: SlotsPart, rng: np.random.Generator
) -> tuple[np.ndarray, int]:
    """Search the recommended slots and gaps alone; raises ``DataProblem`` as ``plan_slots`` does.

    Parameters
    ----------
    evidence : SlotEvidence
    settings : SlotsPart
    rng : numpy.random.Generator

    Returns
    -------
    slots : numpy.ndarray, shape (categories,)
    catch_up_every : int
    """
    floors = slot_floors(evidence, settings)
    _refuse(floors, settings)
    return best_template(full_sessions(evidence, settings, rng), floors, settings)


def full_sessions(
    evidence: SlotEvidence, settings: SlotsPart, rng: np.random.Generator, sessions: int = SESSIONS_SEARCHED
) -> Bookings:
    """Draw sessions with as many bookings as slots of two steps of the grid could hold."""
    return draw_bookings(evidence.model(), _luck(rng, settings, settings.grid_minutes * 2, sessions))


def _refuse(floors: np.ndarray, settings: SlotsPart) -> None:
    """Say which setting makes a recommendation impossible."""
    if settings.price_wait == settings.price_idle == settings.price_overtime == 0:
        raise DataProblem(
            "All three prices are nought, so no slot is better than another.",
            "Set at least one of slots.price_wait, slots.price_idle and slots.price_overtime above nought.",
            file="clinic.toml",
            setting="slots.price_wait",
        )
    if floors.max() > settings.session_minutes:
        raise DataProblem(
            "The shortest slot that keeps the protected minutes is longer than the session.",
            "Set slots.session_minutes longer, or look whether slots.protected_minutes is what you meant.",
            file="clinic.toml",
            setting="slots.session_minutes",
            value=f"{settings.session_minutes:g}",
        )
