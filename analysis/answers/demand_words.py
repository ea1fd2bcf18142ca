"""Sentences of "how many will come"."""

from __future__ import annotations

from math import ceil, isfinite

import numpy as np
import pandas as pd

from analysis.answers.demand_figures import RANGES, Figures, Series
from analysis.models.demand import Demand
from analysis.models.demand_backtest import BY_RETURNS, MONTHS_AHEAD, Backtest
from analysis.models.new_patients import MONTHS_FOR_SEASON
from analysis.models.return_table import DAYS_A_MONTH, WEEK
from analysis.models.simple_forecasts import (
    BETTER_BY,
    CHANCE,
    FEWEST_JUDGED,
    SAME_MONTHS,
    SEASONAL_NAIVE,
    SMOOTHING,
    YEAR,
    Beside,
)
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Check
from analysis.schema import BOOKING_KINDS
from analysis.settings import Settings

SERIES = {
    **BOOKING_KINDS,
    "all": "all visits",
    "bookings": "bookings made (missed, cancelled and moved too)",
    "sessions_needed": "half-day sessions",
}
SIMPLY = {
    SEASONAL_NAIVE: "the same month a year before",
    SAME_MONTHS: "the average of the same months of all years before",
    SMOOTHING: "smoothed past months",
    BY_RETURNS: "the forecast by returns of patients",
}
_, NARROW, WIDE = RANGES
AS_GOOD = 0.05
LEAST_WIDENING = 1.05
"""A factor below this is said to be none."""
LONG_FOLLOWED = 24
"""Months of following from which most returns have been seen (Coppin 2011: 60 to 73 % back within two years)."""


def month_name(month: pd.Period) -> str:
    """Say a month.

    Examples
    --------
    >>> month_name(pd.Period("2026-10"))
    'October 2026'
    """
    return f"{month.start_time:%B %Y}"


def spoken(value: float) -> str:
    """Say a count: whole from 20, with a decimal below.

    Examples
    --------
    >>> spoken(334.4), spoken(3.26), spoken(2.0)
    ('334', '3.3', '2')
    """
    return words.number(value, 0 if value >= 20 or abs(value - round(value)) < 0.05 else 1)


def _visits(value: float) -> str:
    """Say a number of visits."""
    said = spoken(value)
    return f"{said} visit" if said == "1" else f"{said} visits"


def typical_range(series: Series, level: float) -> tuple[float, float]:
    """Give the ends of a month's range, on average over the months."""
    low, high = series.range(level)
    return float(low.mean()), float(high.mean())


def headline(figures: Figures) -> str:
    """Say visits a month, their range and the sessions they fill."""
    low, high = typical_range(figures.total, NARROW)
    until = month_name(figures.demand.months.ahead[-1])
    said = (
        f"Expect about {_visits(figures.total.expected.mean())} a month to {until}, "
        f"between {words.number(low)} and {words.number(high)} in a typical month"
    )
    if figures.sessions is None:
        return f"{said}."
    return f"{said}; that is about {words.plural(sessions_a_month(figures.sessions), 'half-day session')} a month."


def sessions_a_month(sessions: Series) -> int:
    """Give whole sessions that hold an average month."""
    return ceil(sessions.expected.mean() - 1e-9)


def how_sure(figures: Figures) -> str:
    """Say what the ranges mean and how the forecast did on the past."""
    meaning = "The range should hold 8 months in 10; the table also gives those that should hold half of the months and 19 in 20."
    if figures.demand.returns.table is not None and _followed_months(figures.demand) < LONG_FOLLOWED:
        meaning += " The log is young, so all three may be too narrow: later returns have not been seen yet."
    if len(figures.demand.months.whole) < YEAR:
        meaning += " It is younger than a year and so holds no season to learn: a month it has not seen may be busier or quieter."
    used = figures.used
    if used is None or figures.backtest is None:
        return f"{meaning} The log is too short to try the forecast on its own past."
    tried = len(used.months)
    inside = [round(used.coverage(level).value * tried) for level in (NARROW, WIDE)]
    which = "the last month alone" if tried == 1 else f"the last {tried} months, each a month ahead"
    trial = (
        f"Tried on {which}: {inside[0]} of {tried} came within the range that should hold 8 in 10 and "
        f"{inside[1]} of {tried} came within that for 19 in 20."
    )
    return f"{meaning} {trial} {beside_simple(figures.backtest, figures.leads)}"


def beside_simple(backtest: Backtest, leads: Beside | None) -> str:
    """Say how the misses compare with those of the best simple method, and which is used."""
    if leads is not None:
        beaten = (
            f"missed by less than counting on each patient's return, whose misses were {words.number(leads.ratio, 2)} "
            "times as large: more than chance allows"
            if isfinite(leads.ratio)
            else "never missed, and counting on each patient's return did"
        )
        return (
            f"On {words.plural(leads.months, 'past month')} simply taking {SIMPLY[leads.method]} {beaten}. So the months' "
            "totals said here are its; the returns only share them out over kinds of visit."
        )
    if not backtest.beside():
        return f"Fewer than {FEWEST_JUDGED} months could be tried, too few to set it beside simple methods."
    errors = backtest.scaled_errors()
    best, error = max(errors.items(), key=lambda item: item[1])
    if not isfinite(error):
        return f"Simply taking {SIMPLY[best]} never missed in the months tried."
    if error > 1 + AS_GOOD:
        return (
            f"Simply taking {SIMPLY[best]} would have missed by less (this forecast's misses were "
            f"{words.number(error, 2)} times as large), but by no more than chance allows."
        )
    if error > 1 - AS_GOOD:
        return f"Simply taking {SIMPLY[best]} would have missed by about as much."
    return (
        f"Forecast again at {words.plural(backtest.made, 'month-end')}, up to {MONTHS_AHEAD} months ahead, its misses were "
        f"{words.number(error, 2)} times those of the best simple method, which takes {SIMPLY[best]}."
    )


def chart_title(figures: Figures) -> str:
    """Say how the months ahead compare with the same months before."""
    ahead = figures.total.expected.mean()
    before, which = visits_before(figures)
    return f"About {_visits(ahead)} a month are expected, against {spoken(before)} in {which}"


def visits_before(figures: Figures) -> tuple[float, str]:
    """Give past visits a month to compare with: the same months a year before, else the latest ones."""
    months = figures.demand.months
    past = figures.demand.past.sum(axis=1)
    year_before = months.whole.isin(months.ahead - 12)
    if len(months.ahead) <= 12 and year_before.sum() == len(months.ahead):
        return float(past[year_before].mean()), "the same months a year before"
    latest = min(len(past), 6)
    return float(past[-latest:].mean()), f"the last {latest} whole months"


def chart_text(figures: Figures) -> str:
    """Tell the chart in words."""
    low, high = figures.total.range(WIDE)
    months = figures.demand.months.ahead
    told = [
        f"{month_name(month)} {spoken(value)} ({words.number(a)} to {words.number(b)})"
        for month, value, a, b in zip(months, figures.total.expected, low, high, strict=True)
    ]
    past = figures.demand.past.sum(axis=1)
    last = month_name(figures.demand.months.whole[-1])
    return (
        f"Attended visits by month up to {words.count(past[-1])} in {last}, then the expected visits, "
        f"with the range that should hold 19 months in 20: {words.joined(told)}."
    )


def method(figures: Figures) -> str:
    """Say how the figures were made, in one sentence."""
    new = "new patients from monthly counts"
    model = figures.demand.new_patients
    if model is not None:
        learnt = ["level", *(["trend"] if model.trend else []), *(["season"] if model.harmonics else [])]
        new += f" with their {words.joined(learnt)} (negative binomial)"
    if figures.leads is not None:
        new += f". The totals of the months are those of {SIMPLY[figures.leads.method]}"
    if figures.demand.returns.table is None:
        return f"Every kind of visit from its own monthly counts; {new}."
    return (
        f"Returns of {words.count(figures.demand.returns.known)} known patients from the time since each one's last "
        f"visit (life table by kind of return, hearing aid and earlier returns); {new}."
    )


def assumptions(figures: Figures, settings: Settings) -> tuple[str, ...]:
    """Say what would have to stay true."""
    demand = figures.demand
    said = [
        "The recall rule, prices, staff, opening days and competition nearby stay as they were.",
        "Each attended visit is counted once: as the return of a patient seen before in the log, or as a first one.",
        "Opening days are those of the last year's weekdays, less the dates closed in every year of the log and the moving "
        f"holidays (such as Easter) closed in at least two; any other closed day ahead is not foreseen; {_closures(demand)}.",
    ]
    said.append(_range_rule(figures))
    if figures.backtest is not None:
        said.append(rule_of_choice())
    if settings.demand.recall_uptake >= 0:
        said.append(
            f"Routine recalls are not taken from the log: {words.percent(settings.demand.recall_uptake)} of patients "
            f"come when called back {settings.recall.today_months} months after their last visit. Simple methods know nothing "
            "of that and are not used."
        )
    if figures.second_attempts is not None and any(each.code == "second_attempt" for each in figures.kinds):
        said.append(
            f"As in the log, about {words.percent(figures.second_attempts)} of visits are followed by a second attempt "
            f"within {settings.softening.second_attempt_days} days."
        )
    if figures.sessions is not None:
        said.append(
            f"A session is {words.minutes(settings.slots.session_minutes)}; a visit fills its slot or, where visits of "
            "its kind run longer on average, its minutes with turnaround; a booking missed or cancelled late still "
            "fills its slot."
        )
    if demand.returns.table is not None:
        said.append(_not_seen_before(figures))
    return tuple(said)


def _range_rule(figures: Figures) -> str:
    """Say what the ranges' width rests on."""
    wider = "as wide" if figures.factor < LEAST_WIDENING else f"{words.number(figures.factor, 1)} times as wide"
    if figures.leads is not None:
        return f"Ranges are {wider} as {SIMPLY[figures.leads.method]} missed within the log, as its own misses ahead ask for."
    why = (
        "past months missed by no more"
        if figures.factor < LEAST_WIDENING
        else "past months missed by that much more, or were supposed to where none could be tried"
    )
    return f"Ranges are {wider} as the known rates alone would make them, because {why}."


def rule_of_choice() -> str:
    """Say by which rule a simple method takes the forecast's place."""
    return (
        f"A simple method takes the forecast's place where it was tried on at least {FEWEST_JUDGED} months, its misses "
        f"were smaller by {words.percent(BETTER_BY)} or more, and chance alone would put it so far ahead less than "
        f"{words.number(100 * CHANCE)} times in 100, shared out over the methods looked at."
    )


def _closures(demand: Demand) -> str:
    """Say what happens to the work of closed days."""
    share = demand.months.caught_up
    return (
        f"about {words.percent(share)} of what a closed day would have borne is caught up on afterwards, which a few years "
        "tell only roughly, so that the month after a long closure is foretold least well"
        if share > 0
        else "what a closed day would have borne does not come back"
    )


def _not_seen_before(figures: Figures) -> str:
    """Say how visits of patients unknown to the log are treated."""
    a_month = figures.demand.parts["not_seen_before"].mean()
    return (
        f"About {spoken(a_month)} visits a month are of patients last seen before the log begins or without a number; "
        "their count can only stay level or fade."
    )


def cautions(figures: Figures) -> tuple[str, ...]:
    """Say what the forecast cannot know and must not be used for."""
    demand = figures.demand
    said = ["A range is for one month, not for the whole period; sites and weeks vary by more."]
    if len(demand.months.whole) < MONTHS_FOR_SEASON:
        level = "the level of the last year" if len(demand.months.whole) >= YEAR else "the level so far"
        said.append(
            f"The log covers {len(demand.months.whole)} whole months; growth and season of new patients can be learnt "
            f"from {MONTHS_FOR_SEASON}, so {level} stands and the ranges only allow for both."
        )
    if demand.returns.table is None:
        said.append(
            "Too few visits carry a patient number to follow returns, so each kind is forecast from its own counts "
            "alone; record a patient number to count on each one's time since the last visit."
        )
    else:
        followed = _followed_months(demand)
        if followed < LONG_FOLLOWED:
            said.append(
                f"Nobody has yet been followed for more than {words.plural(followed, 'month')}; how many come back later "
                "than that is a guess from the latest half year seen, and the ranges may be too narrow."
            )
    if figures.sessions is None:
        said.append(
            "The log has no slot lengths and no minutes, so sessions are not worked out; record how long each slot is."
        )
    else:
        said.append(
            "Sessions are counted at today's lengths of slots and visits; shortening visits to fit more in is no way "
            "to meet demand, and local protocol and the practitioner's judgement come first."
        )
    return tuple(said)


def _followed_months(demand: Demand) -> int:
    """Give the months for which anybody has been followed."""
    table = demand.returns.table
    return 0 if table is None else int(table.followed_weeks * WEEK / DAYS_A_MONTH)


def checks(figures: Figures) -> tuple[Check, ...]:
    """Say how the forecast was checked."""
    return (_parts_check(figures), *_trial_checks(figures))


def _parts_check(figures: Figures) -> Check:
    """Check that the parts add up to the whole."""
    parts = figures.demand.parts.sum(axis=1).to_numpy()
    fine = np.allclose(parts, figures.total.expected, rtol=1e-9)
    a_month = figures.demand.parts.mean()
    told = ", ".join(
        f"{spoken(a_month[name])} {text}"
        for name, text in (
            ("known_patients", "next visits of known patients"),
            ("later_returns", "further returns"),
            ("new_patients", "of new patients"),
            ("not_seen_before", "others not seen before"),
        )
    )
    return Check("Parts add up to the whole", PASSED if fine else FAILED, f"Expected visits a month: {told}.")


def _trial_checks(figures: Figures) -> tuple[Check, ...]:
    """Check the ranges and the misses against the past."""
    if figures.used is None:
        return (Check("Tried on the past", INFORMATION, "Not tried: the log is too short."),)
    made = []
    for level in RANGES:
        share = figures.used.coverage(level)
        result = PASSED if share.low <= level <= share.high else FAILED if share.high < level else INFORMATION
        sentence = (
            f"{words.percent(share.value)} of {words.plural(share.n, 'month')} came within it "
            f"({words.between_percent(share)}); it should be {words.percent(level)}."
        )
        made.append(Check(f"{words.percent(level)} range on the past", result, sentence))
    for name, error in figures.used.scaled_errors().items():
        sentence = (
            f"Misses were {words.number(error, 2)} times those of taking {SIMPLY[name]}."
            if isfinite(error)
            else f"Taking {SIMPLY[name]} never missed in the months tried."
        )
        made.append(Check(f"Beside {SIMPLY[name]}", PASSED if error <= 1 else INFORMATION, sentence))
    return tuple(made)
