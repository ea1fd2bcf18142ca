"""What if recalls came sooner or later, or everyone were advised to soften first: visits, minutes, sessions, capacity."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers import demand_scenario_words as say
from analysis.answers.demand_capacity import Capacity
from analysis.answers.demand_scenario_material import ScenarioMaterial, scenario_material
from analysis.clinic import Clinic
from analysis.models.demand_changed import Change, ChangedReturns, changed_returns, redrawn
from analysis.models.visit_history import SECOND
from analysis.planning.scenarios import Played, play, sessions_drawn
from analysis.planning.waiting_list import waiting_list
from analysis.present.answer import Answer, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

QUESTION = "What if recalls came sooner or later, or everyone were advised to soften first?"
SECTION = "demand_scenarios"
METHOD = "the forecast's drawn rates, grades, minutes and effects, the same draws in every scenario"
SEED = 20261102
LIKELY = 0.5
MINUTES_AN_HOUR = 60
UNITS = {"visits": "visits", "second_visits": "visits", "chair_hours": "hours", "sessions": "sessions"}


@dataclass(frozen=True, slots=True)
class Levers:
    """What is done otherwise: months by which recalls come later, advice for everyone, the recommended slots."""

    later_months: int = 0
    advise: bool = False
    slots: bool = False


@dataclass(frozen=True, eq=False)
class Scenario:
    """One scenario played.

    Attributes
    ----------
    levers : Levers
    played : Played
    futures : int
        Possible futures the chances are counted over.
    visits : numpy.ndarray, shape (months,)
        Visits expected.
    short : numpy.ndarray, shape (months,)
        How likely each month needs more sessions than there are; missing where that is not known.
    short_by_then : numpy.ndarray, shape (months,)
        How likely it or a month before it does.
    wait_weeks : numpy.ndarray, shape (futures,)
        Weeks that whoever asks at the end of the last month would wait.
    changes : dict of str to numpy.ndarray, shape (1 + sets, months)
        By quantity, this scenario less today; best figure first, then draws.
    """

    levers: Levers
    played: Played
    futures: int
    visits: np.ndarray
    short: np.ndarray
    short_by_then: np.ndarray
    wait_weeks: np.ndarray
    changes: dict[str, np.ndarray]

    @property
    def first_short(self) -> int | None:
        """Place of the first month that probably needs more sessions than there are."""
        likely = np.flatnonzero(self.short > LIKELY)
        return int(likely[0]) if len(likely) else None

    def change(self, quantity: str, level: float, months: slice = slice(None)) -> Estimate:
        """Give the change a month, averaged over some of the months, with its range."""
        drawn = self.changes[quantity][:, months].mean(axis=1)
        low, high = np.quantile(drawn[1:], [0.5 - level / 2, 0.5 + level / 2])
        value = float(drawn[0]) + 0.0
        ends = (min(float(low), value) + 0.0, max(float(high), value) + 0.0)
        return Estimate(value, *ends, level, len(drawn) - 1, METHOD)


def what_if_recalls_or_softening_changed(clinic: Clinic) -> Answer:
    """Play the months ahead under other recall intervals, advice for everyone and other slots.

    Parameters
    ----------
    clinic : Clinic
        ``demand.recall_moved_months`` says by how many months recalls are moved.

    Returns
    -------
    Answer
        Without a figure where there is no forecast, no minutes, no patient numbers, or nothing to change.
        Rows: ``visits_change``, ``second_visits_change``, ``chair_hours_change``, ``sessions_change`` by month and
        scenario, their ``..._a_month`` means, ``chance_outgrown`` and ``chance_outgrown_by_then``.
    """
    try:
        found = scenario_material(clinic)
        scenarios = play_scenarios(found, clinic.settings.demand.recall_moved_months)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    level, figures = clinic.settings.level, found.needs.figures
    return Answer(
        question=QUESTION,
        headline=say.headline(scenarios, found, level),
        how_sure=say.how_sure(scenarios, level),
        table=_table(scenarios, found, level),
        chart=_chart(scenarios, level),
        chart_title=say.chart_title(scenarios, level),
        chart_text=say.chart_text(scenarios, level),
        assumptions=say.assumptions(found, clinic.settings),
        cautions=say.CAUTIONS,
        checks=tuple(say.checks(found)),
        basis=figures.basis(
            "Returns, grades at return, minutes, advice to soften and slots, each as this log has them, drawn together."
        ),
        rows=tuple(_rows(scenarios, found, level)),
    )


def play_scenarios(found: ScenarioMaterial, moved_months: int) -> list[Scenario]:
    """Play every scenario the log allows, today's first.

    Parameters
    ----------
    found : ScenarioMaterial
    moved_months : int
        Months by which recalls are moved, either way.

    Returns
    -------
    list of Scenario

    Raises
    ------
    NotEnough
        If nothing can be changed: no recalls, no effect of advice, no other slots.
    """
    demand = found.needs.figures.demand
    today = changed_returns(demand, Change())
    levers = _possible(found, moved_months)
    if len(levers) < 2:
        first = next(iter(found.missing.values()))
        raise NotEnough(first.why, first.record)
    start = play(today, today, demand.others, found.work, states=found.states)
    walked = {(0, False): today}
    for each in levers:
        key = (each.later_months, each.advise)
        if key not in walked:
            fewer = found.advice.second_attempts if each.advise and found.advice is not None else None
            walked[key] = changed_returns(demand, Change(each.later_months, fewer))
    return [_scenario(each, found, walked[each.later_months, each.advise], today, start) for each in levers]


def _possible(found: ScenarioMaterial, moved: int) -> list[Levers]:
    """List what can be changed."""
    recall = [] if "recall" in found.missing else [-moved, moved]
    levers = [Levers(), *(Levers(months) for months in recall)]
    if found.advice is not None:
        levers += [Levers(months, advise=True) for months in (0, *recall)]
    if found.slot is not None and not np.allclose(found.slot, found.work.slot, equal_nan=True):
        levers.append(Levers(slots=True))
        if len(levers) > 2:
            levers.append(Levers(moved if recall else 0, advise=found.advice is not None, slots=True))
    return levers


def _scenario(
    levers: Levers, found: ScenarioMaterial, changed: ChangedReturns, today: ChangedReturns, start: Played
) -> Scenario:
    """Play one scenario."""
    demand = found.needs.figures.demand
    advice = found.advice if levers.advise else None
    slot = found.slot if levers.slots else None
    played = play(changed, today, demand.others, found.work, states=found.states, advice=advice, slot=slot)
    drawn = redrawn(demand, played.returns, np.random.default_rng(SEED))
    sessions = sessions_drawn(drawn, demand.drawn, found.needs.needed, played, start, found.work.session_minutes)
    lift = 1.0 if demand.lift is None else demand.lift
    changes = {
        "visits": (played.visits - start.visits).sum(axis=2) * lift,
        "second_visits": (played.visits - start.visits)[..., SECOND] * lift,
        "chair_hours": (played.chair_minutes - start.chair_minutes) / MINUTES_AN_HOUR * lift,
        "sessions": (played.sessions - start.sessions) * lift,
    }
    visits = played.visits[0].sum(axis=1) * lift
    return Scenario(levers, played, len(sessions), visits, *_beside_capacity(sessions, found.capacity), changes)


def _beside_capacity(sessions: np.ndarray, capacity: Capacity | None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give the chances of needing more than there is, and the wait at the end; missing where sessions are not known."""
    if capacity is None:
        unknown = np.full(sessions.shape[1], np.nan)
        return unknown, unknown, np.full(len(sessions), np.nan)
    weeks = np.asarray(capacity.figures.demand.months.ahead.days_in_month, dtype=float) / 7
    line = waiting_list(sessions, capacity.there, weeks, capacity.waiting_sessions)
    return line.short.mean(axis=0), line.short_by_then, line.wait_weeks[:, -1]


def _table(scenarios: list[Scenario], found: ScenarioMaterial, level: float) -> pd.DataFrame:
    """List what each scenario changes a month, and when capacity is outgrown."""
    months = found.needs.figures.demand.months.ahead
    table = pd.DataFrame(
        [
            {
                "scenario": say.name(each.levers),
                "visits_a_month": say.visits_a_month(each),
                "visits_change": say.change(each, "visits", level),
                "second_visits_change": say.change(each, "second_visits", level),
                "chair_hours_change": say.change(each, "chair_hours", level),
                "sessions_change": say.change(each, "sessions", level),
                "first_outgrown": say.first_outgrown(each, months),
                "chance_outgrown_by_then": each.short_by_then[-1],
                "wait_at_end": say.wait(each),
            }
            for each in scenarios
        ]
    )
    return table if found.capacity else table.drop(columns=["first_outgrown", "chance_outgrown_by_then", "wait_at_end"])


def _chart(scenarios: list[Scenario], level: float) -> go.Figure:
    """Draw the change in half-day sessions."""
    bars = []
    for each in scenarios[1:]:
        one = each.change("sessions", level)
        bars.append(Bar(say.name(each.levers), one.value, one.low, one.high, RECOMMENDED, say.signed(one)))
    return range_chart(bars, x_title="half-day sessions a month, beside as now", reference=0.0)


def _rows(scenarios: list[Scenario], found: ScenarioMaterial, level: float) -> Iterable[ResultRow]:
    """Keep every change of every month, and the chances."""
    months = [str(month) for month in found.needs.figures.demand.months.ahead]
    for each in scenarios:
        code = say.code(each.levers)
        for quantity, unit in UNITS.items():
            if np.isnan(each.changes[quantity]).any():
                continue
            mean = each.change(quantity, level)
            yield ResultRow.from_estimate(SECTION, f"{quantity}_change_a_month", unit, mean, scenario=code)
            for place, month in enumerate(months):
                one = each.change(quantity, level, slice(place, place + 1))
                yield ResultRow.from_estimate(SECTION, f"{quantity}_change", unit, one, month=month, scenario=code)
        if found.capacity is None:
            continue
        wait = say.wait_estimate(each)
        yield ResultRow.from_estimate(SECTION, "wait_weeks_at_end", "weeks", wait, scenario=code)
        for quantity, values in (("chance_outgrown", each.short), ("chance_outgrown_by_then", each.short_by_then)):
            for month, value in zip(months, values, strict=True):
                group = {"month": month, "scenario": code}
                yield ResultRow(SECTION, quantity, group, float(value), None, None, None, "share", each.futures, METHOD)
