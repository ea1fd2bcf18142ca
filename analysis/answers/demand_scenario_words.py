"""Sentences of the what-ifs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.answers.demand_words import month_name
from analysis.answers.softening_words import CAUTIONS as SOFTENING_CAUTIONS
from analysis.answers.softening_words import PROTECTED_MINUTES
from analysis.present import words
from analysis.present.answer import INFORMATION, Check
from analysis.settings import Settings
from analysis.stats.estimate import Estimate

if TYPE_CHECKING:
    from analysis.answers.demand_scenario_material import ScenarioMaterial
    from analysis.answers.demand_scenarios import Levers, Scenario

AS_NOW = "as now"
WAIT_METHOD = "drawn futures, carried over from month to month"
LEAST_LOWER = 0.01
"""Chances closer than this are not told apart (our choice, no source)."""
CAUTIONS = (
    *SOFTENING_CAUTIONS,
    PROTECTED_MINUTES,
    "A later recall never replaces the advice to come back as soon as symptoms appear; whoever wears a hearing aid or was "
    "told to come sooner keeps that date.",
)
WITHOUT = {
    "grades": "Ears found fuller or less full",
    "advice": "Advising everyone to soften first",
    "minutes_saved": "Minutes saved by softening (none are counted)",
    "slots": "The recommended slots",
    "recall": "Moving recalls",
    "capacity": "When capacity is outgrown",
}


def code(levers: Levers) -> str:
    """Give a scenario's machine name."""
    parts = []
    if levers.later_months:
        parts.append(f"recall_{'later' if levers.later_months > 0 else 'sooner'}_{abs(levers.later_months)}")
    if levers.advise:
        parts.append("advise_all")
    if levers.slots:
        parts.append("recommended_slots")
    return "+".join(parts) or "as_now"


def name(levers: Levers) -> str:
    """Say what is done otherwise."""
    parts = []
    if levers.later_months:
        moved = words.plural(abs(levers.later_months), "month")
        parts.append(f"recalls {moved} {'later' if levers.later_months > 0 else 'sooner'}")
    if levers.advise:
        parts.append("everyone advised to soften")
    if levers.slots:
        parts.append("recommended slots")
    return words.joined(parts) if parts else AS_NOW


def visits_a_month(scenario: Scenario) -> float:
    """Give the visits expected in an average month ahead."""
    return float(scenario.visits.mean())


def change(scenario: Scenario, quantity: str, level: float) -> str:
    """Say a change a month with its range; nought where the scenario leaves it alone."""
    if np.isnan(scenario.changes[quantity]).any():
        return "not known"
    return signed(scenario.change(quantity, level))


def signed(change: Estimate) -> str:
    """Say a change with its sign and range, whole from 10.

    Examples
    --------
    >>> signed(Estimate(27.1, 25.6, 28.3, 0.95, 200, "")), signed(Estimate(0.0, 0.0, 0.0, 0.95, 200, ""))
    ('+27 (26 to 28)', 'none')
    """
    if change.low == change.high == 0:
        return "none"
    decimals = 0 if abs(change.value) >= 10 else 1
    value, low, high = (words.number(each, decimals) for each in (change.value, change.low, change.high))
    plus = "+" if change.value > 0 and value != "0" else ""
    return f"{plus}{value} ({low} to {high})"


def first_outgrown(scenario: Scenario, months: pd.PeriodIndex) -> str:
    """Say the first month that probably needs more sessions than there are."""
    first = scenario.first_short
    if first is None:
        return "none of these months"
    return f"{month_name(months[first])} (chance {words.percent(scenario.short[first])})"


def wait_estimate(scenario: Scenario) -> Estimate:
    """Give the wait at the end of the last month; its range holds 8 futures in 10."""
    weeks, value = scenario.wait_weeks, float(scenario.wait_weeks.mean())
    low, high = np.quantile(weeks, [0.1, 0.9])
    return Estimate(value, min(float(low), value), max(float(high), value), 0.8, len(weeks), WAIT_METHOD)


def wait(scenario: Scenario) -> str:
    """Say the wait at the end with its range."""
    one = wait_estimate(scenario)
    value, low, high = (words.number(each, 1) for each in (one.value, one.low, one.high))
    return value if low == high == value else f"{value} ({low} to {high})"


def _moved(scenario: Scenario, quantity: str, level: float, what: str) -> str:
    """Say how many more or fewer there would be a month, or that the log cannot tell."""
    one = scenario.change(quantity, level)
    if not one.excludes_zero:
        return f"no clear change in {what} a month (between {words.number(one.low, 1)} and {words.number(one.high, 1)})"
    decimals = 0 if abs(one.value) >= 10 else 1
    low, high = sorted((abs(one.low), abs(one.high)))
    return (
        f"about {words.number(abs(one.value), decimals)} {'more' if one.value > 0 else 'fewer'} {what} a month "
        f"(between {words.number(low, decimals)} and {words.number(high, decimals)})"
    )


def _in_100(scenario: Scenario) -> str:
    """Say how likely capacity is outgrown in any of the months."""
    hundred = round(100 * scenario.short_by_then[-1])
    return {0: "less than 1 in 100", 100: "more than 99 in 100"}.get(hundred, f"{hundred} in 100")


def _single(scenario: Scenario, level: float) -> str:
    """Say what one change by itself does; nothing of several at once."""
    levers = scenario.levers
    if bool(levers.later_months) + levers.advise + levers.slots != 1:
        return ""
    if levers.advise:
        return f"advising everyone to soften first means {_moved(scenario, 'second_visits', level, 'second visits')}"
    if levers.slots:
        return f"the recommended slots mean {_moved(scenario, 'sessions', level, 'half-day sessions')}"
    return f"{name(levers)} mean {_moved(scenario, 'visits', level, 'visits')}"


def headline(scenarios: Sequence[Scenario], found: ScenarioMaterial, level: float) -> str:
    """Say what each single change does, and what it does to capacity."""
    months = found.needs.figures.demand.months.ahead
    said = [each for each in (_single(one, level) for one in scenarios) if each]
    period = f"{month_name(months[0])} to {month_name(months[-1])}"
    if found.capacity is None:
        return f"Over {period}, {'; '.join(said)}."
    start, least = scenarios[0], min(scenarios, key=lambda each: each.short_by_then[-1])
    capacity = f"The chance that any of these months outgrows the sessions there are is {_in_100(start)} as now"
    if least.short_by_then[-1] < start.short_by_then[-1] - LEAST_LOWER:
        capacity += f", and {_in_100(least)} with {name(least.levers)}"
    else:
        capacity += ", and none of this clearly lowers it"
    return f"Over {period}, {'; '.join(said)}. {capacity}."


def how_sure(scenarios: Sequence[Scenario], level: float) -> str:
    """Say what the ranges hold, and when a moved recall is felt."""
    said = [
        f"{words.how_sure(level)} They hold how well this log knows its rates, grades, minutes and effects, drawn together; "
        "chance from month to month comes on top and is in the chances and waits only, whose ranges hold 8 futures in 10."
    ]
    moved = [
        each for each in scenarios if each.levers.later_months and not each.levers.advise and not each.levers.slots
    ]
    for each in moved:
        turn = abs(each.levers.later_months)
        if turn < each.changes["visits"].shape[1]:
            first, after = (each.change("visits", level, cut) for cut in (slice(turn), slice(turn, None)))
            said.append(
                f"With {name(each.levers)}, visits change by {signed(first)} a month in the first {words.plural(turn, 'month')}, "
                f"while the rule is changing, and by {signed(after)} a month after that."
            )
    return " ".join(said)


def chart_title(scenarios: Sequence[Scenario], level: float) -> str:
    """Name the change that moves sessions most."""
    most = max(scenarios[1:], key=lambda each: abs(each.change("sessions", level).value))
    one = most.change("sessions", level)
    if not one.excludes_zero:
        return "None of these clearly changes how many sessions are needed"
    said = name(most.levers)
    return f"{said[0].upper()}{said[1:]}: {signed(one)} half-day sessions a month"


def chart_text(scenarios: Sequence[Scenario], level: float) -> str:
    """Tell the chart in words."""
    told = [
        f"{name(each.levers)}: visits {signed(each.change('visits', level))}, half-day sessions "
        f"{signed(each.change('sessions', level))}"
        for each in scenarios[1:]
    ]
    return f"Changes a month beside as now: {'; '.join(told)}."


def assumptions(found: ScenarioMaterial, settings: Settings) -> tuple[str, ...]:
    """Say what would have to be true."""
    said = [
        "Recalls moved are those this log shows, whatever rule made them."
        if settings.demand.recall_uptake < 0
        else f"Recalls moved are those of your rule: after {words.plural(settings.recall.today_months, 'month')}, "
        f"{words.percent(settings.demand.recall_uptake)} of those called come.",
        "A new rule begins the day after the log ends. Recalls moved later: nobody is called until the old dates have moved "
        "on. Recalls moved sooner: those due in between are called while the rule changes, so more come at first.",
        "Whoever has not been called yet comes with symptoms as often as people do now so long after a visit; whoever was "
        "seen sooner starts anew, also where the ear was found open.",
    ]
    if found.states is not None:
        said.append(
            "Ears recalled later are fuller: the odds move with the months as this log's grades at return do, and minutes "
            "and second visits with them. Returns with symptoms are found as full as now."
        )
    if found.advice is not None:
        said.append(
            f"Advice would reach the {words.count(found.newly_advised)} visits of a year that could have been advised and "
            "were not: first attempts at occluding ears without a contraindication. Its effect is that seen in this log "
            "between like patients, nobody having been chosen by lot; bookings made at short notice leave no days to soften."
        )
    said.append(
        "A visit takes up its slot, or its minutes where these are more; minutes saved free no session while slots stay as "
        "long as they are. There are as many sessions as in the answer on capacity."
    )
    return tuple(said)


def checks(found: ScenarioMaterial) -> Iterable[Check]:
    """Say what could not be had, and why."""
    for what, reason in found.missing.items():
        yield Check(f"Left out: {WITHOUT[what].lower()}", INFORMATION, str(reason))
