"""What is to be had: waiting against idling and overtime, today's template and the recommended one marked."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from analysis.answers.booking_words import articled
from analysis.answers.slot_material import SlotMaterial, slot_material
from analysis.answers.slots_words import PROTECTED
from analysis.answers.visit_log import visit_basis
from analysis.clinic import Clinic
from analysis.planning.slot_frontier import Template, frontier, measure
from analysis.planning.slots import COST, RECOMMENDED, SESSIONS_SHOWN, TODAY, full_sessions
from analysis.present import words
from analysis.present.answer import Answer, no_answer
from analysis.present.chart_frontier import FrontierPoint, MarkedPoint, frontier_chart
from analysis.present.theme import RECOMMENDED as RECOMMENDED_COLOUR
from analysis.present.theme import TODAY as TODAY_COLOUR
from analysis.problems import NotEnough
from analysis.settings import SlotsPart

QUESTION = "What can waiting be traded for?"
METHOD = (
    "Slots of all bookings searched together on the grid, with and without catch-up gaps, at seven prices of waiting; every "
    "template met the same simulated sessions."
)
MARKS = {TODAY: ("today", TODAY_COLOUR), RECOMMENDED: ("recommended", RECOMMENDED_COLOUR)}


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
    searched = full_sessions(found.evidence, settings, rng)
    bookings = full_sessions(found.evidence, settings, rng, SESSIONS_SHOWN)
    templates = frontier(searched, bookings, found.plan.slots["floor_minutes"].to_numpy(dtype=float), settings)
    recommended = found.plan.slots["recommended_minutes"].to_numpy(dtype=float)
    plain, gaps = (
        measure(recommended, 0, bookings, settings),
        [measure(recommended, every, bookings, settings) for every in (3, 4)],
    )
    return Answer(
        question=QUESTION,
        headline=_headline(found, templates, settings),
        how_sure=f"{words.how_sure(level)} The marked templates carry theirs, from drawing patients again.",
        table=_table(found, templates),
        chart=_chart(found, templates),
        chart_title=_title(found),
        chart_text=_told(found, templates),
        assumptions=(
            f"Every slot of a {settings.session_minutes:g}-minute session is booked; of {words.count(len(bookings.minutes[0]))} simulated sessions each template met the same.",
            _gaps_said(plain, gaps, settings),
            "Templates are those a search found worth trying, so another as good may not be among them.",
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


def _gaps_said(plain: Template, gaps: list[Template], settings: SlotsPart) -> str:
    """Say whether a catch-up gap beside the recommended slots would be worth its minutes."""
    best = min(gaps, key=lambda each: each.cost)
    place = {3: "third", 4: "fourth"}[best.catch_up_every]
    waits = f"{words.number(plain.figures.mean_wait_minutes, 1)} to {words.number(best.figures.mean_wait_minutes, 1)} minutes"
    worth = "is worth more" if best.cost < plain.cost else "is not worth its minutes"
    return (
        f"With the recommended slots, a catch-up gap of {settings.grid_minutes} minutes after every {place} patient {worth} "
        f"at the prices set: waiting goes from {waits}, patients seen from {words.number(plain.figures.patients_per_session, 1)} "
        f"to {words.number(best.figures.patients_per_session, 1)} a session."
    )


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


def _table(found: SlotMaterial, templates: list[Template]) -> pd.DataFrame:
    """List the frontier."""
    rows = [
        [
            _slots_said(found, one),
            _gap(one),
            one.figures.mean_wait_minutes,
            one.room_minutes,
            words.number(one.figures.patients_per_session, 1),
        ]
        for one in templates
    ]
    return pd.DataFrame(rows, columns=["booking", "catch_up", "wait_minutes", "idle_and_over_minutes", "seen"])


def _chart(found: SlotMaterial, templates: list[Template]) -> go.Figure:
    """Draw the frontier with today's and the recommended template."""
    points = [
        FrontierPoint(
            one.figures.mean_wait_minutes,
            one.room_minutes,
            one.figures.patients_per_session,
            f"{_slots_said(found, one)}; gap: {_gap(one)}",
        )
        for one in templates
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


def _told(found: SlotMaterial, templates: list[Template]) -> str:
    """Tell the chart in words."""
    said = [
        f"waiting {words.number(one.figures.mean_wait_minutes, 1)} minutes, idle and overtime {words.number(one.room_minutes)}, "
        f"{words.number(one.figures.patients_per_session, 1)} patients"
        for one in (templates[place] for place in sorted({0, len(templates) // 2, len(templates) - 1}))
    ]
    marked = [
        f"{label.capitalize()}: waiting {words.number(found.plan.figures[policy, 'mean_wait_minutes'].value, 1)}, idle and overtime "
        f"{words.number(found.plan.further[policy, 'room_minutes'].value)}, {words.number(found.plan.figures[policy, 'patients_per_session'].value, 1)} patients"
        for policy, (label, _) in MARKS.items()
        if (policy, "room_minutes") in found.plan.further
    ]
    return f"Along the frontier: {'; '.join(said)}. {'. '.join(marked)}."
