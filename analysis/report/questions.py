"""Every question of the report, in reading order, and the cautions that hold for all of it."""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Callable

from analysis.answers.case_mix import what_we_saw
from analysis.answers.demand import how_many_will_come
from analysis.answers.demand_trial import did_past_forecasts_hold
from analysis.answers.income import what_a_session_brings
from analysis.answers.monitoring import what_changed
from analysis.answers.punctuality import did_we_keep_to_time
from analysis.answers.quarter import activity, outcomes, safety
from analysis.answers.recall import when_to_call_back
from analysis.answers.recall_uptake import did_people_come_when_due
from analysis.answers.slots import how_long_to_book
from analysis.answers.softening import does_softening_pay, does_softening_save_minutes
from analysis.answers.suction_noise import suction_noise
from analysis.answers.trust import can_i_trust_my_log, what_was_set_aside
from analysis.answers.visit_time import how_long_do_visits_take
from analysis.answers.within_chance import within_chance
from analysis.clinic import Clinic
from analysis.derive.quarters import Quarter
from analysis.present.answer import Answer
from analysis.progress import Progress, silent

Ask = Callable[[Clinic, str], Answer]

PARTS: tuple[tuple[str, tuple[tuple[str, Ask], ...]], ...] = (
    (
        "Booking",
        (
            ("how long to book", lambda clinic, _: how_long_to_book(clinic)),
            ("how long visits take", lambda clinic, _: how_long_do_visits_take(clinic)),
        ),
    ),
    (
        "Softening",
        (
            ("does softening pay", lambda clinic, _: does_softening_pay(clinic)),
            ("minutes saved by softening", lambda clinic, _: does_softening_save_minutes(clinic)),
        ),
    ),
    (
        "Recall and demand",
        (
            ("when to call back", lambda clinic, _: when_to_call_back(clinic)),
            ("how many will come", lambda clinic, _: how_many_will_come(clinic)),
            ("whether past forecasts held", lambda clinic, _: did_past_forecasts_hold(clinic)),
        ),
    ),
    (
        "The quarter's work",
        (
            ("activity", activity),
            ("what was seen and done", what_we_saw),
            ("outcomes", outcomes),
            ("safety", safety),
            ("keeping to time", did_we_keep_to_time),
            ("coming when due", did_people_come_when_due),
            ("income of a session", what_a_session_brings),
            ("noise of suction", suction_noise),
            ("changes from month to month", what_changed),
            ("within what chance allows", within_chance),
        ),
    ),
    (
        "The log itself",
        (
            ("can the log be trusted", lambda clinic, _: can_i_trust_my_log(clinic)),
            ("what was set aside", lambda clinic, _: what_was_set_aside(clinic)),
        ),
    ),
)
WHERE_RECORDED = ("income of a session", "noise of suction")
"""Questions only for those who record fees or have measured noise; without, the report does not ask them."""
DECISIONS = ("how long to book", "does softening pay", "when to call back", "how many will come")

CAUTIONS = (
    "These figures describe what this log says, on average. They decide nothing about one patient, and never replace "
    "looking in the ear, local protocols or licensed practice.",
    "Softening, irrigation and suction are not for everyone, for instance not, or with special care, with a known or "
    "suspected perforation, grommets, recent ear surgery, an infected canal or an only hearing ear; some oils are "
    "unsuitable with a nut allergy (common practice, no source). Local protocol decides.",
    "Slots are for the diary, never for hurrying a patient. Consent, history, looking in the ear, aftercare and cleaning "
    "keep their minutes.",
    "A recall date does not replace the advice to come back when symptoms appear.",
    "Practitioners see different patients; nothing here ranks them.",
)


def ask_all(clinic: Clinic, quarter: Quarter, progress: Progress = silent) -> dict[str, Answer]:
    """Ask every question of the report once.

    Parameters
    ----------
    clinic : Clinic
    quarter : Quarter
        For the answers about one quarter's work.
    progress : callable, optional
        Told each step's name as it begins.

    Returns
    -------
    dict of str to Answer
        By the step's name, in the page's order; without those of
        ``WHERE_RECORDED`` that the log or the settings cannot answer.
    """
    answers = {}
    for _, questions in PARTS:
        for step, ask in questions:
            progress(step)
            answer = ask(clinic, str(quarter))
            if answer.answered or step not in WHERE_RECORDED:
                answers[step] = answer
            _give_memory_back()
    return answers


def _give_memory_back() -> None:
    """Hand back what a question no longer needs, which glibc keeps: of ten million visits more than a gigabyte."""
    trim = getattr(ctypes.CDLL(None), "malloc_trim", None) if sys.platform == "linux" else None
    if trim is not None:
        trim(0)
