"""What if other slots, or other prices: today's and the recommended template, and sliders to try more."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers.booking_words import articled, category_name
from analysis.answers.slot_material import SlotMaterial, slot_material
from analysis.answers.slots_words import POLICIES, PROTECTED, rules_said
from analysis.answers.visit_log import visit_basis
from analysis.clinic import Clinic
from analysis.planning.session import Bookings
from analysis.planning.slot_frontier import frontier, measure
from analysis.planning.slot_search import CATCH_UP_EVERY, session_cost
from analysis.planning.slots import QUANTITIES, RECOMMENDED, TODAY, full_sessions
from analysis.present import words
from analysis.present.answer import Answer, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED as RECOMMENDED_COLOUR
from analysis.present.theme import TODAY as TODAY_COLOUR
from analysis.present.what_if_panel import SlotSlider, WhatIfPanel
from analysis.problems import NotEnough
from analysis.settings import SlotsPart

QUESTION = "What if I booked other slots?"
METHOD = "The same 4,000 simulated full sessions meet whichever slots are tried."
LONGEST_STEPS = 12
SHOWN = {
    "patients_per_session": "Patients seen in a session",
    "mean_wait_minutes": "Minutes a patient waits",
    "overtime_minutes": "Minutes of overtime a session",
    "idle_minutes": "Minutes the room is idle a session",
}
COLOURS = {TODAY: TODAY_COLOUR, RECOMMENDED: RECOMMENDED_COLOUR}
PRICES = {
    "price_wait": "worth of a minute's waiting",
    "price_idle": "worth of a minute's idle room",
    "price_overtime": "worth of a minute's overtime",
}


def what_if_other_slots(clinic: Clinic) -> Answer | WhatIfPanel:
    """Set today's and the recommended template side by side, with sliders to try others.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    WhatIfPanel or Answer
        The answer alone where there is no figure. No slider goes below the protected minutes.

    Raises
    ------
    DataProblem
        If the settings make a recommendation impossible.
    """
    try:
        found = slot_material(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    settings = clinic.settings.slots
    bookings = full_sessions(found.evidence, settings, found.log.rng)
    prices = {name: (label, float(getattr(settings, name))) for name, label in PRICES.items()}
    gaps = [found.plan.catch_up_every, *(each for each in CATCH_UP_EVERY if each != found.plan.catch_up_every)]
    told = _Told(found, bookings, settings)
    return WhatIfPanel(_answer(clinic, found), _sliders(found, settings), prices, gaps, told)


def _answer(clinic: Clinic, found: SlotMaterial) -> Answer:
    """Say what stands without the sliders."""
    slots = found.plan.slots
    named = [
        f"{one['recommended_minutes']:.0f} minutes for {articled(found.log.expected, str(name))}"
        + ("" if pd.isna(one["today_minutes"]) else f" (today {one['today_minutes']:.0f})")
        for name, one in slots.to_dict("index").items()
    ]
    return Answer(
        question=QUESTION,
        headline=f"Recommended are {words.joined(named)}; the sliders below try other slots and prices.",
        how_sure="Ranges of the two templates stand with the slots above; what the sliders say has none.",
        table=_table(found),
        chart=_chart(found),
        chart_title=_title(found),
        chart_text=f"{words.joined(_shown(found))}.",
        assumptions=(
            "Every slot is booked, in the log's mix and in no particular order.",
            *rules_said(clinic.settings.slots),
        ),
        cautions=(PROTECTED,),
        basis=visit_basis(clinic, found.log, METHOD),
    )


def _table(found: SlotMaterial) -> pd.DataFrame:
    """List slots and figures of both templates."""
    plan = found.plan
    rows: list[list[str]] = [
        [
            f"Slot, {category_name(found.log.expected, str(name))}",
            *(_whole(one[f"{each}_minutes"]) for each in ("today", "recommended")),
        ]
        for name, one in plan.slots.to_dict("index").items()
    ]
    gaps = [f"after every {each} patients" if each else "none" for each in (plan.gaps_today, plan.catch_up_every)]
    rows.append(["Catch-up gap", *gaps])
    for quantity, name in SHOWN.items():
        figures = [plan.figures.get((each, quantity)) for each in (TODAY, RECOMMENDED)]
        rows.append(
            [
                name,
                *(
                    "not known" if each is None else f"{words.number(each.value, 1)} ({words.between(each, 1)})"
                    for each in figures
                ),
            ]
        )
    return pd.DataFrame(rows, columns=["measure", "with_todays_slots", "with_recommended_slots"])


def _whole(minutes: float) -> str:
    """Write a slot."""
    return "not known" if pd.isna(minutes) else words.number(minutes)


def _title(found: SlotMaterial) -> str:
    """Say the finding."""
    wait = found.plan.figures[RECOMMENDED, "mean_wait_minutes"]
    return f"With the recommended slots a patient waits {words.minutes(wait.value, 1)}"


def _shown(found: SlotMaterial) -> list[str]:
    """Say what the chart shows of either template."""
    return [
        f"{name}, {label}: {words.number(found.plan.figures[policy, quantity].value, 1)}"
        for quantity, name in SHOWN.items()
        for policy, label in POLICIES.items()
        if quantity != "patients_per_session" and (policy, quantity) in found.plan.figures
    ]


def _chart(found: SlotMaterial) -> go.Figure:
    """Draw waiting, overtime and idling of both templates, with their ranges."""
    bars = []
    for quantity, name in SHOWN.items():
        for policy, label in POLICIES.items() if quantity != "patients_per_session" else ():
            if (policy, quantity) in found.plan.figures:
                one = found.plan.figures[policy, quantity]
                bars.append(Bar(f"{name}, {label}", one.value, one.low, one.high, COLOURS[policy]))
    return range_chart(bars, x_title="minutes", from_zero=True)


def _sliders(found: SlotMaterial, settings: SlotsPart) -> list[SlotSlider]:
    """Give each category a slider from its floor on."""
    grid = settings.grid_minutes
    made = []
    for name, one in found.plan.slots.to_dict("index").items():
        longest = min(one["floor_minutes"] + LONGEST_STEPS * grid, settings.session_minutes // grid * grid)
        longest = max(longest, one["recommended_minutes"])
        label = category_name(found.log.expected, str(name))
        ends = (int(one["floor_minutes"]), int(longest))
        made.append(SlotSlider(str(name), label, *ends, grid, int(one["recommended_minutes"])))
    return made


class _Told:
    """What chosen slots and prices do, in sentences."""

    def __init__(self, found: SlotMaterial, bookings: Bookings, settings: SlotsPart) -> None:
        self._found, self._bookings, self._settings = found, bookings, settings
        floors = found.plan.slots["floor_minutes"].to_numpy(dtype=float)
        self._templates = frontier(bookings, bookings, floors, settings)
        recommended = found.plan.slots["recommended_minutes"].to_numpy(dtype=float)
        self._templates.append(measure(recommended, found.plan.catch_up_every, bookings, settings))

    def __call__(self, slots: dict[str, int], prices: dict[str, float], catch_up_every: int) -> list[str]:
        """Run the slots and price them, and find the best template tried before at these prices."""
        names = [str(name) for name in self._found.plan.slots.index]
        settings = replace(
            self._settings,
            price_wait=prices["price_wait"],
            price_idle=prices["price_idle"],
            price_overtime=prices["price_overtime"],
        )
        one = measure(np.array([float(slots[name]) for name in names]), catch_up_every, self._bookings, settings)
        figures = {quantity: getattr(one.figures, quantity) for quantity in QUANTITIES}
        said = [f"{name}: {words.number(figures[quantity], 1)}" for quantity, name in SHOWN.items()]
        best = min(self._templates, key=lambda each: session_cost(each.figures, settings))
        cost = session_cost(best.figures, settings)
        template = words.joined(
            [
                f"{slot:.0f} for {articled(self._found.log.expected, name)}"
                for name, slot in zip(names, best.slots, strict=True)
            ]
        )
        gap = f", with a catch-up gap after every {best.catch_up_every} patients" if best.catch_up_every else ""
        costs = f"At these prices a session costs {words.number(one.cost)} in your money"
        if one.cost - cost < 1:
            return [f"{'; '.join(said)}.", f"{costs}, and none of the templates tried is worth as much as 1 more."]
        return [
            f"{'; '.join(said)}.",
            f"{costs}; the best of the templates tried costs {words.number(cost)}: {template}{gap}.",
        ]
