"""The words of how long to book."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.answers.booking_words import articled, held_out_checks
from analysis.answers.visit_log import VisitLog
from analysis.models.attendance import Attendance
from analysis.planning.slot_evidence import SlotEvidence
from analysis.planning.slots import COST, RECOMMENDED, TODAY, SlotPlan
from analysis.present import words
from analysis.present.answer import INFORMATION, Basis, Check
from analysis.settings import SlotsPart
from analysis.stats.estimate import Estimate

METHOD = (
    "Half-day sessions simulated booking by booking, with the log's minutes, mix of bookings, missed bookings and "
    "arrivals; slots on the grid searched for the least waiting, idling and overtime at the prices set."
)
SHORT = {
    "mean_wait_minutes": "A patient's wait",
    "overtime_minutes": "Overtime of a session",
    "idle_minutes": "Idle room in a session",
}
POLICIES = {TODAY: "today", RECOMMENDED: "recommended"}
LONGEST_WAIT_MINUTES = 120.0
FEWEST_WAITS = 30
PROTECTED = (
    "A slot is for booking, never for hurrying a patient: consent, history, looking into the ear, aftercare and cleaning "
    "keep their time, a visit takes what the ear needs, and local protocol and licensed practice decide."
)


def headline(plan: SlotPlan, log: VisitLog, basis: Basis, settings: SlotsPart) -> str:
    """Say the slots and what they change, in one sentence."""
    period = f"going by the log {words.from_months(basis.first_day, basis.last_day)}"
    slots = _slots(plan, log)
    if TODAY not in {policy for policy, _ in plan.figures}:
        seen, wait = plan.figures[RECOMMENDED, "patients_per_session"], plan.figures[RECOMMENDED, "mean_wait_minutes"]
        return (
            f"Book {slots}: a full session then sees {_said(seen, 'patients')} and a patient waits {_said(wait, 'minutes')}, "
            f"{period}; today's slots are not known, so they are not compared."
        )
    if plan.same:
        wait = plan.figures[TODAY, "mean_wait_minutes"]
        return (
            f"Keep today's slots, {slots}: none on the {settings.grid_minutes}-minute grid is worth more at the prices set, "
            f"and a patient of a full session waits {_said(wait, 'minutes')}, {period}."
        )
    change = _changes(plan)
    if plan.differences[COST].low > 0:
        return f"Book {slots}, since today's slots cut the protected minutes: {change}, {period}."
    if not plan.told_apart:
        return f"The log cannot tell the best slots found from today's: with {slots}, {change}, {period}."
    return f"Book {slots}: {change}, {period}."


def gaps_said(catch_up_every: int) -> str:
    """Say a template's catch-up gaps, to stand behind its slots; nothing where there are none.

    Examples
    --------
    >>> gaps_said(4), gaps_said(0)
    (', and a catch-up gap after every 4 patients', '')
    """
    return f", and a catch-up gap after every {catch_up_every} patients" if catch_up_every else ""


def _slots(plan: SlotPlan, log: VisitLog) -> str:
    """Say each booking's slot: first those that change, with today's, then those that stay."""
    changed: list[str] = []
    kept: list[str] = []
    for name, one in plan.slots.to_dict("index").items():
        today, recommended = one["today_minutes"], one["recommended_minutes"]
        stays = today == recommended and not plan.same
        beside = "" if pd.isna(today) or today == recommended else f" (today {today:.0f})"
        said = kept if stays else changed
        unit = "" if said else " minutes"
        said.append(f"{recommended:.0f}{unit} for {articled(log.expected, str(name))}{beside}")
    still = f"{', and ' if changed else ''}as today {words.joined(kept)}" if kept else ""
    return words.joined(changed) + still + gaps_said(plan.catch_up_every)


def _changes(plan: SlotPlan) -> str:
    """Say what changes in patients and waiting, which the chart completes, from today to recommended."""
    parts = []
    for quantity, form in (
        ("patients_per_session", "a full session sees {} patients ({}; today {})"),
        ("mean_wait_minutes", "a patient waits {} minutes ({}; today {})"),
    ):
        new, old = plan.figures[RECOMMENDED, quantity], plan.figures[TODAY, quantity]
        parts.append(form.format(words.number(new.value, 1), words.between(new, 1), words.number(old.value, 1)))
    return words.joined(parts)


def _said(figure: Estimate, unit: str) -> str:
    """Say a figure with its range."""
    return f"{words.number(figure.value, 1)} {unit} ({words.between(figure, 1)})"


def how_sure(plan: SlotPlan, level: float) -> str:
    """Say what the ranges are, and whether the templates can be told apart."""
    said = (
        f"{words.how_sure(level)} They come from drawing the log's patients again {words.count(plan.redraws)} times, both "
        "templates meeting the same luck; the error of the simulation itself is small beside them."
    )
    if COST not in plan.differences or plan.same:
        return said
    cost = plan.differences[COST]
    if plan.told_apart:
        return (
            f"{said} At the prices set a session is worth {words.number(-cost.value)} more ({_gain(cost)}) in your money with the "
            "recommended slots."
        )
    if cost.low > 0:
        return f"{said} At the prices set today's slots would be worth more, but they cut the protected minutes."
    return f"{said} At the prices set the difference may as well be nothing."


def _gain(cost: Estimate) -> str:
    """Say the range of what is saved."""
    return words.between(cost.scaled(-1))


def chart_title(plan: SlotPlan) -> str:
    """Say the finding."""
    if not plan.differences:
        return f"With the recommended slots a patient waits {words.minutes(plan.figures[RECOMMENDED, 'mean_wait_minutes'].value, 1)}"
    if plan.same:
        return "Today's slots are the best on the grid"
    parts = []
    for quantity, unit, more, less in (
        ("patients_per_session", "patients a session", "more", "fewer"),
        ("mean_wait_minutes", "minutes of waiting each", "more", "fewer"),
        ("idle_minutes", "minutes of an idle room", "more", "fewer"),
    ):
        one = plan.differences[quantity]
        if one.excludes_zero:
            decimals = 0 if abs(one.value) >= 10 else 1
            parts.append(f"{words.number(abs(one.value), decimals)} {more if one.value > 0 else less} {unit}")
    return f"The recommended slots give {words.joined(parts)}" if parts else "The two templates cannot be told apart"


def chart_text(plan: SlotPlan) -> str:
    """Tell the chart, and beside it the patients seen and who is on time."""
    said = []
    for policy in [each for each in (TODAY, RECOMMENDED) if (each, "idle_minutes") in plan.figures]:
        figure = {quantity: each for (whose, quantity), each in plan.figures.items() if whose == policy}
        said.append(
            f"{POLICIES[policy].capitalize()}: a patient waits {_said(figure['mean_wait_minutes'], 'minutes')}, "
            f"{words.percent(figure['on_time_share'].value)} are called within 5 minutes of their slot "
            f"({words.between_percent(figure['on_time_share'])}), overtime {_said(figure['overtime_minutes'], 'minutes')}, "
            f"idle room {_said(figure['idle_minutes'], 'minutes')}, {_said(figure['patients_per_session'], 'patients')} seen"
        )
    return f"{'. '.join(said)}."


def assumptions(settings: SlotsPart, evidence: SlotEvidence, came: Attendance, log: VisitLog) -> tuple[str, ...]:
    """Say what would have to be true."""
    absent = 1 - float((1 - evidence.model().absent) @ evidence.model().mix)
    said = [
        f"Every slot of a {settings.session_minutes:g}-minute session is booked, in the log's mix and in no particular order; "
        "shorter slots bring more patients only where there are patients to fill them.",
        *rules_said(settings),
        f"A minute of a patient's waiting is worth {settings.price_wait:g}, of an idle room {settings.price_idle:g} and of "
        f"overtime {settings.price_overtime:g} in your money; {settings.turnaround_minutes:g} minutes pass between patients.",
        f"{words.percent(absent)} of bookings are missed or cancelled too late, as in the log, and their slot stays empty.",
    ]
    if len(came.lateness):
        early, late = np.mean(came.lateness < 0), np.mean(came.lateness > 0)
        said.append(
            f"People arrive as in the log ({words.percent(float(early))} early, {words.percent(float(late))} late) and may be called early."
        )
    else:
        said.append(
            "Arrivals are not logged, so everyone is taken to be punctual; record them to see what lateness does."
        )
    if log.fitted.cells.counts.shape[1] and log.fitted.design.has_overhead:
        said.append(
            f"No slot is shorter than {settings.protected_minutes:g} protected minutes and the median work on the ears of its kind."
        )
        said += _more_than_protected(log, settings)
    else:
        said.append(
            f"The log does not tell what ears take, so no slot is shorter than half of its visits need, nor than {settings.protected_minutes:g} protected minutes."
        )
    said.append("The recommended slots were chosen on the log they are judged on, which flatters them a little.")
    for kind, many in evidence.no_slot.items():
        said.append(
            f"{words.plural(many, 'booking')} of kind {words.code_label('booking_kind', kind)} are too few for a slot of their own."
        )
    return tuple(said)


def rules_said(settings: SlotsPart) -> list[str]:
    """Say by which rules of the clinic's own the sessions run; nothing where they are as delivered."""
    said = []
    if settings.break_minutes:
        said.append(f"a break of {settings.break_minutes:g} minutes after {settings.break_after_minutes:g}")
    if settings.first_two_together:
        said.append("the first two patients booked for the start")
    if settings.order != "as_booked":
        said.append(f"{'short' if settings.order == 'short_first' else 'long'} slots first")
    if settings.squeezed_in_share:
        said.append(f"one more patient squeezed into {words.percent(settings.squeezed_in_share)} of sessions")
    if settings.practitioners_sharing > settings.units_shared:
        unit = "room or suction unit" if settings.units_shared == 1 else "rooms or suction units"
        said.append(f"{settings.practitioners_sharing} practitioners sharing {settings.units_shared} {unit}")
    return [f"Sessions run by your own rules: {words.joined(said)}."] if said else []


def _more_than_protected(log: VisitLog, settings: SlotsPart) -> list[str]:
    """Say where visits take longer before any ear than the protected minutes allow."""
    overhead = log.fitted.overhead
    if overhead is None or overhead.low <= settings.protected_minutes:
        return []
    return [
        f"Visits take {words.minutes(overhead.value)} before any ear is worked on, more than the {settings.protected_minutes:g} "
        "protected; if care needs them all, set slots.protected_minutes to it."
    ]


def cautions(plan: SlotPlan, log: VisitLog, settings: SlotsPart) -> tuple[str, ...]:
    """Say where care could be touched."""
    said = [PROTECTED]
    binding = plan.slots.index[plan.slots["floor_binds"]]
    if len(binding):
        names = [articled(log.expected, name) for name in binding]
        said.append(
            f"For {words.joined(names)} the protected minutes decide the slot: a shorter one would save waiting, idling and "
            f"overtime only by cutting the {settings.protected_minutes:g} minutes of consent, history, looking into the ear, aftercare and cleaning."
        )
    below = plan.slots.index[plan.slots["today_minutes"] < plan.slots["floor_minutes"]]
    if len(below):
        names = [articled(log.expected, name) for name in below]
        said.append(
            f"Today's slot for {words.joined(names)} leaves less than the protected minutes beside the work on the ears."
        )
    return tuple(said)


def checks(plan: SlotPlan, waits: np.ndarray, log: VisitLog) -> tuple[Check, ...]:
    """Say how the simulation of today compares with the log, and how minutes foretold at booking fared."""
    made = []
    if len(waits) >= FEWEST_WAITS and (TODAY, "mean_wait_minutes") in plan.figures:
        simulated = plan.figures[TODAY, "mean_wait_minutes"].value
        made.append(
            Check(
                "Today's waits in the log",
                INFORMATION,
                f"In the log people waited {words.minutes(float(waits.mean()), 1)} on average; simulated with today's slots, in "
                f"sessions that are always full, {words.minutes(simulated, 1)}.",
            )
        )
    return (*made, *held_out_checks(log))
