"""How much dearer than the best possible the recommended slots and recall months are, in the world the log came from.

The world is known from a log of a hundred thousand visits and from the planted curve; a clinic's choice and every other
choice meet that world, at the default prices.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from analysis.answers.recall_material import DRAWS, LONGEST_MONTHS, _costs, recall_costs
from analysis.answers.visit_log import SEED, visit_log
from analysis.clinic import Clinic
from analysis.derive.sessions import HELD_SLOT
from analysis.models.attendance import attendance
from analysis.models.booking_categories import sorted_into
from analysis.models.booking_facts import booking_facts
from analysis.planning.recall_cost import EDGES, cost_curve
from analysis.planning.session import Bookings
from analysis.planning.slot_evidence import slot_evidence
from analysis.planning.slot_search import best_template, run_slots, session_cost, slot_floors
from analysis.planning.slots import recommended_template
from analysis.problems import NotEnough
from analysis.settings import Settings
from tests.calibrate.invented_world import Drawn, draw_clinic
from tests.calibrate.truths import cleared_ears, share_occluding
from tests.calibrate.worlds import EVERY_WORLD, planted

SETTINGS = Settings()
BOOKINGS, SESSIONS, WORLD_VISITS, WORLD_SEED = 21, 3_000, 100_000, 987
MONTHS = np.arange(1, LONGEST_MONTHS + 1)


@dataclass(frozen=True, eq=False)
class Known:
    """A world as nobody who keeps one log can know it: its bookings in sessions, what returns cost, its curve by group."""

    held: pd.DataFrame
    facts: pd.DataFrame
    sessions: np.ndarray
    lateness: np.ndarray
    month_costs: dict[str, np.ndarray]


@cache
def known_world(name: str, visits: int = WORLD_VISITS) -> Known:
    """Draw a world's large log once."""
    world = EVERY_WORLD[name]
    with planted(world, visits):
        drawn = draw_clinic(world, [WORLD_SEED, *name.encode()])
        clinic = Clinic(drawn.visits, drawn.ears)
        held = drawn.visits[drawn.visits["attendance"].isin(HELD_SLOT)].reset_index(drop=True)
        came = held["attendance"] == "attended"
        held = held[~came | held["minutes"].notna()].reset_index(drop=True)
        rng = np.random.default_rng(WORLD_SEED)
        return Known(
            held=held,
            facts=booking_facts(drawn.visits, drawn.ears),
            sessions=rng.integers(0, len(held), (BOOKINGS, SESSIONS)),
            lateness=((held["arrived_at"] - held["slot_start"]).dt.total_seconds() / 60).fillna(0.0).to_numpy(),
            month_costs=_month_costs(drawn, clinic),
        )


def _month_costs(drawn: Drawn, clinic: Clinic) -> dict[str, np.ndarray]:
    """Cost of a year for an ear by recall month, on the planted curve and what the large log says visits cost."""
    found = recall_costs(clinic)
    rng, window = np.random.default_rng(WORLD_SEED), SETTINGS.recall.symptom_window_days
    costs = _costs(found.visits, found.grades, SETTINGS.recall_cost, window, rng)
    who = cleared_ears(drawn) // 2
    aid = drawn.people.hearing_aid[who]
    groups = {"everyone": who, "hearing_aid": who[aid], "no_hearing_aid": who[~aid]}
    shares = {
        name: share_occluding(drawn.people, these, EDGES, two_speeds=drawn.world.two_speeds)
        for name, these in groups.items()
    }
    return {name: cost_curve(np.tile(share, (DRAWS, 1)), costs, MONTHS).cost[0] for name, share in shares.items()}


def slots_regret(clinic: Clinic, known: Known) -> dict[str, float]:
    """Share by which the recommended slots' sessions cost more than those of the best slots for the same categories."""
    settings, log = SETTINGS.slots, visit_log(clinic)
    evidence = slot_evidence(log.visits, log.fitted, log.expected, lateness=attendance(clinic.visits).lateness)
    slots, gaps = recommended_template(evidence, settings, np.random.default_rng(SEED))
    met = _sessions(known, log.expected.categories, evidence.names)
    lowest = np.minimum(slot_floors(evidence, settings), slots)
    best, best_gaps = best_template(met, lowest, settings)
    chosen = session_cost(run_slots(slots, met, settings, gaps), settings)
    least = session_cost(run_slots(best, met, settings, best_gaps), settings)
    return {"recommended slots": chosen / min(least, chosen) - 1}


def _sessions(known: Known, categories: pd.DataFrame, names: list[str]) -> Bookings:
    """Let the world's own bookings meet in sessions, sorted as the clinic sorts them."""
    of_visit = sorted_into(known.facts, categories).reindex(known.held["visit_id"])
    place = of_visit.map({name: at for at, name in enumerate(names)}).fillna(0).to_numpy(dtype=int)
    came = (known.held["attendance"] == "attended").to_numpy(dtype=bool)
    minutes = known.held["minutes"].fillna(0.0).to_numpy()
    at = known.sessions
    return Bookings(place[at], minutes[at], came[at], known.lateness[at])


def months_regret(clinic: Clinic, known: Known) -> dict[str, float]:
    """Share by which a year costs more at the recall month found than at the best month, by group."""
    found = {}
    for name, curve in recall_costs(clinic).curves.items():
        true = known.month_costs[name]
        chosen = int(curve.months[curve.best])
        found[f"recall month ({name})"] = float(true[chosen - 1] / true.min() - 1)
    return found


def regrets(drawn: Drawn, known: Known) -> dict[str, float]:
    """Give a clinic's regrets; none where its log is too small for a recommendation."""
    clinic = Clinic(drawn.visits, drawn.ears)
    found: dict[str, float] = {}
    for ask in (slots_regret, months_regret):
        try:
            found |= ask(clinic, known)
        except NotEnough:
            continue
    return found


def regret_rows(asked: list[tuple[str, int, dict[str, float]]]) -> list[dict[str, Any]]:
    """Sum regrets up by decision, world and size, in per cent."""
    by: dict[tuple[str, str, int], list[float]] = defaultdict(list)
    for world, visits, found in asked:
        for decision, regret in found.items():
            by[decision, world, visits].append(100 * regret)
    return [
        {
            "decision": decision,
            "world": world,
            "visits": visits,
            "clinics": len(each),
            "mean": float(np.mean(each)),
            "mean_mc": float(np.std(each, ddof=1) / np.sqrt(len(each))) if len(each) > 1 else None,
            "ninth_tenth": float(np.quantile(each, 0.9)),
            "worst": max(each),
        }
        for (decision, world, visits), each in by.items()
    ]
