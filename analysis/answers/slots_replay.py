"""Would the template have done better? The last third's real bookings laid out again."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from analysis.answers.booking_words import articled
from analysis.answers.slots_words import PROTECTED, gaps_said
from analysis.answers.visit_log import TimedVisits, timed_visits, visit_basis
from analysis.clinic import Clinic
from analysis.models.attendance import attendance
from analysis.models.booking_categories import sorted_into
from analysis.models.booking_facts import booking_facts
from analysis.models.booking_minutes import BookingMinutes, fit_booking_minutes
from analysis.models.visit_time import fit_visit_time
from analysis.planning.slot_evidence import slot_evidence
from analysis.planning.slot_replay import FEWEST_SESSIONS, Replay, real_bookings, replay, replayed
from analysis.planning.slots import RECOMMENDED, TODAY, recommended_template, todays_slots
from analysis.present import words
from analysis.present.answer import Answer, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED as RECOMMENDED_COLOUR
from analysis.present.theme import TODAY as TODAY_COLOUR
from analysis.problems import NotEnough
from analysis.settings import SlotsPart
from analysis.stats.estimate import Estimate

QUESTION = "Would the recommended slots have done better on real days?"
METHOD = (
    "Slots chosen on the first two thirds of the log's days; the last third's bookings laid out again in their real "
    "order, practitioner by practitioner, with the minutes they really took."
)
MEASURES = {
    "mean_wait_minutes": "A patient's wait",
    "overtime_minutes": "Overtime of a session",
    "idle_minutes": "Idle room in a session",
}
CHOSEN_ON = 2 / 3
Found = dict[tuple[str, str], Estimate]
Slots = dict[str, float]
Template = tuple[Slots, int]
"""Slots by booking category, and after how many patients a gap comes."""


def would_the_slots_have_done_better(clinic: Clinic) -> Answer:
    """Replay the last third of real bookings through today's slots and through slots chosen before it.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Without a figure where the log is too short or today's slots are not known.

    Raises
    ------
    DataProblem
        If the settings make a recommendation impossible.
    """
    settings, level = clinic.settings.slots, clinic.settings.level
    try:
        timed = timed_visits(clinic)
        cut = _cut(timed.visits)
        expected, today, chosen = _chosen_before(clinic, timed, cut)
        replays = _replays(clinic, timed.visits, cut, expected, {TODAY: today, RECOMMENDED: chosen})
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    found = replayed(replays, settings, level=level, rng=timed.rng)
    return Answer(
        question=QUESTION,
        headline=_headline(expected, today, chosen, replays, found, cut),
        how_sure=f"{words.how_sure(level)} They come from drawing the replayed weeks again, the same for both templates.",
        table=_table(found, replays),
        chart=_chart(found),
        chart_title=_verdict(found),
        chart_text=f"{_told(found)}.",
        assumptions=(
            "The patients are the ones who came; each keeps the minutes and the lateness of the day. Minutes are taken not to stretch or shrink with the slot.",
            "Bookings follow one another in their real order and fill sessions of the set length, so a shorter slot puts more of the same patients in a session.",
            "Attended visits without minutes of their own are left out.",
        ),
        cautions=(PROTECTED,),
        basis=visit_basis(clinic, timed, METHOD),
    )


def _cut(visits: pd.DataFrame) -> pd.Timestamp:
    """Find the day on which the last third of the log's days begins."""
    days = visits["slot_start"].dropna().dt.normalize().drop_duplicates().sort_values()
    return pd.Timestamp(days.iloc[int(len(days) * CHOSEN_ON)])


def _chosen_before(clinic: Clinic, timed: TimedVisits, cut: pd.Timestamp) -> tuple[BookingMinutes, Template, Template]:
    """Choose slots on what the log held before a day, and take today's from it."""
    settings = clinic.settings
    before = timed.visits[timed.visits["slot_start"] < cut]
    worked = timed.worked[timed.worked["visit_id"].isin(before["visit_id"])]
    fitted = fit_visit_time(before, worked, clinic.ears, settings.visit_time, level=settings.level)
    expected = fit_booking_minutes(before, clinic.ears, fitted, settings.visit_time, settings.slots.categories)
    lateness = attendance(before, level=settings.level).lateness
    evidence = slot_evidence(before, fitted, expected, lateness=lateness)
    today = {name: float(slot) for name, slot in todays_slots(evidence, settings.slots).items()}
    if not today:
        raise NotEnough(
            "Today's slots are not known, so there is nothing to hold the replay against.",
            "Set slots.today in clinic.toml, or export the length of the slots.",
        )
    chosen, gaps = recommended_template(evidence, settings.slots, timed.rng)
    slots = dict(zip(evidence.names, chosen.tolist(), strict=True))
    return expected, (today, settings.slots.today_catch_up_every), (slots, gaps)


def _replays(
    clinic: Clinic, visits: pd.DataFrame, cut: pd.Timestamp, expected: BookingMinutes, templates: dict[str, Template]
) -> dict[str, Replay]:
    """Lay out the bookings from a day on by each template."""
    of_visit = sorted_into(booking_facts(visits, clinic.ears), expected.categories)
    bookings = real_bookings(visits[visits["slot_start"] >= cut], of_visit, templates[TODAY][0])
    settings: SlotsPart = clinic.settings.slots
    made = {name: replay(bookings, *_with(settings, each)) for name, each in templates.items()} if len(bookings) else {}
    if not made or min(len(each.week) for each in made.values()) < FEWEST_SESSIONS:
        raise NotEnough(
            f"The last third of the log fills fewer than {FEWEST_SESSIONS} sessions, too few to replay.",
            "Add more of the log.",
        )
    return made


def _with(settings: SlotsPart, template: Template) -> tuple[Slots, SlotsPart, int]:
    """Put the clinic's settings between a template's slots and its gaps."""
    return template[0], settings, template[1]


def _headline(
    expected: BookingMinutes,
    today: Template,
    chosen: Template,
    replays: dict[str, Replay],
    found: Found,
    cut: pd.Timestamp,
) -> str:
    """Say what the replay shows, in one sentence."""
    same = today[1] == chosen[1] and all(today[0][name] == chosen[0][name] for name in today[0])
    parts = [f"{chosen[0][name]:.0f} for {articled(expected, name)} (then {today[0][name]:.0f})" for name in today[0]]
    slots = f"slots chosen in {cut:%B %Y} ({words.joined(parts)}{gaps_said(chosen[1])})"
    if same:
        return f"The {slots} are the ones the clinic had, so its last third could not have gone otherwise."
    new, old = replays[RECOMMENDED], replays[TODAY]
    return (
        f"{_verdict(found)}: replayed with the {slots}, the same patients of the log's last third fill "
        f"{words.count(len(new.week))} sessions instead of {words.count(len(old.week))}, a patient waits "
        f"{_said(found[RECOMMENDED, 'mean_wait_minutes'])} minutes instead of {words.number(found[TODAY, 'mean_wait_minutes'].value, 1)}, "
        f"and {words.count(new.late_sessions)} sessions end more than 15 minutes late instead of {words.count(old.late_sessions)}."
    )


def _verdict(found: Found) -> str:
    """Say whether the real days tell the two apart."""
    cost = found["difference", "session_cost"]
    if cost.high < 0:
        return "At the prices set, the slots chosen beforehand would have done better on real days"
    if cost.low > 0:
        return "At the prices set, today's slots did better on real days than the slots chosen beforehand"
    return "The real days cannot tell the two templates apart"


def _said(figure: Estimate) -> str:
    """Say a figure with its range."""
    return f"{words.number(figure.value, 1)} ({words.between(figure, 1)})"


def _told(found: Found) -> str:
    """Tell the chart in words."""
    parts = []
    for measure, name in MEASURES.items():
        parts.append(
            f"{name}: {_said(found[TODAY, measure])} minutes with today's slots, {_said(found[RECOMMENDED, measure])} "
            "with those chosen beforehand"
        )
    return ". ".join(parts)


def _table(found: Found, replays: dict[str, Replay]) -> pd.DataFrame:
    """List both templates side by side."""
    both = (TODAY, RECOMMENDED)
    means = {**MEASURES, "patients_per_session": "Patients in a session"}
    rows = [[name, *(_said(found[each, measure]) for each in both)] for measure, name in means.items()]
    rows.append(["Sessions filled", *(words.count(len(replays[each].week)) for each in both)])
    rows.append(["Sessions more than 15 minutes late", *(words.count(replays[each].late_sessions) for each in both)])
    return pd.DataFrame(rows, columns=["measure", "with_todays_slots", "with_chosen_slots"])


def _chart(found: Found) -> go.Figure:
    """Draw waiting, overtime and idling of both templates on the real days."""
    bars = []
    for measure, name in MEASURES.items():
        for policy, said, colour in (
            (TODAY, "today", TODAY_COLOUR),
            (RECOMMENDED, "chosen beforehand", RECOMMENDED_COLOUR),
        ):
            one = found[policy, measure]
            bars.append(Bar(f"{name}, {said}", one.value, one.low, one.high, colour))
    return range_chart(bars, x_title="minutes", from_zero=True)
