"""How long to book: slots by kind of booking, and what they change against today's."""

from __future__ import annotations

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers import slots_words as say
from analysis.answers.booking_words import expected_table
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.slot_material import slot_material
from analysis.answers.visit_log import VisitLog, visit_basis
from analysis.clinic import Clinic
from analysis.planning.slots import METHOD, QUANTITIES, RECOMMENDED, TODAY, SlotPlan
from analysis.present.answer import Answer, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED as RECOMMENDED_COLOUR
from analysis.present.theme import TODAY as TODAY_COLOUR
from analysis.problems import NotEnough

QUESTION = "How long to book?"
UNITS = {"on_time_share": "share", "patients_per_session": "patients"}
COLOURS = {TODAY: TODAY_COLOUR, RECOMMENDED: RECOMMENDED_COLOUR}


@of_drawn_patients
def how_long_to_book(clinic: Clinic) -> Answer:
    """Say which slot each kind of booking should have, and what that changes in a session.

    Parameters
    ----------
    clinic : Clinic
        Its settings give the grid, the protected minutes, the session, the
        prices of waiting, idling and overtime, and today's slots.

    Returns
    -------
    Answer
        Without a comparison where today's slots are not known. Without a
        figure where visits have no minutes of their own. Rows:
        ``slot_minutes``, ``catch_up_every``, ``on_time_share``, ``mean_wait_minutes``,
        ``overtime_minutes``, ``idle_minutes``, ``patients_per_session`` by
        policy, and their ``..._difference`` (recommended less today).

    Raises
    ------
    DataProblem
        If the settings make a recommendation impossible: all prices nought,
        or protected minutes that do not fit into a session.
    """
    settings, level = clinic.settings.slots, clinic.settings.level
    try:
        found = slot_material(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    log, plan = found.log, found.plan
    basis = visit_basis(clinic, log, say.METHOD)
    return Answer(
        question=QUESTION,
        headline=say.headline(plan, log, basis, settings),
        how_sure=say.how_sure(plan, level),
        table=_table(plan, log),
        chart=_chart(plan),
        chart_title=say.chart_title(plan),
        chart_text=say.chart_text(plan),
        assumptions=say.assumptions(settings, found.evidence, found.came, log),
        cautions=say.cautions(plan, log, settings),
        checks=say.checks(plan, _logged_waits(log.visits), log),
        basis=basis,
        rows=tuple(_rows(plan, level)),
    )


def _table(plan: SlotPlan, log: VisitLog) -> pd.DataFrame:
    """List each booking's slots beside the minutes its visits take."""
    slots = plan.slots.reset_index()[["today_minutes", "recommended_minutes", "floor_minutes"]]
    expected = expected_table(log).drop(columns="visits")
    return pd.concat([expected[["booking"]], slots, expected.drop(columns="booking")], axis=1)


def _chart(plan: SlotPlan) -> go.Figure:
    """Draw waiting, overtime and idling of both templates."""
    bars = []
    for quantity in ("mean_wait_minutes", "overtime_minutes", "idle_minutes"):
        for policy in [each for each in (TODAY, RECOMMENDED) if (each, quantity) in plan.figures]:
            one = plan.figures[policy, quantity]
            label = f"{say.SHORT[quantity]}, {say.POLICIES[policy]}"
            bars.append(Bar(label, one.value, one.low, one.high, COLOURS[policy]))
    return range_chart(bars, x_title="minutes", from_zero=True)


def _logged_waits(visits: pd.DataFrame) -> np.ndarray:
    """Minutes people waited in the log, from slot or arrival, whichever was later."""
    due = visits[["slot_start", "arrived_at"]].max(axis=1)
    known = visits["arrived_at"].notna() & visits["started_at"].notna() & (visits["attendance"] == "attended")
    waits = (visits["started_at"] - due)[known].dt.total_seconds() / 60
    return waits[waits <= say.LONGEST_WAIT_MINUTES].clip(lower=0.0).to_numpy()


def _rows(plan: SlotPlan, level: float) -> list[ResultRow]:
    """Keep the figures as results."""
    rows = []
    for policy, column in ((TODAY, "today_minutes"), (RECOMMENDED, "recommended_minutes")):
        for name, one in plan.slots.iterrows():
            if not pd.isna(one[column]):
                group = {"policy": policy, "booking": name}
                many = int(one["bookings"])
                rows.append(
                    ResultRow(
                        "slots", "slot_minutes", group, float(one[column]), None, None, level, "minutes", many, METHOD
                    )
                )
    gaps = {RECOMMENDED: plan.catch_up_every} | ({TODAY: plan.gaps_today} if plan.differences else {})
    for policy, every in gaps.items():
        group = {"policy": policy}
        rows.append(ResultRow("slots", "catch_up_every", group, float(every), None, None, level, "patients", 0, METHOD))
    for (policy, quantity), figure in plan.figures.items():
        rows.append(ResultRow.from_estimate("slots", quantity, UNITS.get(quantity, "minutes"), figure, policy=policy))
    for quantity in [each for each in QUANTITIES if each in plan.differences]:
        unit, figure = UNITS.get(quantity, "minutes"), plan.differences[quantity]
        rows.append(
            ResultRow.from_estimate(
                "slots", f"{quantity}_difference", unit, figure, contrast="recommended less current"
            )
        )
    return rows
