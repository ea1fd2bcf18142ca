"""When capacity is outgrown, and how long people would then wait."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.answers import demand_capacity_words as say
from analysis.answers.demand_figures import Figures, demand_figures
from analysis.answers.demand_mix import coming_mix
from analysis.answers.kept import once_a_clinic
from analysis.clinic import Clinic
from analysis.derive.sessions import sessions
from analysis.models.demand import count_range
from analysis.planning.capacity import minutes_by_kind
from analysis.planning.staffing import days_and_rooms, sessions_run, suctioned_ears_a_visit
from analysis.planning.visit_mix import VisitMix
from analysis.planning.waiting_list import WaitingList, waiting_list
from analysis.present.answer import Answer, ResultRow, no_answer
from analysis.present.chart_forecast import Band, forecast_chart
from analysis.present.charts import Line
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough

if TYPE_CHECKING:
    import plotly.graph_objects as go

QUESTION = "When is capacity outgrown, and how long would people wait?"
SECTION = "demand_capacity"
METHOD = "drawn futures of the forecast, carried over from month to month"
LEVEL = 0.80
LAST_YEAR = 12
ROUNDING = 1e-6


@dataclass(frozen=True, eq=False)
class Needs:
    """What the forecast's visits take.

    Attributes
    ----------
    figures : Figures
    needed : numpy.ndarray, shape (futures, months)
        Half-day sessions.
    mix : VisitMix or NotEnough
        How full ears are expected to be found and how long visits take; or why that cannot be had.
    tips_a_visit : float or None
        Suction tips; None where the log names no method.
    session_minutes : float
        Minutes in a half-day session.
    """

    figures: Figures
    needed: np.ndarray
    mix: VisitMix | NotEnough
    tips_a_visit: float | None
    session_minutes: float

    @property
    def sessions_a_visit(self) -> float:
        """Sessions an attended visit takes, with its part of lost appointments."""
        return float(self.needed.sum() / max(float(self.figures.total.drawn.sum()), 1.0))


@dataclass(frozen=True, eq=False)
class Capacity(Needs):
    """The forecast beside what there is to meet it with.

    Attributes
    ----------
    there : numpy.ndarray, shape (months,)
        Half-day sessions there are.
    line : WaitingList
    told : bool
        Whether the owner set how many sessions there are.
    waiting : int
        People waiting at the start.
    """

    there: np.ndarray
    line: WaitingList
    told: bool
    waiting: int

    @property
    def waiting_sessions(self) -> float:
        """Sessions that the people waiting at the start take."""
        return self.waiting * self.sessions_a_visit


def when_is_capacity_outgrown(clinic: Clinic) -> Answer:
    """Set the sessions the coming visits need beside those there are.

    Parameters
    ----------
    clinic : Clinic
        Its settings may say how many half-day sessions a week there are and
        how many people wait already.

    Returns
    -------
    Answer
        Without a figure where the log is too short or has no minutes.
    """
    try:
        capacity = capacity_of(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    figures = capacity.figures
    return Answer(
        question=QUESTION,
        headline=say.headline(capacity),
        how_sure=say.how_sure(capacity),
        table=_table(capacity),
        chart=_chart(capacity),
        chart_title=say.chart_title(capacity),
        chart_text=say.chart_text(capacity),
        assumptions=say.assumptions(capacity, clinic.settings),
        cautions=say.CAUTIONS,
        basis=figures.basis("The forecast's possible futures, each carried over from month to month."),
        rows=tuple(_rows(capacity)),
    )


@once_a_clinic
def needs_of(clinic: Clinic) -> Needs:
    """Work out what the coming visits take.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Needs

    Raises
    ------
    NotEnough
        If the log is too short, or has no minutes.
    """
    settings, figures = clinic.settings, demand_figures(clinic)
    if figures.sessions is None:
        raise NotEnough(
            "The log has no slot lengths and no minutes, so sessions cannot be worked out.",
            "Record how long each slot is.",
        )
    mix, needed = coming_mix(clinic, figures), figures.sessions.drawn
    if not isinstance(mix, NotEnough):
        needed = needed + _longer_than_booked(clinic, figures, mix)
    attended = clinic.visits.loc[clinic.visits["attendance"].eq("attended"), "visit_id"]
    ears = suctioned_ears_a_visit(clinic.ears, attended)
    tips = None if ears is None else ears * settings.demand.suction_tips_per_ear
    return Needs(figures, needed, mix, tips, settings.slots.session_minutes)


@once_a_clinic
def capacity_of(clinic: Clinic) -> Capacity:
    """Set what the coming visits take beside what there is, and carry over what is left.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Capacity

    Raises
    ------
    NotEnough
        If the log is too short, has no minutes, or does not show the sessions held and none are set.
    """
    settings, needs = clinic.settings, needs_of(clinic)
    months = needs.figures.demand.months
    told = settings.demand.sessions_a_week > 0
    if told:
        a_day = settings.demand.sessions_a_week / (7 * months.open_per_day)
    else:
        year = slice(-LAST_YEAR, None)
        a_day = sessions_run(sessions(clinic.visits), months.whole[year], months.open_whole[year])
    there, waiting = a_day * months.open_ahead, settings.demand.waiting_now
    weeks = np.asarray(months.ahead.days_in_month, dtype=float) / 7
    return Capacity(
        **{each.name: getattr(needs, each.name) for each in fields(needs)},
        there=there,
        line=waiting_list(needs.needed, there, weeks, waiting=waiting * needs.sessions_a_visit),
        told=told,
        waiting=waiting,
    )


def _longer_than_booked(clinic: Clinic, figures: Figures, mix: VisitMix) -> np.ndarray:
    """Sessions that visits of a kind take beyond what is counted, where the mix makes them longer than booked."""
    part = clinic.settings.slots
    today = minutes_by_kind(clinic.visits, last_day=figures.last_day, turnaround_minutes=part.turnaround_minutes)
    counted = today[["slot", "chair"]].max(axis=1).to_numpy(dtype=float)
    drawn = figures.demand.drawn
    sets = 1 + np.arange(len(drawn)) % (len(mix.minutes) - 1)
    longer = np.where(mix.minutes[0] > counted + ROUNDING, mix.minutes[sets] - counted, 0.0)
    return (drawn * longer).sum(axis=2) / part.session_minutes


def _spread(drawn: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give each month's mean and the ends of its range, which holds the mean."""
    mean = drawn.mean(axis=0)
    low, high = count_range(drawn, LEVEL)
    return mean, np.minimum(low, mean), np.maximum(high, mean)


def _drawn(capacity: Capacity) -> dict[str, tuple[str, np.ndarray]]:
    """Give what is drawn for each month: unit and futures by quantity."""
    days, _ = days_and_rooms(capacity.needed, capacity.figures.demand.months.open_ahead)
    drawn = {"wait_weeks": ("weeks", capacity.line.wait_weeks), "practitioner_days": ("days", days)}
    if capacity.tips_a_visit is not None:
        drawn["suction_tips"] = ("tips", capacity.figures.total.drawn * capacity.tips_a_visit)
    return drawn


def _table(capacity: Capacity) -> pd.DataFrame:
    """List each month: sessions needed and there, the chance of needing more, the wait, and what the visits take."""
    months = capacity.figures.demand.months
    needed, low, high = _spread(capacity.needed)
    wait, wait_low, wait_high = _spread(capacity.line.wait_weeks)
    days, rooms = days_and_rooms(needed, months.open_ahead)
    table = pd.DataFrame(
        {
            "month": [say.month_name(month) for month in months.ahead],
            "sessions_needed": needed,
            "low_80": low,
            "high_80": high,
            "sessions_there": capacity.there,
            "chance_outgrown": capacity.line.short.mean(axis=0),
            "wait_weeks": wait,
            "wait_low": wait_low,
            "wait_high": wait_high,
            "practitioner_days": days,
            "rooms_at_once": rooms,
        }
    )
    if capacity.tips_a_visit is not None:
        table["suction_tips"] = np.ceil(capacity.figures.total.expected * capacity.tips_a_visit)
    return table


def _chart(capacity: Capacity) -> go.Figure:
    """Draw the sessions needed with their ranges, and those there are."""
    dates = [f"{month.start_time:%Y-%m-%d}" for month in capacity.figures.demand.months.ahead]
    bands = []
    for level, label, opacity in ((0.95, "outer: 19 months in 20", 0.16), (LEVEL, "inner: 8 months in 10", 0.24)):
        low, high = count_range(capacity.needed, level)
        bands.append(Band(label, low.tolist(), high.tolist(), opacity))
    return forecast_chart(
        Line("there are", dates, capacity.there.tolist(), colour=TODAY, dash="dash"),
        Line("needed", dates, capacity.needed.mean(axis=0).tolist(), colour=RECOMMENDED),
        bands,
        y_title="half-day sessions a month",
    )


def _rows(capacity: Capacity) -> list[ResultRow]:
    """Keep every figure of every month."""
    n, line = len(capacity.figures.history.day), capacity.line
    rows = []
    months = [str(month) for month in capacity.figures.demand.months.ahead]
    plain = {
        "sessions_there": ("sessions", capacity.there),
        "chance_outgrown": ("share", line.short.mean(axis=0)),
        "chance_outgrown_by_then": ("share", line.short_by_then),
    }
    for quantity, (unit, values) in plain.items():
        for month, value in zip(months, values, strict=True):
            rows.append(ResultRow(SECTION, quantity, {"month": month}, float(value), None, None, None, unit, n, METHOD))
    for quantity, (unit, futures) in _drawn(capacity).items():
        for month, *ends in zip(months, *_spread(futures), strict=True):
            value, low, high = (float(each) for each in ends)
            rows.append(ResultRow(SECTION, quantity, {"month": month}, value, low, high, LEVEL, unit, n, METHOD))
    return rows
