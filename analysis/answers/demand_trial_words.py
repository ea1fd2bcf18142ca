"""Sentences of "did past forecasts hold"."""

from __future__ import annotations

import pandas as pd

from analysis.answers.demand_words import SIMPLY, beside_simple, month_name, rule_of_choice, spoken
from analysis.models.demand_backtest import MONTHS_AHEAD, Backtest
from analysis.models.new_patients import MONTHS_FOR_SEASON
from analysis.models.simple_forecasts import FEWEST_JUDGED, SIMPLE, YEAR, Beside
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Check
from analysis.stats.forecast_checks import chance_of_mean_below
from analysis.stats.small_counts import hidden_counts

NARROW, WIDE = 0.80, 0.95
LEANING = 0.05
"""Chance of calling forecasts that do not lean too high or too low (our choice, no source)."""


def headline(trial: Backtest) -> str:
    """Say how many of the last months came within the range, and the size of a typical miss."""
    months = trial.months
    inside = months_inside(trial, NARROW)
    miss, share = month_miss(trial)
    said = "The last month" if len(months) == 1 else f"Of the last {len(months)} months {inside or 'none'}"
    came = (
        f"came {'within' if inside else 'outside'} the range that should hold 8 in 10"
        if len(months) == 1
        else "came within the range forecast a month before, which should hold 8 in 10"
    )
    return f"{said} {came}; a typical miss was {spoken(miss)} visits, {words.percent(share)} of what came."


def month_miss(trial: Backtest) -> tuple[float, float]:
    """Give the last year's mean miss a month ahead, in visits and as a share of what came."""
    months = trial.months
    miss = float((months["came"] - months["expected"]).abs().mean())
    return miss, miss / max(float(months["came"].mean()), 1.0)


def months_inside(trial: Backtest, level: float) -> int:
    """Count the last year's months within a range."""
    share = trial.coverage(level)
    return round(share.value * (share.n or 0))


def how_sure(trial: Backtest, own: Backtest, leads: Beside | None) -> str:
    """Say what so few months can tell, how the misses lean and how the simple methods did."""
    share = trial.coverage(NARROW)
    few = (
        f"From {len(trial.months)} months alone the range could hold anything {words.between_percent(share)} of all months."
        if len(trial.months) > 1
        else "One month says next to nothing of a range."
    )
    return f"{few}{_lean(trial)} {beside_simple(own, leads)}"


def _lean(own_or_used: Backtest) -> str:
    """Say whether the forecasts were too high or too low on the whole, beyond chance."""
    rows = own_or_used.trials
    by_month = (rows["came"] - rows["expected"]).groupby(rows["month"]).mean()
    if len(by_month) < FEWEST_JUDGED:
        return ""
    lower = chance_of_mean_below(by_month.to_numpy())
    if min(lower, 1 - lower) > LEANING / 2:
        return " On the whole the forecasts were neither too high nor too low by more than chance allows."
    return f" On the whole the forecasts were too {'high' if lower < 0.5 else 'low'}, by {spoken(abs(by_month.mean()))} visits a month."


def chart_title(trial: Backtest) -> str:
    """Say the finding of the chart."""
    if len(trial.months) == 1:
        return "The last month beside its forecast of a month before"
    outside = len(trial.months) - months_inside(trial, WIDE)
    left = f"{words.count(outside) if outside else 'none'} lay outside that for 19 in 20"
    return f"{months_inside(trial, NARROW)} of {len(trial.months)} months came within the range that should hold 8 in 10; {left}"


def hidden_months(months: pd.DataFrame, hide_below: int) -> pd.Series:
    """Mark the months whose count is too small to show, and those that would give it away beside their quarter's, which is told."""
    quarters = pd.PeriodIndex(months["month"], freq="M").asfreq("Q")
    marks = pd.Series(data=False, index=months.index)
    for _, came in months["came"].astype(int).groupby(quarters):
        counts = [*came, int(came.sum())]
        total = len(came)
        marks[came.index] = hidden_counts(counts, [(total, range(total))], hide_below, told=[total])[:-1]
    return marks


def chart_text(trial: Backtest, hide_below: int) -> str:
    """Tell the chart in words."""
    told = [
        f"{month_name(pd.Period(each['month']))} {_came(each['came'], hide_below, hidden=mark)} "
        f"(expected {spoken(each['expected'])}, {words.number(each['low_95'])} to {words.number(each['high_95'])})"
        for each, mark in zip(trial.months.to_dict("records"), hidden_months(trial.months, hide_below), strict=True)
    ]
    return (
        "For each month the visits that came, as a dot, on the range forecast a month before that should hold "
        f"19 months in 20: {words.joined(told)}."
    )


def _came(came: float, hide_below: int, *, hidden: bool) -> str:
    """Say a month's visits, or that they are too few to show, or would give another month's away."""
    if not hidden:
        return words.count(came)
    return f"fewer than {hide_below}" if came < hide_below else "a number not shown"


def method(trial: Backtest) -> str:
    """Say how the trial was made."""
    first, last = (month_name(pd.Period(made)) for made in trial.trials["made"].iloc[[0, -1]])
    span = f"the end of {first}" if trial.made == 1 else f"each month's end from {first} to {last}"
    return (
        f"At {span} everything was learnt anew from what the log held by then, and up to {MONTHS_AHEAD} months were "
        "forecast and set beside what came; the chart shows the last year's, each forecast a month before."
    )


def assumptions(own: Backtest, leads: Beside | None) -> tuple[str, ...]:
    """Say what the trial takes for granted, and by which rule a simple method would be used."""
    said = [
        "Visits are taken as known on their day; a log filled in late was thinner then than it is now.",
        "Each forecast's ranges were widened by the misses of the year before it, never by its own.",
        rule_of_choice(),
        "Smoothed past months are a level, a trend or a season that follow the latest months more than older ones "
        "(exponential smoothing).",
    ]
    if leads is not None:
        said.append(
            f"The trial is that of {SIMPLY[leads.method]}, whose totals are used; its ranges are as wide as it missed "
            "within the log by then, and widened by its own earlier misses ahead."
        )
    if len(own.beside()) < len(SIMPLE):
        said.append(
            "The same month a year before can be taken from 12 months of log, the average of the same months from 24."
        )
    return tuple(said)


def cautions(trial: Backtest, whole_months: int) -> tuple[str, ...]:
    """Say what a trial on the past cannot tell."""
    said = [
        "The headline and the chart are of all visits of the clinic together; single kinds and sites are foretold less well, "
        "as the table's last lines say.",
        "Forecasts from neighbouring month-ends share months, so the rows by months ahead are not so many separate trials.",
        "That forecasts held says nothing of a time when recalls, prices, staff or competition nearby change.",
    ]
    if whole_months < YEAR:
        said.append(
            "The log is younger than a year: it holds no season to learn, and none of these forecasts knew one."
        )
    elif whole_months - trial.made < MONTHS_FOR_SEASON:
        said.append(
            f"The earliest were made from {whole_months - trial.made} months of log; a season can be learnt from "
            f"{MONTHS_FOR_SEASON}, so later ones know more."
        )
    return tuple(said)


def checks(own: Backtest) -> tuple[Check, ...]:
    """Check each simple method against the forecast by returns."""
    better, made = own.better(), []
    for each in own.beside():
        ahead = each.ratio > 1
        result = FAILED if better == each else INFORMATION if ahead else PASSED
        chance = f"; chance alone would put it so far ahead {_times_in_100(each.chance)}" if ahead else ""
        made.append(
            Check(
                f"Beside {SIMPLY[each.method]}",
                result,
                f"Over {words.plural(each.months, 'month')} it missed by {'less' if ahead else 'no less'}{chance}.",
            )
        )
    if not made:
        made.append(Check("Beside simple methods", INFORMATION, f"Fewer than {FEWEST_JUDGED} months to judge by."))
    return tuple(made)


def _times_in_100(chance: float) -> str:
    """Say a chance as times in a hundred."""
    return "less than once in 100" if chance < 0.01 else f"{words.number(100 * chance)} times in 100"
