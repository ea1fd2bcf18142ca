"""What the coming visits take: hours in the chair, sessions, practitioner days, rooms and supplies, by month."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers.demand_capacity import Needs, needs_of
from analysis.answers.demand_figures import SEED
from analysis.answers.demand_words import month_name
from analysis.clinic import Clinic
from analysis.models.demand import count_range
from analysis.planning.staffing import days_and_rooms
from analysis.planning.visit_mix import VisitMix, chair_minutes, fully_occluding_share
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

QUESTION = "What will the coming visits take: hours, days, rooms and supplies?"
SECTION = "demand_needs"
METHOD = "the forecast's possible futures, by kind of booking and how full ears will be found"
LEVEL = 0.80
MINUTES_AN_HOUR = 60
HOURS, MINUTES, SESSIONS, DAYS, ROOMS, TIPS = (
    "chair_hours", "minutes_a_visit", "sessions_needed", "practitioner_days", "rooms_at_once", "suction_tips"
)  # fmt: skip
UNITS = {HOURS: "hours", MINUTES: "minutes", SESSIONS: "sessions", DAYS: "days", ROOMS: "rooms", TIPS: "tips"}
CAUTIONS = (
    "Hours in the chair leave out waiting, lost appointments, breaks and paperwork after hours; they are no target to fill "
    "sessions to, and no reason to shorten what a patient is due.",
)
Drawn = dict[str, np.ndarray]


def what_will_the_coming_visits_take(clinic: Clinic) -> Answer:
    """List what each coming month takes, with ranges.

    Parameters
    ----------
    clinic : Clinic
        ``demand.supplies`` says what else a visit uses up, such as ``specula = 1``.

    Returns
    -------
    Answer
        Without a figure where the log is too short or has no minutes. Rows: ``chair_hours``, ``minutes_a_visit``,
        ``fully_occluding_share``, ``rooms_at_once`` and ``supplies`` by month.
    """
    try:
        needs = needs_of(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    drawn = _drawn(needs)
    supplies = {name: needs.figures.total.drawn * each for name, each in clinic.settings.demand.supplies.items()}
    figures = needs.figures
    return Answer(
        question=QUESTION,
        headline=_headline(needs, drawn),
        how_sure="Ranges hold 8 months in 10, counted over the forecast's possible futures.",
        table=_table(needs, drawn, supplies),
        chart=_chart(needs, drawn),
        chart_title=_chart_title(needs, drawn),
        chart_text=_chart_text(needs, drawn),
        assumptions=tuple(_assumptions(needs, clinic)),
        cautions=CAUTIONS,
        checks=tuple(_checks(needs)),
        basis=figures.basis(
            "The forecast's visits by kind, times the minutes of visits with open, partly and fully occluding ears."
        ),
        rows=tuple(_rows(needs, drawn, supplies)),
    )


def _drawn(needs: Needs) -> Drawn:
    """Draw what each month takes; hours by the mix where it can be had, else by kind of booking alone."""
    figures, found = needs.figures, {}
    minutes = _chair_minutes(needs)
    if minutes is not None:
        visits = np.maximum(figures.total.drawn, 1.0)
        found = {HOURS: minutes / MINUTES_AN_HOUR, MINUTES: minutes / visits}
    days, rooms = days_and_rooms(needs.needed, figures.demand.months.open_ahead)
    found |= {SESSIONS: needs.needed, DAYS: days, ROOMS: rooms}
    if needs.tips_a_visit is not None:
        found[TIPS] = figures.total.drawn * needs.tips_a_visit
    return found


def _chair_minutes(needs: Needs) -> np.ndarray | None:
    """Draw minutes in the chair; None where the log times no visit."""
    if isinstance(needs.mix, VisitMix):
        return chair_minutes(needs.figures.demand.drawn, needs.mix, np.random.default_rng(SEED + 5))
    chair = needs.figures.chair
    return None if chair is None else chair.drawn * needs.session_minutes


def _month(drawn: np.ndarray, month: int, *, whole: bool = False) -> Estimate:
    """Give one month's mean, or middle future where only whole things make sense, with its range."""
    value = float(np.median(drawn[:, month])) if whole else float(drawn[:, month].mean())
    low, high = count_range(drawn[:, month], LEVEL)
    return Estimate(value, min(float(low), value), max(float(high), value), LEVEL, len(drawn), METHOD)


def _average(drawn: np.ndarray) -> Estimate:
    """Give the mean over the months ahead, with its range."""
    return _month(drawn.mean(axis=1)[:, None], 0)


def _said(one: Estimate, decimals: int = 0) -> str:
    """Say a figure with its range, or alone where both ends are it."""
    value, low, high = (words.number(each, decimals) for each in (one.value, one.low, one.high))
    return value if low == high == value else f"{value} ({low} to {high})"


def _headline(needs: Needs, drawn: Drawn) -> str:
    """Say what an average month takes."""
    months = needs.figures.demand.months.ahead
    sessions, days = _average(drawn[SESSIONS]), _average(drawn[DAYS])
    hours = f"about {_said(_average(drawn[HOURS]))} hours in the chair, " if HOURS in drawn else ""
    rooms = max(_month(drawn[ROOMS], place, whole=True).value for place in range(len(months)))
    return (
        f"Over {month_name(months[0])} to {month_name(months[-1])}, an average month takes {hours}{_said(sessions)} half-day "
        f"sessions and {_said(days)} practitioner days, with up to {words.plural(rooms, 'room')} in use at once."
    )


def _table(needs: Needs, drawn: Drawn, supplies: Drawn) -> pd.DataFrame:
    """List each month's needs, each with its range."""
    full = _full_shares(needs)
    rows = []
    for place, month in enumerate(needs.figures.demand.months.ahead):
        row: dict[str, object] = {
            "month": month_name(month),
            "visits_range": _said(_month(needs.figures.total.drawn, place)),
        }
        if full is not None:
            row["fully_occluding_range"] = _percent(full, place)
        for name in (MINUTES, HOURS, SESSIONS, DAYS, ROOMS, TIPS):
            if name in drawn:
                decimals = 1 if name == MINUTES else 0
                row[f"{name}_range"] = _said(_month(drawn[name], place, whole=name == ROOMS), decimals)
        used = [f"{name}: {_said(_month(each, place))}" for name, each in supplies.items()]
        row["supplies"] = "; ".join(used) or "not set"
        rows.append(row)
    return pd.DataFrame(rows)


def _full_shares(needs: Needs) -> np.ndarray | None:
    """Share of visits finding an ear fully occluding, by draw and month; None where grades are lacking."""
    if not isinstance(needs.mix, VisitMix):
        return None
    return fully_occluding_share(needs.figures.demand.expected, needs.mix)


def _full(shares: np.ndarray, month: int) -> Estimate:
    """Give one month's share with its range."""
    low, high = np.quantile(shares[1:, month], [0.5 - LEVEL / 2, 0.5 + LEVEL / 2])
    value = float(shares[0, month])
    return Estimate(value, min(float(low), value), max(float(high), value), LEVEL, len(shares) - 1, METHOD)


def _percent(shares: np.ndarray, month: int) -> str:
    """Say one month's share with its range."""
    one = _full(shares, month)
    return f"{words.percent(one.value)} ({words.percent(one.low)} to {words.percent(one.high)})"


def _chart(needs: Needs, drawn: Drawn) -> go.Figure:
    """Draw hours in the chair and sessions by month."""
    bars = []
    for name, label, colour in ((HOURS, "hours in the chair", RECOMMENDED), (SESSIONS, "half-day sessions", TODAY)):
        for place, month in enumerate(needs.figures.demand.months.ahead):
            if name not in drawn:
                continue
            one = _month(drawn[name], place)
            bars.append(Bar(f"{label}, {month_name(month)}", one.value, one.low, one.high, colour))
    return range_chart(bars, x_title="a month (range: 8 months in 10)", from_zero=True)


def _chart_title(needs: Needs, drawn: Drawn) -> str:
    """Name the busiest month."""
    means = drawn[SESSIONS].mean(axis=0)
    most = int(means.argmax())
    return f"{month_name(needs.figures.demand.months.ahead[most])} takes most: {words.number(means[most])} half-day sessions"


def _chart_text(needs: Needs, drawn: Drawn) -> str:
    """Tell the chart in words."""
    told = []
    for place, month in enumerate(needs.figures.demand.months.ahead):
        hours = f"{words.number(_month(drawn[HOURS], place).value)} hours in the chair and " if HOURS in drawn else ""
        told.append(
            f"{month_name(month)} {hours}{words.number(_month(drawn[SESSIONS], place).value)} half-day sessions"
        )
    return f"What each month takes: {words.joined(told)}."


def _assumptions(needs: Needs, clinic: Clinic) -> Iterable[str]:
    """Say what would have to be true."""
    part = clinic.settings.demand
    if isinstance(needs.mix, VisitMix):
        yield (
            "Minutes are those of the last year's visits by kind of booking and by whether the fuller ear is open, partly or "
            f"fully occluding, with {clinic.settings.slots.turnaround_minutes:g} minutes between patients; recalls later or "
            "sooner than the last year's are taken to be fuller or less full as this log's grades at return are."
        )
    elif needs.figures.chair is not None:
        yield "Minutes are those of the last year's visits by kind of booking; how full ears will be found is not counted."
    yield (
        "Sessions hold the visits at today's slots, and slots lost to missed appointments; a practitioner's day is two half-day "
        "sessions. Rooms are those in use at once with sessions spread evenly over the opening days, so uneven weeks need more."
    )
    if needs.tips_a_visit is not None:
        yield (
            f"{part.suction_tips_per_ear:g} suction tips an ear treated by suction is an example value unless you set it "
            "(suction_tips_per_ear)."
        )
    if part.supplies:
        each = words.joined([f"{name} {amount:g}" for name, amount in part.supplies.items()])
        yield f"A visit uses up, as set: {each}."
    else:
        yield (
            "What else a visit uses up is not set; say it under [demand] in clinic.toml, e.g. supplies = { specula = 2, "
            "gloves = 2 }."
        )


def _checks(needs: Needs) -> Iterable[Check]:
    """Say why the mix could not be had."""
    if isinstance(needs.mix, NotEnough):
        yield Check("Left out: how full ears will be found", INFORMATION, str(needs.mix))


def _rows(needs: Needs, drawn: Drawn, supplies: Drawn) -> Iterable[ResultRow]:
    """Keep every figure of every month that no other answer keeps."""
    full = _full_shares(needs)
    for place, period in enumerate(needs.figures.demand.months.ahead):
        month = str(period)
        for name in (HOURS, MINUTES, ROOMS):
            if name in drawn:
                one = _month(drawn[name], place, whole=name == ROOMS)
                yield ResultRow.from_estimate(SECTION, name, UNITS[name], one, month=month)
        if full is not None:
            yield ResultRow.from_estimate(SECTION, "fully_occluding_share", "share", _full(full, place), month=month)
        for name, each in supplies.items():
            yield ResultRow.from_estimate(SECTION, "supplies", "pieces", _month(each, place), month=month, supply=name)
