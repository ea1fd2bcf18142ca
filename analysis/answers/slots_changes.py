"""What changes for the owner: patients a week, late evenings a month, idle hours, and money."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.answers.slot_material import SlotMaterial, slot_material
from analysis.answers.slots_words import PROTECTED
from analysis.answers.visit_log import visit_basis
from analysis.clinic import Clinic
from analysis.derive.sessions import sessions
from analysis.planning.session import Bookings, SessionFigures
from analysis.planning.session_rules import SqueezedIn, rules_of, run_rules
from analysis.planning.slots import RECOMMENDED, SESSIONS_SHOWN, TODAY, full_sessions
from analysis.present import words
from analysis.present.answer import Answer, no_answer
from analysis.problems import NotEnough
from analysis.settings import SlotsPart
from analysis.stats.estimate import Estimate

QUESTION = "What would change for me?"
METHOD = "The simulated sessions of both templates, times the sessions held a week over the log's last 13 weeks."
WEEKS, WEEKS_A_MONTH = 13, 52 / 12
WHOLE_FROM = 10
"""Figures from which whole numbers are close enough."""
SINGLE = {
    "patients a week": "patient a week",
    "late evenings or lunches a month": "late evening or lunch a month",
    "idle hours a week": "idle hour a week",
}
OVERBOOKED = (
    "Booking one more than there are slots for makes people wait and ends late, for certain on the days everyone comes; it "
    "is shown to tell its cost, not to recommend it, and it never shortens what a patient is due."
)


def what_would_change(clinic: Clinic) -> Answer:
    """Say in whole numbers what the recommended slots change in a week and a month.

    Parameters
    ----------
    clinic : Clinic
        ``slots.fee_per_visit`` and ``slots.cost_per_overtime_hour`` add money, where they are set.

    Returns
    -------
    Answer
        Without a figure where visits have no minutes or today's slots are not known.

    Raises
    ------
    DataProblem
        If the settings make a recommendation impossible.
    """
    try:
        found = slot_material(clinic)
        weekly = _sessions_a_week(found)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    table = _table(found, weekly, clinic.settings.slots)
    return Answer(
        question=QUESTION,
        headline=_headline(found, table, weekly),
        how_sure=f"{words.how_sure(clinic.settings.level)} They come from drawing patients again and hold for full sessions.",
        table=table.apply(_row_said, axis=1),
        assumptions=(
            f"As many sessions are held as over the last {WEEKS} weeks of the log, about {words.number(weekly)} a week, and all are full; where there are not enough patients, the change shows as fewer sessions instead.",
            "An evening is late when a session ends more than 15 minutes after its time.",
            _overbooking(found, clinic.settings.slots),
        ),
        cautions=(PROTECTED, OVERBOOKED),
        basis=visit_basis(clinic, found.log, METHOD),
    )


def _sessions_a_week(found: SlotMaterial) -> float:
    """Count the sessions a week over the last 13 weeks."""
    if (TODAY, "late_share") not in found.plan.further:
        raise NotEnough(
            "Today's slots are not known, so no change from them can be told.",
            "Set slots.today in clinic.toml, or export the length of the slots.",
        )
    listed = sessions(found.log.visits)
    since = listed["day"].max() - pd.Timedelta(weeks=WEEKS)
    held = listed[listed["day"] > since]
    weeks = min(WEEKS, ((listed["day"].max() - listed["day"].min()).days + 1) / 7)
    return held["session_id"].nunique() / max(weeks, 1.0)


def _table(found: SlotMaterial, weekly: float, settings: SlotsPart) -> pd.DataFrame:
    """List today's, the recommended and the change, scaled to weeks and months."""
    plan, monthly = found.plan, weekly * WEEKS_A_MONTH
    rows = []
    for name, quantity, times in (
        ("Patients a week", "patients_per_session", weekly),
        ("Evenings or lunches late a month", "late_share", monthly),
        ("Hours the room is idle a week", "idle_minutes", weekly / 60),
        ("Hours of overtime a month", "overtime_minutes", monthly / 60),
    ):
        if quantity == "late_share":
            values = [plan.further[which, quantity] for which in (TODAY, RECOMMENDED, "difference")]
        else:
            figures = [plan.figures[which, quantity] for which in (TODAY, RECOMMENDED)]
            values = [*figures, plan.differences[quantity]]
        rows.append([name, *_row(values, times)])
    if settings.fee_per_visit or settings.cost_per_overtime_hour:
        rows.append(["Money a week (visits less overtime)", *_money(found, weekly, settings)])
    columns = ["measure", "with_todays_slots", "with_recommended_slots", "change", "change_low", "change_high"]
    return pd.DataFrame(rows, columns=columns)


def _row(values: list[Estimate], times: float) -> list[float]:
    """Scale a row of the table and round it: to whole numbers, or to a decimal where those would be under ten."""
    today, recommended, change = (each.scaled(times) for each in values)
    decimals = 0 if min(today.value, recommended.value) >= WHOLE_FROM else 1
    found = (today.value, recommended.value, change.value, change.low, change.high)
    return [round(each, decimals) + 0.0 for each in found]


def _row_said(row: pd.Series) -> pd.Series:
    """Say the numbers of a row with as many decimals as any of them has."""
    numbers = row.iloc[1:].astype(float)
    decimals = 0 if all(each.is_integer() for each in numbers) else 1
    return pd.Series([row.iloc[0], *(words.number(each, decimals) for each in numbers)], index=row.index)


def _plain(value: float) -> str:
    """Say a number as it was rounded."""
    return words.number(value, 0 if float(value).is_integer() else 1)


def _money(found: SlotMaterial, weekly: float, settings: SlotsPart) -> list[float]:
    """Price visits and overtime; the ends of the change take both at their worse and at their better."""
    fee, hour = settings.fee_per_visit * weekly, settings.cost_per_overtime_hour * weekly / 60
    figures, differences = found.plan.figures, found.plan.differences
    today, recommended = (
        fee * figures[which, "patients_per_session"].value - hour * figures[which, "overtime_minutes"].value
        for which in (TODAY, RECOMMENDED)
    )
    seen, over = differences["patients_per_session"], differences["overtime_minutes"]
    ends = (fee * seen.low - hour * over.high, fee * seen.high - hour * over.low)
    return [float(round(each)) for each in (today, recommended, recommended - today, *ends)]


def _headline(found: SlotMaterial, table: pd.DataFrame, weekly: float) -> str:
    """Say the change in one sentence of whole numbers."""
    if found.plan.same:
        return "Nothing would change: today's slots are the recommended ones."
    patients, late, idle = (table.iloc[place] for place in range(3))
    told = "" if found.plan.told_apart else "The log cannot tell the two templates apart, but as it stands: "
    return (
        f"{told}{_moved(patients, 'patients a week')}, {_moved(late, 'late evenings or lunches a month')} and "
        f"{_moved(idle, 'idle hours a week')}, if all of about {words.number(weekly)} sessions a week are full."
    )


def _moved(row: pd.Series, what: str) -> str:
    """Say one change with its range."""
    more = "more" if row["change"] >= 0 else "fewer"
    ends = sorted((abs(row["change_low"]), abs(row["change_high"])))
    if row["change_low"] < 0 < row["change_high"] or (row["change"] == 0 and ends[1] == 0):
        return f"about as many {what} ({_plain(row['with_recommended_slots'])} instead of {_plain(row['with_todays_slots'])})"
    said = what if abs(row["change"]) != 1 else SINGLE[what]
    decimals = 0 if all(float(each).is_integer() for each in ends) else 1
    between = (
        ""
        if ends[0] == ends[1]
        else f" (between {words.number(ends[0], decimals)} and {words.number(ends[1], decimals)})"
    )
    return f"{_plain(abs(row['change']))} {more} {said}{between}"


def _overbooking(found: SlotMaterial, settings: SlotsPart) -> str:
    """Say what one more patient booked beside another would cost, as a what-if."""
    slots = found.plan.slots["recommended_minutes"].to_numpy(dtype=float)
    bookings = full_sessions(found.evidence, settings, found.log.rng, SESSIONS_SHOWN)
    plain, more = overbooked(slots, bookings, settings, found.plan.catch_up_every)
    seen = more.patients_per_session - plain.patients_per_session
    return (
        "What if one more were booked beside another in the middle of each session: "
        f"{words.number(seen, 1)} patients more a session, each waits {words.number(more.mean_wait_minutes - plain.mean_wait_minutes, 1)} "
        f"minutes longer, and a session has {words.number(more.overtime_minutes - plain.overtime_minutes, 1)} minutes more overtime."
    )


def overbooked(
    slots: np.ndarray, bookings: Bookings, settings: SlotsPart, catch_up_every: int = 0
) -> tuple[SessionFigures, SessionFigures]:
    """Run a template without and with one more patient in the middle, the same sessions meeting both.

    Parameters
    ----------
    slots : numpy.ndarray, shape (categories,)
    bookings : Bookings
        The one more is each session's last drawn booking.
    settings : SlotsPart
    catch_up_every : int, optional

    Returns
    -------
    tuple of SessionFigures
    """
    rules = replace(rules_of(settings, catch_up_every), squeezed_in_share=0.0)
    middle = int(settings.session_minutes / slots.mean() / 2)
    squeezed = SqueezedIn(middle, bookings.minutes[-1], bookings.attends[-1])
    return run_rules(slots, bookings, rules), run_rules(slots, bookings, rules, squeezed)
