"""What an answer says of itself where a world breaks its assumptions: which of its checks fires, and how often."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from typing import Any

from analysis.answers.recall_models import does_the_curve_fit
from analysis.answers.softening import does_softening_pay
from analysis.answers.visit_time import how_long_do_visits_take
from analysis.answers.visit_time_candidates import which_way_foretells_best
from analysis.answers.visit_time_held import do_foretold_minutes_hold
from analysis.clinic import Clinic
from analysis.present.answer import FAILED, Answer
from tests.calibrate.invented_world import Drawn

UNRECORDED = "Recorded nowhere"
"""How the answer begins the sentence that names facts the groups could not be made alike in."""


def _any_failed(answer: Answer) -> bool:
    """Say whether any check of an answer failed."""
    return any(check.result == FAILED for check in answer.checks)


def _other_way_best(answer: Answer) -> bool:
    """Say whether, of the ways of foretelling minutes, another than parts that add up lost least."""
    least = min(answer.rows, key=lambda row: row.value, default=None)
    return least is not None and least.group["form"] != "gamma_identity"


def _says_unrecorded(answer: Answer) -> bool:
    """Say whether the answer names facts that are recorded nowhere."""
    return any(line.startswith(UNRECORDED) for line in answer.assumptions)


ASKED: dict[str, tuple[Callable[[Clinic], Answer], Callable[[Answer], bool]]] = {
    "How long do visits take? Minutes foretold at booking: failed": (how_long_do_visits_take, _any_failed),
    "Do foretold minutes hold? Any check failed": (do_foretold_minutes_hold, _any_failed),
    "Which way foretells best? Another than parts that add up": (which_way_foretells_best, _other_way_best),
    "Does softening first pay? Names facts recorded nowhere": (does_softening_pay, _says_unrecorded),
    "Does the recall curve fit? Any check failed": (does_the_curve_fit, _any_failed),
}


def warned(drawn: Drawn) -> dict[str, bool]:
    """Ask a clinic, and say which checks fired."""
    clinic = Clinic(drawn.visits, drawn.ears)
    return {name: fires(ask(clinic)) for name, (ask, fires) in ASKED.items()}


def warned_rows(asked: list[tuple[str, int, dict[str, bool]]]) -> list[dict[str, Any]]:
    """Count in how many clinics of each world and size each check fired."""
    fired: dict[tuple[str, int, str], list[bool]] = defaultdict(list)
    for world, visits, found in asked:
        for name, one in found.items():
            fired[world, visits, name].append(one)
    return [
        {"world": world, "visits": visits, "check": name, "clinics": len(each), "fired": sum(each)}
        for (world, visits, name), each in fired.items()
    ]
