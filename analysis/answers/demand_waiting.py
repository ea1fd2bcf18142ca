"""How long people would wait, month by month, and how many sessions a week would keep that short."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers.demand_capacity import Capacity, capacity_of
from analysis.answers.demand_capacity_words import CAUTIONS
from analysis.answers.demand_words import month_name
from analysis.clinic import Clinic
from analysis.models.demand import count_range
from analysis.planning.waiting_list import sessions_for_short_waits
from analysis.present import words
from analysis.present.answer import Answer, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

QUESTION = "How long would people wait, month by month?"
SECTION = "demand_waiting"
METHOD = "drawn futures of the forecast, carried over from month to month"
LEVEL, SURE = 0.80, 0.90
SHORTEST_TOLD = 0.05


def how_long_would_people_wait(clinic: Clinic) -> Answer:
    """Carry what sessions cannot hold over from month to month, and say how many would do.

    Parameters
    ----------
    clinic : Clinic
        ``demand.longest_wait_weeks`` says which wait is not to be passed.

    Returns
    -------
    Answer
        Without a figure where the log is too short, or has no minutes. Rows: ``people_waiting`` and
        ``chance_of_long_wait`` by month, ``sessions_a_week_enough``.
    """
    try:
        capacity = capacity_of(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    longest, figures = clinic.settings.demand.longest_wait_weeks, capacity.figures
    enough, now = _enough(capacity, longest)
    return Answer(
        question=QUESTION,
        headline=_headline(capacity, longest, enough, now),
        how_sure=(
            f"Counted over {words.count(len(capacity.needed))} possible futures; ranges hold 8 futures in 10. What is left "
            "over from one month adds to the next, so later months are less sure."
        ),
        table=_table(capacity, longest),
        chart=_chart(capacity),
        chart_title=_chart_title(capacity),
        chart_text=_chart_text(capacity),
        assumptions=_assumptions(capacity, longest),
        cautions=CAUTIONS,
        basis=figures.basis("The forecast's possible futures, each carried over from month to month."),
        rows=tuple(_rows(capacity, longest, enough)),
    )


def _weeks(capacity: Capacity) -> np.ndarray:
    """Give the calendar weeks of each month ahead."""
    return np.asarray(capacity.figures.demand.months.ahead.days_in_month, dtype=float) / 7


def _enough(capacity: Capacity, longest: float) -> tuple[float, float]:
    """Sessions in a full week that keep waits short, and those there are; the month's closed days count in both."""
    weeks = _weeks(capacity)
    times = sessions_for_short_waits(
        capacity.needed, capacity.there, weeks, waiting=capacity.waiting_sessions, longest_weeks=longest, sure=SURE
    )
    months = capacity.figures.demand.months
    now = float((capacity.there / months.open_ahead).mean() * 7 * months.open_per_day)
    return times * now, now


def _people(capacity: Capacity) -> np.ndarray:
    """Give the people waiting at each month's end in each future."""
    return capacity.line.left_over / max(capacity.sessions_a_visit, 1e-9)


def _estimate(drawn: np.ndarray, month: int) -> Estimate:
    """Give a month's mean with its range."""
    value = float(drawn[:, month].mean())
    low, high = count_range(drawn[:, month], LEVEL)
    return Estimate(value, min(float(low), value), max(float(high), value), LEVEL, len(drawn), METHOD)


def _said(one: Estimate, decimals: int) -> str:
    """Say a figure with its range."""
    value, low, high = (words.number(each, decimals) for each in (one.value, one.low, one.high))
    return value if low == high == value else f"{value} ({low} to {high})"


def _headline(capacity: Capacity, longest: float, enough: float, now: float) -> str:
    """Say the wait at the end, and how many sessions would keep it short."""
    months = capacity.figures.demand.months.ahead
    last = _estimate(capacity.line.wait_weeks, len(months) - 1)
    limit = f"{longest:g} {'week' if longest == 1 else 'weeks'}"
    held = f"about {words.number(now, 1)} half-day sessions in a full week"
    if last.high < SHORTEST_TOLD:
        wait = f"With {held}, nobody would wait for want of sessions at the end of {month_name(months[-1])}"
    else:
        wait = (
            f"With {held}, whoever asks at the end of {month_name(months[-1])} would wait about {_said(last, 1)} weeks"
        )
    if enough <= now:
        return f"{wait}; in 9 of 10 possible futures no month's wait passes {limit}."
    return (
        f"{wait}. To keep the wait within {limit} in 9 of 10 possible futures takes about {words.number(enough, 1)} sessions "
        "in a full week."
    )


def _table(capacity: Capacity, longest: float) -> pd.DataFrame:
    """List each month's end: people waiting, weeks, and the chance of a long wait."""
    people, weeks = _people(capacity), capacity.line.wait_weeks
    return pd.DataFrame(
        [
            {
                "month": month_name(month),
                "people_waiting": _said(_estimate(people, place), 0),
                "wait_weeks_range": _said(_estimate(weeks, place), 1),
                "chance_of_long_wait": float((weeks[:, place] > longest).mean()),
            }
            for place, month in enumerate(capacity.figures.demand.months.ahead)
        ]
    )


def _chart(capacity: Capacity) -> go.Figure:
    """Draw the wait at each month's end."""
    bars = []
    for place, month in enumerate(capacity.figures.demand.months.ahead):
        one = _estimate(capacity.line.wait_weeks, place)
        bars.append(Bar(month_name(month), one.value, one.low, one.high, RECOMMENDED, _said(one, 1)))
    return range_chart(bars, x_title="weeks of waiting (range: 8 futures in 10)", from_zero=True)


def _chart_title(capacity: Capacity) -> str:
    """Say whether waits grow."""
    mean = capacity.line.wait_weeks.mean(axis=0)
    if mean.max() < SHORTEST_TOLD:
        return "Nobody is expected to wait for want of sessions"
    month = int(mean.argmax())
    longest = month_name(capacity.figures.demand.months.ahead[month])
    return f"The wait is longest at the end of {longest}: about {words.number(mean[month], 1)} weeks"


def _chart_text(capacity: Capacity) -> str:
    """Tell the chart in words."""
    told = [
        f"{month_name(month)} {_said(_estimate(capacity.line.wait_weeks, place), 1)}"
        for place, month in enumerate(capacity.figures.demand.months.ahead)
    ]
    return f"Weeks that somebody asking at the month's end would wait: {words.joined(told)}."


def _assumptions(capacity: Capacity, longest: float) -> tuple[str, ...]:
    """Say what would have to be true."""
    there = "as set" if capacity.told else "as held in the last year, however full they were"
    waiting = "nobody" if not capacity.waiting else words.plural(capacity.waiting, "person", "people")
    return (
        f"There are as many sessions as in the answer on capacity ({there}), and {waiting} waiting when the forecast begins; "
        "set sessions_a_week and waiting_now under [demand] in clinic.toml if that is otherwise.",
        "Whoever cannot be seen in a month is seen first in the next; nobody gives up or goes elsewhere, and sessions not "
        "filled are lost. The wait is for want of sessions alone, beside whatever notice people like to have.",
        f"The wait not to be passed, {longest:g} weeks, is an example unless you set it (longest_wait_weeks).",
        "A person waiting takes as much of a session as an average visit with its part of lost appointments.",
    )


def _rows(capacity: Capacity, longest: float, enough: float) -> Iterable[ResultRow]:
    """Keep every month's figures."""
    n, weeks = len(capacity.figures.history.day), capacity.line.wait_weeks
    for place, period in enumerate(capacity.figures.demand.months.ahead):
        month = str(period)
        people = _estimate(_people(capacity), place)
        yield ResultRow.from_estimate(SECTION, "people_waiting", "people", people, month=month)
        chance = float((weeks[:, place] > longest).mean())
        group = {"month": month, "weeks": longest}
        yield ResultRow(SECTION, "chance_of_long_wait", group, chance, None, None, None, "share", n, METHOD)
    yield ResultRow(
        SECTION, "sessions_a_week_enough", {"weeks": longest}, enough, None, None, None, "sessions", n, METHOD
    )
