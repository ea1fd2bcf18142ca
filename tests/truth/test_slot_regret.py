"""Slots found from a log against the best slots of the world the log came from."""

from __future__ import annotations

from itertools import product

import numpy as np

from analysis.derive.attempts import attempts
from analysis.models.attendance import attendance
from analysis.models.booking_minutes import fit_booking_minutes
from analysis.models.visit_time import fit_visit_time
from analysis.planning.session import Bookings
from analysis.planning.slot_evidence import slot_evidence
from analysis.planning.slot_search import run_slots, session_cost
from analysis.planning.slots import recommended_template
from analysis.settings import SlotsPart, VisitTimePart
from tests.visit_world import invented_log

BOOKINGS, SESSIONS = 20, 2000
SETTINGS = SlotsPart(protected_minutes=0.0)


def the_world(names: list[str]) -> Bookings:
    """Sessions as the planted world makes them, not as any log lets one guess."""
    visits, _ = invented_log(np.random.default_rng(99), visits=BOOKINGS * SESSIONS)
    shape = (BOOKINGS, SESSIONS)
    came = (visits["attendance"] == "attended").to_numpy(dtype=bool)
    late = (visits["arrived_at"] - visits["slot_start"]).dt.total_seconds().to_numpy() / 60
    return Bookings(
        visits["booking_kind"].astype(str).map(names.index).to_numpy(dtype=int).reshape(shape),
        np.where(came, visits["minutes"], 0.0).reshape(shape),
        came.reshape(shape),
        np.where(came, late, 0.0).reshape(shape),
    )


def test_slots_found_from_a_year_of_visits_cost_hardly_more_than_the_best_there_are():
    visits, ears = invented_log(np.random.default_rng(51), visits=2000)
    worked = attempts(visits, ears, second_attempt_days=28, last_day=visits["slot_start"].max())
    fitted = fit_visit_time(visits, worked, ears, VisitTimePart())
    expected = fit_booking_minutes(visits, ears, fitted, VisitTimePart())
    evidence = slot_evidence(visits, fitted, expected, lateness=attendance(visits).lateness)
    found, gaps = recommended_template(evidence, SETTINGS, np.random.default_rng(1))
    world = the_world(evidence.names)
    costs = {
        slots: session_cost(run_slots(np.array(slots), world, SETTINGS), SETTINGS)
        for slots in product(np.arange(10.0, 40.0, 5.0), repeat=2)
    }
    regret = costs[tuple(found.tolist())] / min(costs.values()) - 1
    assert gaps == 0
    assert regret < 0.03  # a margin of our own: a template within it would hardly be told apart from the best
