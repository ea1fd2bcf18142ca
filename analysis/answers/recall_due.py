"""Who is due a recall: the list behind ``earclinic recall-list``, never an answer and never in the report."""

from __future__ import annotations

from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.recall import fit_recall
from analysis.models.recall_evidence import EVERYONE
from analysis.planning.recall_list import RecallList, recall_list
from analysis.planning.recall_policy import recall_rules
from analysis.problems import DataProblem, NotEnough


def who_is_due(clinic: Clinic) -> tuple[RecallList, dict[str, int]]:
    """List who is due a recall, with the months used for each group.

    Parameters
    ----------
    clinic : Clinic
        ``list_months`` of its settings is used where set; otherwise the report's
        recommended recall. The interval that costs least is not used by itself:
        prices as delivered are examples.

    Returns
    -------
    (RecallList, dict of str to int)

    Raises
    ------
    DataProblem
        If no ear's clearance can be followed, or no interval is set and none can be had from the log.
    """
    gaps = clinic_gaps(clinic)
    if gaps.empty:
        raise DataProblem(
            "The log holds no cleared ear of a patient with a number, so nobody can be listed.",
            "Record patient numbers, and each ear's outcome at every visit.",
        )
    own = clinic.settings.recall_cost.list_months
    months = {EVERYONE: own} if own else _recommended(clinic)
    return recall_list(gaps, clinic.visits, months, last_day=clinic.last_day), months


def _recommended(clinic: Clinic) -> dict[str, int]:
    """Give the report's recommended months by group."""
    settings = clinic.settings
    try:
        fitted = fit_recall(clinic_gaps(clinic), settings.recall, level=settings.level)
    except NotEnough as reason:
        raise DataProblem(
            f"This log does not say yet when to call back. {reason.why}",
            "To list by an interval of your own, set list_months under [recall_cost] in clinic.toml.",
            setting="recall_cost.list_months",
        ) from None
    return {name: int(rule.recall_months.value) for name, rule in recall_rules(fitted, settings.recall).items()}
