"""How far the least-cost recall hangs on the prices: each set to half and to double."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.recall import QUESTION as RECALL_QUESTION
from analysis.answers.recall_cost import CAUTIONS
from analysis.answers.recall_group_words import group_short, group_spoken, listed, of_people
from analysis.answers.recall_material import SLOW_MONTHS, RecallCosts, people_waiting, recall_costs, said_of_prices
from analysis.answers.recall_words import recall_basis
from analysis.clinic import Clinic
from analysis.planning.recall_cost import CostCurve, ReturnCosts, cost_curve
from analysis.present import words
from analysis.present.answer import INFORMATION, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.settings import Settings
from analysis.stats.estimate import Estimate

QUESTION = "How far does the least-cost recall hang on the prices?"
FACTORS = {0.5: "half", 2.0: "double"}
AS_SET = "as set"
WHICH_MONTHS = (
    f"These months follow the prices set, those of “{RECALL_QUESTION}” "
    "the chosen share of ears occluding again: which of the two to act on is the owner's to choose."
)


@dataclass(frozen=True, eq=False)
class Weighed:
    """One group's cost curve at one setting of the prices, and what keeping the month as set costs there.

    Attributes
    ----------
    group, what : str
        The group's name, and the setting in words.
    curve : CostCurve
    flat : (int, int)
        First and last month that cost hardly more than the least.
    kept : numpy.ndarray, shape (draws,)
        Money an ear in a year above the least, if the month least at the prices as set is kept; the best figure first.
    """

    group: str
    what: str
    curve: CostCurve
    flat: tuple[int, int]
    kept: np.ndarray

    @property
    def kept_costs(self) -> float:
        """Best figure of ``kept``."""
        return float(self.kept[0])

    @property
    def least(self) -> int:
        """Month that costs least."""
        return int(self.curve.months[self.curve.best])


@of_drawn_patients
def do_the_prices_decide(clinic: Clinic) -> Answer:
    """Weigh recall intervals again with each price and habit at half and at double.

    Parameters
    ----------
    clinic : Clinic
        Prices and today's interval are its settings.

    Returns
    -------
    Answer
        Without a figure where ``which_interval_costs_least`` has none.
    """
    try:
        found = recall_costs(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    settings = clinic.settings
    weighed = weighed_again(found, settings)
    return Answer(
        question=QUESTION,
        headline=_headline(weighed, settings),
        how_sure="Each line stands for one set of prices; its stretch is where costs cannot be told from the least, or hardly "
        f"differ from it. {words.how_sure(settings.level)} {WHICH_MONTHS}",
        table=pd.DataFrame([_row(each, settings.level) for each in weighed]),
        chart=_chart(weighed, settings),
        chart_title=_chart_title(weighed, settings),
        chart_text=_chart_text(weighed, settings),
        assumptions=(
            said_of_prices(settings.recall_cost),
            "One thing is changed at a time, everything else stays as set. Half the worth of a minute does the same to the month "
            "as double the worth of a day, so only the day's is shown.",
            "Whoever is called comes; minutes, success and how full ears are found stay this clinic's own.",
        ),
        cautions=CAUTIONS,
        checks=(_kept_check(weighed, settings),),
        basis=_basis(found),
        rows=tuple(row for each in weighed for row in _result_rows(each, found, settings)),
    )


def weighed_again(found: RecallCosts, settings: Settings) -> list[Weighed]:
    """Weigh every group's intervals with the prices as set, and with each thing at half and double.

    Parameters
    ----------
    found : RecallCosts
    settings : Settings

    Returns
    -------
    list of Weighed
        Group by group, the prices as set first.
    """
    cases = _cases(found.costs, settings)
    weighed = []
    for name, as_set in found.curves.items():
        for what, costs in cases.items():
            curve = as_set if what == AS_SET else cost_curve(found.shares[name], costs, as_set.months)
            kept = curve.cost[:, as_set.best] - curve.cost[:, curve.best]
            flat = curve.flat(settings.level, settings.recall_cost.within)
            weighed.append(Weighed(name, what, curve, flat, kept))
    return weighed


def _cases(costs: ReturnCosts, settings: Settings) -> dict[str, ReturnCosts]:
    """Give what visits and days cost in every case, by the case in words."""
    part, window = settings.recall_cost, settings.recall.symptom_window_days
    cases = {AS_SET: costs}
    for factor, spoken in FACTORS.items():
        price, slow, months = factor * costs.symptom_day, min(1.0, factor * part.slow_share), factor * SLOW_MONTHS
        cases |= {
            f"a day with an occluding ear at {spoken}, {price:.2f} {part.currency}": replace(costs, symptom_day=price),
            f"{spoken} as many people who put up with symptoms for long, {words.percent(slow)}": replace(
                costs, waits=people_waiting(slow, window, SLOW_MONTHS)
            ),
            f"the wait of people who put up with symptoms for long at {spoken}, up to {months:.0f} months": replace(
                costs, waits=people_waiting(part.slow_share, window, months)
            ),
            f"second visits and minutes of a fuller ear at {spoken}": _late_extra(costs, factor),
        }
    return cases


def _late_extra(costs: ReturnCosts, factor: float) -> ReturnCosts:
    """Make what an occluding ear costs above an open one so many times as much."""
    base = costs.open[:, None]
    return replace(
        costs, recalled=base + factor * (costs.recalled - base), troubled=base + factor * (costs.troubled - base)
    )


def _of(weighed: list[Weighed], name: str) -> list[Weighed]:
    """One group's cases, as set first."""
    return [each for each in weighed if each.group == name]


def _groups(weighed: list[Weighed]) -> list[str]:
    """Names of the groups, in order."""
    return list(dict.fromkeys(each.group for each in weighed))


def _headline(weighed: list[Weighed], settings: Settings) -> str:
    """Give the one sentence that answers."""
    said = []
    for name in _groups(weighed):
        cases = _of(weighed, name)
        low, high = min(each.least for each in cases), max(each.least for each in cases)
        end = f"{high} months" if high < int(cases[0].curve.months[-1]) else f"{high} months or more"
        said.append(f"anywhere from {low} to {end}{of_people(name)} ({cases[0].least} as set)")
    dearest = max(each.kept_costs for each in weighed)
    return (
        f"With each price and habit in turn at half or double, a recall costs least after {listed(said)}; keeping the months "
        f"as set would cost at most {words.number(dearest, 1)} {settings.recall_cost.currency} an ear in a year more than the "
        "least in any of these cases."
    )


def _chart(weighed: list[Weighed], settings: Settings) -> go.Figure:
    """Draw the least-cost month and its flat stretch, case by case; a thin line marks today's interval."""
    bars = [
        Bar(
            f"{_named(each, weighed)}, {each.what.replace(', ', ': ')}",
            float(each.least), float(each.flat[0]), float(each.flat[1]),
            RECOMMENDED if each.what == AS_SET else TODAY, f"{each.least} ({each.flat[0]} to {each.flat[1]})",
        )
        for each in weighed
    ]  # fmt: skip
    today = settings.recall.today_months
    title = "months between recalls: the least cost, and the<br>stretch that costs hardly more"
    if not today:
        return range_chart(bars, x_title=title, from_zero=True)
    return range_chart(bars, x_title=f"{title}; line: today's {today}", reference=float(today), from_zero=True)


def _named(each: Weighed, weighed: list[Weighed]) -> str:
    """Name a case's group at the head of its bar, which is split at commas."""
    return group_short(each.group, len(_groups(weighed))).replace(",", "").capitalize()


def _chart_title(weighed: list[Weighed], settings: Settings) -> str:
    """Say whether today's interval stays within the flat stretches; without one, how far the month moves."""
    today, many = settings.recall.today_months, len(weighed)
    if not today:
        low, high = min(each.least for each in weighed), max(each.least for each in weighed)
        return f"The least-cost month lies anywhere from {low} to {high}, by the prices taken"
    held = sum(each.flat[0] <= today <= each.flat[1] for each in weighed)
    return f"Today's {words.plural(today, 'month')} costs hardly more than the least in {held} of {many} cases"


def _chart_text(weighed: list[Weighed], settings: Settings) -> str:
    """Tell the chart in words."""
    told = []
    for name in _groups(weighed):
        cases = _of(weighed, name)
        far = max(cases, key=lambda each: abs(each.least - cases[0].least))
        told.append(
            f"{group_spoken(name).capitalize()}: least at {words.plural(cases[0].least, 'month')} as set; furthest from it, at "
            f"{far.least}, with {far.what}."
        )
    today = settings.recall.today_months
    beside = f", beside today's {words.plural(today, 'month')}" if today else ""
    return f"A dot and its stretch a case{beside}. {' '.join(told)}"


def _kept_check(weighed: list[Weighed], settings: Settings) -> Check:
    """Say in which case keeping the month as set costs most."""
    worst = max(weighed, key=lambda each: each.kept_costs)
    share = (
        worst.kept_costs / worst.curve.cost[0, worst.curve.best] if worst.curve.cost[0, worst.curve.best] else np.nan
    )
    more = "" if np.isnan(share) else f", {words.percent(share)} of the least"
    return Check(
        "What a wrong price costs",
        INFORMATION,
        f"Keeping the month as set costs most{of_people(worst.group)}, with {worst.what}: "
        f"{words.number(worst.kept_costs, 1)} {settings.recall_cost.currency} an ear in a year{more}.",
    )


def _row(each: Weighed, level: float) -> dict[str, object]:
    """Lay out one case."""
    return {
        "recall_group": group_spoken(each.group),
        "prices_case": each.what,
        "least_cost_months": each.least,
        "flat_low": each.flat[0],
        "flat_high": each.flat[1],
        "yearly_cost": float(each.curve.cost[0, each.curve.best]),
        "kept_costs_more": each.kept_costs,
        "kept_costs_low": each.curve.spread(each.kept, level)[0],
        "kept_costs_high": each.curve.spread(each.kept, level)[1],
    }


def _result_rows(each: Weighed, found: RecallCosts, settings: Settings) -> Iterable[ResultRow]:
    """Keep one case's month and what keeping the month as set costs in it."""
    level, n = settings.level, found.fitted.curves[each.group].ears
    low, high = (float(month) for month in each.flat)
    month = Estimate(float(each.least), low, high, level, n, "least yearly cost and flat region")
    low, high = each.curve.spread(each.kept, level)
    kept = Estimate(each.kept_costs, low, high, level, n, "inspection model, joint draws")
    of = {"group": each.group, "prices": each.what}
    yield ResultRow.from_estimate("recall", "least_cost_months_by_prices", "months", month, **of)
    yield ResultRow.from_estimate("recall", "kept_month_cost", "money", kept, **of)


def _basis(found: RecallCosts) -> Basis:
    """Say what the figures rest on."""
    method = "The inspection model of the least-cost recall, weighed again with one thing changed at a time."
    return recall_basis(found.fitted, method)
