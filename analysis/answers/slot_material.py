"""What every question of slots starts from: the log's bookings and the plan made of them."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.answers.kept import once_a_clinic
from analysis.answers.visit_log import VisitLog, visit_log
from analysis.clinic import Clinic
from analysis.models.attendance import Attendance, attendance
from analysis.planning.slot_evidence import SlotEvidence, slot_evidence
from analysis.planning.slots import SlotPlan, plan_slots


@dataclass(frozen=True, eq=False)
class SlotMaterial:
    """The log, who comes, the bookings and the plan of slots."""

    log: VisitLog
    came: Attendance
    evidence: SlotEvidence
    plan: SlotPlan


@once_a_clinic
def slot_material(clinic: Clinic) -> SlotMaterial:
    """Plan a clinic's slots; the same log gives the same plan, whichever question asks.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    SlotMaterial

    Raises
    ------
    NotEnough
        If the log holds too few visits with minutes of their own, or no booking that was kept.
    DataProblem
        If the settings make a recommendation impossible.
    """
    settings, level = clinic.settings.slots, clinic.settings.level
    log = visit_log(clinic)
    came = attendance(clinic.visits, level=level)
    evidence = slot_evidence(log.visits, log.fitted, log.expected, lateness=came.lateness)
    return SlotMaterial(log, came, evidence, plan_slots(evidence, settings, level=level, rng=log.rng))
