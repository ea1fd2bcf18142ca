"""Who is due a recall: the list behind ``earclinic recall-list``, never an answer and never in the report."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.answers.recall_group_words import lent
from analysis.answers.recall_material import clinic_gaps
from analysis.clinic import Clinic
from analysis.models.recall import fit_recall
from analysis.models.recall_evidence import EVERYONE
from analysis.planning.recall_list import RecallList, recall_list
from analysis.planning.recall_policy import recall_rules
from analysis.problems import DataProblem, NotEnough


@dataclass(frozen=True, eq=False)
class Due:
    """Who is due a recall, and by which rule.

    Attributes
    ----------
    found : RecallList
    months : dict of str to int
        Recall interval by group.
    lent : list of str
        Groups with too few ears for an interval of their own; they go by the clinic's.
    """

    found: RecallList
    months: dict[str, int]
    lent: list[str]


def who_is_due(clinic: Clinic) -> Due:
    """List who is due a recall, with the months used for each group.

    Parameters
    ----------
    clinic : Clinic
        ``list_months`` of its settings is used where set; otherwise the report's
        recommended recall, by the same groups as its curves. The interval that costs
        least is not used by itself: prices as delivered are examples.

    Returns
    -------
    Due

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
    months, borrowing = ({EVERYONE: own}, []) if own else _recommended(clinic)
    found = recall_list(gaps, clinic.visits, months, last_day=clinic.last_day, facts=clinic.settings.recall.groups)
    return Due(found, months, borrowing)


def _recommended(clinic: Clinic) -> tuple[dict[str, int], list[str]]:
    """Give the report's recommended months by group, and the groups that go by the clinic's."""
    settings = clinic.settings
    try:
        fitted = fit_recall(clinic_gaps(clinic), settings.recall, level=settings.level)
    except NotEnough as reason:
        raise DataProblem(
            f"This log does not say yet when to call back. {reason.why}",
            "To list by an interval of your own, set list_months under [recall_cost] in clinic.toml.",
        ) from None
    rules = recall_rules(fitted, settings.recall)
    return {name: int(rule.recall_months.value) for name, rule in rules.items()}, lent(fitted.curves)
