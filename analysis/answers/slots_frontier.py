"""What is to be had: waiting against idling and overtime, today's template and the recommended one marked."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from analysis.answers.booking_words import articled
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.slot_material import SlotMaterial, slot_material
from analysis.answers.slots_words import PROTECTED, rules_said
from analysis.answers.visit_log import visit_basis
from analysis.clinic import Clinic
from analysis.planning.session import Bookings
from analysis.planning.slot_frontier import ROOM, SEEN, WAIT, Template, frontier, measure, template_ranges
from analysis.planning.slots import COST, RECOMMENDED, SESSIONS_SHOWN, TODAY, full_sessions
from analysis.present import words
from analysis.present.answer import Answer, no_answer
from analysis.present.chart_frontier import FrontierPoint, MarkedPoint, frontier_chart
from analysis.present.theme import RECOMMENDED as RECOMMENDED_COLOUR
from analysis.present.theme import TODAY as TODAY_COLOUR
from analysis.problems import NotEnough
from analysis.settings import SlotsPart
from analysis.stats.estimate import Estimate

QUESTION = "What can waiting be traded for?"
METHOD = (
    "Slots of all bookings searched together on the grid, with and without catch-up gaps, at seven prices of waiting; every "
    "template met the same simulated sessions."
)
SESSIONS_TRIED = 1_000
"""Simulated sessions a template is tried on; those of the frontier are then shown on 20,000."""
Ranges = list[dict[str, Estimate]]
MARKS = {TODAY: ("today", TODAY_COLOUR), RECOMMENDED: ("recommended", RECOMMENDED_COLOUR)}


@of_drawn_patients
def what_can_waiting_be_traded_for(clinic: Clinic) -> Answer:
    """Show the templates none of which is better in every way, with today's and the recommended one among them.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Without a figure where visits have no minutes of their own.

    Raises
    ------
    DataProblem
        If the settings make a recommendation impossible.
    """
    settings, level = clinic.settings.slots, clinic.settings.level
    try:
        found = slot_material(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    rng = found.log.rng
    searched = full_sessions(found.evidence, settings, rng, SESSIONS_TRIED)
    bookings = full_sessions(found.evidence, settings, rng, SESSIONS_SHOWN)
    templates = frontier(searched, bookings, found.plan.slots["floor_minutes"].to_numpy(dtype=float), settings)
    today = _today(found, bookings, settings)
    ranges = template_ranges(templates, today, found.evidence, settings, level=level, rng=rng)
    return Answer(
        question=QUESTION,
        headline=_headline(found, templates, settings),
        how_sure=f"{words.how_sure(level)} Those of the templates on the line come from drawing patients again 80 times, all templates meeting the same sessions.",
        table=_table(found, templates, ranges),
        chart=_chart(found, templates, ranges),
        chart_title=_title(found),
        chart_text=_told(found, templates, ranges),
        assumptions=(
            f"Every slot of a {settings.session_minutes:g}-minute session is booked; of {words.count(len(bookings.minutes[0]))} simulated sessions each template met the same.",
            *rules_said(settings),
            *_told_apart(ranges, today),
            "Templates are those a search found worth trying, spread over the line, so another as good may not be among them.",
        ),
        cautions=(PROTECTED,),
        basis=visit_basis(clinic, found.log, METHOD),
    )


def _headline(found: SlotMaterial, templates: list[Template], settings: SlotsPart) -> str:
    """Say the ends of the frontier, and where the recommended template lies."""
    least, most = templates[0], templates[-1]
    wait = found.plan.figures[RECOMMENDED, "mean_wait_minutes"]
    room = found.plan.further[RECOMMENDED, "room_minutes"]
    return (
        f"Waiting can be had from {words.number(least.figures.mean_wait_minutes, 1)} minutes a patient, with "
        f"{words.number(least.room_minutes)} idle and overtime minutes a session, to {words.number(most.figures.mean_wait_minutes, 1)} "
        f"with {words.number(most.room_minutes)}; at the prices set ({settings.price_wait:g}, {settings.price_idle:g} and "
        f"{settings.price_overtime:g} for a minute of waiting, of an idle room and of overtime) the recommended slots lie at "
        f"{words.number(wait.value, 1)} ({words.between(wait, 1)}) and {words.number(room.value)} ({words.between(room)}){_today_said(found)}."
    )


def _today_said(found: SlotMaterial) -> str:
    """Say where today's template lies, and whether the data can tell it from the recommended one."""
    plan = found.plan
    if COST not in plan.differences:
        return "; today's slots are not known"
    wait, room = plan.figures[TODAY, "mean_wait_minutes"], plan.further[TODAY, "room_minutes"]
    said = f"; today's lie at {words.number(wait.value, 1)} and {words.number(room.value)}"
    return (
        said
        if plan.same or plan.told_apart or plan.differences[COST].low > 0
        else (f"{said}, and the log cannot tell which of the two is worth more")
    )


def _title(found: SlotMaterial) -> str:
    """Say the finding."""
    if COST not in found.plan.differences:
        return "Less waiting costs idle minutes of the room"
    room = found.plan.further["difference", "room_minutes"]
    if found.plan.same or not room.excludes_zero:
        return "Today's slots and the recommended ones use the room alike"
    less = "fewer" if room.value < 0 else "more"
    return f"The recommended slots leave {words.number(abs(room.value))} {less} idle and overtime minutes a session than today's"


def _today(found: SlotMaterial, bookings: Bookings, settings: SlotsPart) -> Template | None:
    """Run today's template on the same sessions, where it is known."""
    slots = found.plan.slots["today_minutes"]
    if slots.isna().any():
        return None
    return measure(slots.to_numpy(dtype=float), found.plan.gaps_today, bookings, settings)


def _told_apart(ranges: Ranges, today: Template | None) -> list[str]:
    """Say how many templates of the frontier the log can tell from today's."""
    if today is None:
        return []
    better, worse = (
        sum(test(each[COST]) for each in ranges) for test in (lambda one: one.high < 0, lambda one: one.low > 0)
    )
    return [
        f"At the prices set {words.count(better)} of the {words.count(len(ranges))} templates on the line are worth more than "
        f"today's, {words.count(worse)} are worth less, and the log cannot tell the other {words.count(len(ranges) - better - worse)} from it."
    ]


def _slots_said(found: SlotMaterial, one: Template) -> str:
    """Say a template's slots."""
    names = found.plan.slots.index
    return words.joined(
        [
            f"{slot:.0f} for {articled(found.log.expected, str(name))}"
            for name, slot in zip(names, one.slots, strict=True)
        ]
    )


def _gap(one: Template) -> str:
    """Say a template's catch-up gaps."""
    return f"after every {one.catch_up_every} patients" if one.catch_up_every else "none"


def _table(found: SlotMaterial, templates: list[Template], ranges: Ranges) -> pd.DataFrame:
    """List the frontier, every figure with its range."""
    known = found.plan.slots["today_minutes"].notna().all()
    rows = []
    for one, figures in zip(templates, ranges, strict=True):
        row = [
            _slots_said(found, one),
            _gap(one),
            _ranged(figures[WAIT], 1),
            _ranged(figures[ROOM], 0),
            _ranged(figures[SEEN], 1),
        ]
        rows.append([*row, _ranged(figures[COST].scaled(-1), 0)] if known else row)
    columns = [
        "booking",
        "catch_up",
        "wait_minutes",
        "idle_and_over_minutes",
        "seen",
        *(["worth_more_than_today"] if known else []),
    ]
    return pd.DataFrame(rows, columns=columns)


def _ranged(figure: Estimate, decimals: int) -> str:
    """Write a figure with its range."""
    return f"{words.number(figure.value, decimals)} ({words.between(figure, decimals)})"


def _chart(found: SlotMaterial, templates: list[Template], ranges: Ranges) -> go.Figure:
    """Draw the frontier with today's and the recommended template."""
    points = [
        FrontierPoint(figures[WAIT], figures[ROOM], figures[SEEN].value, f"{_slots_said(found, one)}; gap: {_gap(one)}")
        for one, figures in zip(templates, ranges, strict=True)
    ]
    marked = [
        MarkedPoint(
            f"{label}: {words.number(found.plan.figures[policy, 'patients_per_session'].value, 1)} patients",
            found.plan.figures[policy, "mean_wait_minutes"],
            found.plan.further[policy, "room_minutes"],
            colour,
        )
        for policy, (label, colour) in MARKS.items()
        if (policy, "room_minutes") in found.plan.further
    ]
    return frontier_chart(
        points,
        marked,
        x_title="minutes a patient waits",
        y_title="idle and overtime minutes (at points: patients)",
    )


def _told(found: SlotMaterial, templates: list[Template], ranges: Ranges) -> str:
    """Tell the chart in words."""
    said = [
        f"waiting {_ranged(one[WAIT], 1)} minutes, idle and overtime {_ranged(one[ROOM], 0)}, {_ranged(one[SEEN], 1)} patients"
        for one in (ranges[place] for place in sorted({0, len(templates) // 2, len(templates) - 1}))
    ]
    marked = [
        f"{label.capitalize()}: waiting {words.number(found.plan.figures[policy, 'mean_wait_minutes'].value, 1)}, idle and overtime "
        f"{words.number(found.plan.further[policy, 'room_minutes'].value)}, {words.number(found.plan.figures[policy, 'patients_per_session'].value, 1)} patients"
        for policy, (label, _) in MARKS.items()
        if (policy, "room_minutes") in found.plan.further
    ]
    return f"Along the frontier: {'; '.join(said)}. {'. '.join(marked)}."
