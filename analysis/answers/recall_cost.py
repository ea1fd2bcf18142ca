"""What a recall interval costs: a visit spent too early against symptoms and fuller ears too late."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.recall_checks import dates_check, small_checks, watched_check
from analysis.answers.recall_group_words import colours, group_short, group_spoken, listed, of_people
from analysis.answers.recall_material import (
    DRAWS,
    SLOW_MONTHS,
    RecallCosts,
    ages_used_check,
    prices_are_examples,
    recall_costs,
    said_of_prices,
)
from analysis.answers.recall_words import recall_basis
from analysis.clinic import Clinic
from analysis.models.return_visits import FULLY, OPEN, PARTLY
from analysis.planning.recall_cost import CostCurve
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.chart_recall_cost import Marked, recall_cost_chart
from analysis.present.charts import Line
from analysis.problems import NotEnough
from analysis.settings import Settings
from analysis.stats.estimate import Estimate

QUESTION = "Which recall interval costs least?"
FIRST_DRAWN = 3
CAUTIONS = (
    "A recall date never replaces the advice to come back as soon as symptoms appear.",
    "Money decides nothing about one patient. Local protocol and licensed practice set who is looked at when; people who "
    "wear hearing aids have their ears looked at whenever they attend.",
)


@of_drawn_patients
def which_interval_costs_least(clinic: Clinic) -> Answer:
    """Weigh recalls that come too early against those that come too late.

    Parameters
    ----------
    clinic : Clinic
        Prices and today's interval are its settings.

    Returns
    -------
    Answer
        Without a figure where curves, grades at return, minutes or success cannot be had.
    """
    try:
        found = recall_costs(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    settings = clinic.settings
    return Answer(
        question=QUESTION,
        headline=_headline(found, settings),
        how_sure=f"{words.how_sure(settings.level)} Prices and habits of waiting are settings and carry no range.",
        table=pd.DataFrame([_table_row(name, curve, settings) for name, curve in found.curves.items()]).dropna(
            axis="columns", how="all"
        ),
        chart=_chart(found, settings),
        chart_title=_chart_title(found, settings),
        chart_text=_chart_text(found, settings),
        assumptions=_assumptions(settings),
        cautions=CAUTIONS,
        checks=(
            *_checks(found, settings),
            *ages_used_check(clinic),
            *dates_check(clinic.visits, clinic.last_day),
        ),
        basis=_basis(found),
        rows=tuple(_rows(found, settings)),
    )


def _flat(curve: CostCurve, settings: Settings) -> tuple[int, int]:
    """First and last month that cost hardly more than the least."""
    return curve.flat(settings.level, settings.recall_cost.within)


def _least(curve: CostCurve) -> int:
    """Month that costs least."""
    return int(curve.months[curve.best])


def _at(curve: CostCurve, months: int, level: float, n: int) -> Estimate | None:
    """Yearly cost at an interval; None where it was not weighed."""
    if months not in curve.months:
        return None
    return _estimate(curve, curve.cost[:, list(curve.months).index(months)], level, n)


def _estimate(curve: CostCurve, draws: np.ndarray, level: float, n: int) -> Estimate:
    """Give a figure with the range of its draws."""
    low, high = curve.spread(draws, level)
    return Estimate(float(draws[0]), low, high, level, n, "inspection model, joint draws")


def _more(curve: CostCurve, months: int, level: float, n: int) -> Estimate | None:
    """How much dearer an interval is than the least."""
    if months not in curve.months:
        return None
    column = list(curve.months).index(months)
    return _estimate(curve, curve.cost[:, column] - curve.cost[:, curve.best], level, n)


def _said(name: str, curve: CostCurve, settings: Settings, *, among_groups: bool) -> str:
    """Say one group's month and its flat stretch."""
    low, high = _flat(curve, settings)
    whose = of_people(name) or (" for everyone else" if among_groups else "")
    month = words.plural(_least(curve), "month")
    if curve.still_falling:
        return f"{month} or more{whose} (costs still fall at the longest interval weighed; hardly dearer from {low})"
    return f"{month}{whose} (anything from {low} to {high} costs hardly more)"


def _headline(found: RecallCosts, settings: Settings) -> str:
    """Give the one sentence that answers."""
    among = len(found.curves) > 1
    said = listed([_said(name, curve, settings, among_groups=among) for name, curve in found.curves.items()])
    fitted = found.fitted
    period = words.from_months(fitted.first_day, fitted.last_day)
    whose = "the example prices the program comes with" if prices_are_examples(settings.recall_cost) else "your prices"
    return f"At {whose} a recall costs least after {said}, going by ears cleared {period}."


def _chart(found: RecallCosts, settings: Settings) -> go.Figure:
    """Draw yearly cost by interval; the first months, dear for all, are left out."""
    drawn, coloured = [], colours(list(found.curves))
    for name, curve in found.curves.items():
        kept = curve.months >= min(FIRST_DRAWN, _least(curve))
        low, high = np.quantile(curve.cost[1:, kept], [0.5 - settings.level / 2, 0.5 + settings.level / 2], axis=0)
        line = Line(
            group_short(name, len(found.curves)), curve.months[kept].tolist(), curve.cost[0, kept].tolist(), low.tolist(), high.tolist(),
            coloured[name],
        )  # fmt: skip
        drawn.append(Marked(line, _least(curve), _flat(curve, settings)))
    return recall_cost_chart(drawn, today_months=settings.recall.today_months, currency=settings.recall_cost.currency)


def _chart_title(found: RecallCosts, settings: Settings) -> str:
    """Say what today's interval costs beside the least."""
    today, parts = settings.recall.today_months, []
    for name, curve in found.curves.items():
        more = _more(curve, today, settings.level, 0)
        whose = of_people(name)
        if more is not None:
            parts.append(f"{words.number(more.value, 1)} {settings.recall_cost.currency} more{whose}")
    if not parts:
        return "Too early costs visits, too late costs days with symptoms"
    return f"Today's {words.plural(today, 'month')} beside the cheapest interval, an ear in a year: {listed(parts)}"


def _chart_text(found: RecallCosts, settings: Settings) -> str:
    """Tell the chart in words."""
    told = []
    for name, curve in found.curves.items():
        least = _at(curve, _least(curve), settings.level, 0)
        cost = "" if least is None else f" {words.number(least.value)} ({words.between(least)})"
        low, high = _flat(curve, settings)
        told.append(
            f"{group_spoken(name).capitalize()}: least at {words.plural(_least(curve), 'month')},{cost} "
            f"{settings.recall_cost.currency}; hardly dearer from {low} to {high} months."
        )
    return "Lines of the yearly cost of an ear by recall interval, steep at short intervals, then flat. " + " ".join(
        told
    )


def _table_row(name: str, curve: CostCurve, settings: Settings) -> dict[str, object]:
    """Lay out one group."""
    low, high = _flat(curve, settings)
    today = settings.recall.today_months
    now, more = _at(curve, today, settings.level, 0), _more(curve, today, settings.level, 0)
    return {
        "recall_group": group_spoken(name),
        "least_cost_months": _least(curve),
        "flat_low": low,
        "flat_high": high,
        "yearly_cost": float(curve.cost[0, curve.best]),
        "yearly_cost_today": np.nan if now is None else now.value,
        "yearly_cost_more": np.nan if more is None else more.value,
        "yearly_cost_more_low": np.nan if more is None else more.low,
        "yearly_cost_more_high": np.nan if more is None else more.high,
        "symptom_days": float(curve.symptom_days[curve.best]),
    }


def _assumptions(settings: Settings) -> tuple[str, ...]:
    """Say what would have to be true."""
    part, window = settings.recall_cost, settings.recall.symptom_window_days
    return (
        f"A minute is taken to be worth {part.price_minute:g} and a day with an occluding ear {part.price_symptom_day:g} "
        f"{part.currency}. {said_of_prices(part)} The month hangs on them: ask how far.",
        f"Of 100 people, {(1 - part.slow_share) * 100:.0f} come of themselves within {window} days of an ear occluding, "
        f"the others within {SLOW_MONTHS:.0f} months unless called. How long people wait the log does not show; it is a setting.",
        "Whoever is called comes. An ear found open is left alone and called again after the same months; an ear found "
        "occluding is cleared and starts anew. Each ear is counted as a visit of its own.",
        "Minutes, success of first attempts and how full ears are found are this clinic's own averages.",
    )


def _checks(found: RecallCosts, settings: Settings) -> Iterable[Check]:
    """Say what the figures stand on and what calling nobody would cost."""
    minutes, success = found.visits.minutes, found.visits.success
    yield Check(
        "This clinic's own figures",
        INFORMATION,
        f"A visit takes {words.number(minutes[OPEN].mean, 1)} minutes with open ears, {words.number(minutes[PARTLY].mean, 1)} "
        f"where an ear is partly and {words.number(minutes[FULLY].mean, 1)} where one is fully occluding; the first attempt "
        f"succeeds at {words.percent(success[PARTLY].mean)} of partly and {words.percent(success[FULLY].mean)} of fully "
        "occluding ears.",
    )
    for name, curve in found.curves.items():
        saved = _estimate(curve, curve.without - curve.cost[:, curve.best], settings.level, 0)
        whose = of_people(name)
        more = "more" if saved.value >= 0 else "less"
        size = replace(saved, value=abs(saved.value))
        yield Check(
            f"No routine recall{whose}",
            INFORMATION,
            f"Calling nobody and leaving it to symptoms would cost {words.number(size.value)} {settings.recall_cost.currency} "
            f"{more} an ear in a year than the best recall (difference between {words.number(saved.low)} and "
            f"{words.number(saved.high)}).",
        )
    yield from small_checks(found.fitted.curves, settings.recall.fewest_ears)
    yield watched_check(found.fitted)
    yield _within(found)
    yield from _today_check(found, settings)


def _today_check(found: RecallCosts, settings: Settings) -> Iterable[Check]:
    """Say why nothing is said of today's rule: none is set, or it lies beyond the months weighed."""
    today, longest = settings.recall.today_months, max(int(curve.months[-1]) for curve in found.curves.values())
    if not today:
        yield Check(
            "Today's rule",
            INFORMATION,
            "No recall rule is set, so nothing is said of what today's costs. If the clinic has one, set today_months under "
            "[recall] in clinic.toml.",
        )
    elif today > longest:
        yield Check(
            "Today's rule",
            INFORMATION,
            f"Today's {words.plural(today, 'month')} lie beyond the {words.plural(longest, 'month')} for which the log has watched "
            "ears, so nothing is said of what they cost.",
        )


def _within(found: RecallCosts) -> Check:
    """Say whether a least was found."""
    falling = [group_spoken(name) for name, curve in found.curves.items() if curve.still_falling]
    if not falling:
        return Check("A least within the months weighed", PASSED, "Longer intervals were weighed too and cost more.")
    said = f"For {listed(falling)} costs still fall at the longest interval the log allows to be weighed."
    return Check(
        "A least within the months weighed", FAILED, f"{said} At these prices no routine recall may do as well."
    )


def _basis(found: RecallCosts) -> Basis:
    """Say what the figures rest on."""
    method = (
        f"Recall curves weighed by the inspection model of Barlow and Proschan (1965); {DRAWS - 1} joint draws of curves, "
        "grades, minutes and success."
    )
    return recall_basis(found.fitted, method)


def _rows(found: RecallCosts, settings: Settings) -> Iterable[ResultRow]:
    """Give every figure as ``results.json`` keeps it."""
    level, today = settings.level, settings.recall.today_months
    make = ResultRow.from_estimate
    for name, curve in found.curves.items():
        n = found.fitted.curves[name].ears
        low, high = _flat(curve, settings)
        least = Estimate(float(_least(curve)), float(low), float(high), level, n, "least yearly cost and flat region")
        yield make("recall", "least_cost_months", "months", least, group=name)
        policies = {"least": _at(curve, _least(curve), level, n), "today": _at(curve, today, level, n)}
        policies["no_recall"] = _estimate(curve, curve.without, level, n)
        for policy, cost in policies.items():
            if cost is not None:
                yield make("recall", "yearly_cost", "money", cost, group=name, policy=policy)
        more = _more(curve, today, level, n)
        if more is not None:
            yield make("recall", "yearly_cost_difference", "money", more, group=name, contrast="today less least")
