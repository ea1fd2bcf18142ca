"""Did past forecasts hold: the forecast made again at every month's end, beside what came."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.answers import demand_trial_parts as parts
from analysis.answers import demand_trial_words as say
from analysis.answers.demand_figures import RANGES, Figures, demand_figures, full_backtest
from analysis.answers.demand_words import SERIES
from analysis.clinic import Clinic
from analysis.models.demand_backtest import LATEST_ORIGINS, Backtest, led_by
from analysis.present.answer import Answer, ResultRow, no_answer
from analysis.present.chart_forecast import Band
from analysis.present.chart_foretold import foretold_chart
from analysis.present.charts import Line
from analysis.present.theme import INK, RECOMMENDED
from analysis.problems import NotEnough
from analysis.stats.proportions import wilson_share

if TYPE_CHECKING:
    import plotly.graph_objects as go

QUESTION = "Did past forecasts hold?"
SECTION = "demand_trial"
METHOD = "forecast made again at month-ends"
SHARED = "forecast made again at month-ends; no range, as forecasts from neighbouring month-ends share months"
OWN_LEVEL = 0.95


def did_past_forecasts_hold(clinic: Clinic, *, every_month_end: bool = False) -> Answer:
    """Set the forecasts that would have been made at past month-ends beside what came.

    Parameters
    ----------
    clinic : Clinic
    every_month_end : bool, optional
        Go back to the log's first half-year however long the log is, which
        takes longer; otherwise at most the latest 36 month-ends are used.

    Returns
    -------
    Answer
        Without a figure where the log covers fewer than 7 whole months.
    """
    try:
        figures = demand_figures(clinic)
        own = _own_trial(figures, every_month_end=every_month_end)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    leads, hide_below = figures.leads, clinic.settings.clinic.hide_below
    trial = own if leads is None else led_by(own, leads.method)
    of_parts = parts.parts_tried(trial.parts, hide_below)
    return Answer(
        question=QUESTION,
        headline=say.headline(trial),
        how_sure=say.how_sure(trial, own, leads),
        table=pd.concat([_table(trial), parts.parts_table(of_parts)], ignore_index=True),
        chart=_chart(trial, hide_below),
        chart_title=say.chart_title(trial),
        chart_text=say.chart_text(trial, hide_below),
        assumptions=say.assumptions(own, leads),
        cautions=say.cautions(own, len(figures.demand.months.whole)),
        checks=(*say.checks(own), parts.parts_check(of_parts)),
        basis=figures.basis(say.method(trial)),
        rows=(
            *_month_rows(trial),
            *_year_rows(trial, hide_below),
            *_ahead_rows(trial),
            *_beside_rows(own),
            *parts.parts_rows(of_parts),
        ),
    )


def _own_trial(figures: Figures, *, every_month_end: bool) -> Backtest:
    """Give the trial of the forecast by returns made already, or go further back where the log and the caller ask for it."""
    if figures.backtest is None or (every_month_end and figures.backtest.made >= LATEST_ORIGINS):
        return full_backtest(figures)
    return figures.backtest


def _table(trial: Backtest) -> pd.DataFrame:
    """List misses, coverage and width by months ahead, and the misses beside the simple methods'."""
    found = trial.by_months_ahead()
    table = pd.DataFrame(
        {
            "forecast_of": SERIES["all"],
            "months_ahead": found.index.astype("str"),
            "forecasts_tried": found["forecasts"].to_numpy(),
            "came_above_forecast": found["bias"].to_numpy(),
            "typical_miss": found["typical_miss"].to_numpy(),
        }
    )
    for level in (round(100 * each) for each in RANGES):
        table[f"inside_{level}_share"] = (found[f"inside_{level}"] / found["forecasts"]).to_numpy()
        if level == parts.WIDTH_OF:
            table[f"width_{level}"] = found[f"width_{level}"].to_numpy()
    for method in trial.scaled_errors():
        errors = [trial.scaled_errors(int(ahead)).get(method, np.nan) for ahead in found.index]
        table[f"times_{method}"] = [error if isfinite(error) else np.nan for error in errors]
    return table


def _chart(trial: Backtest, hide_below: int) -> go.Figure:
    """Draw the last year's months beside what had been forecast for each; months of too few visits to show have no dot."""
    months = trial.months
    dates = [f"{month}-01" for month in months["month"]]
    bands = [
        Band(label, months[f"low_{level}"].tolist(), months[f"high_{level}"].tolist(), opacity)
        for level, label, opacity in (
            (95, "outer bar: 19 months in 20", 0.18),
            (80, "middle: 8 months in 10", 0.26),
            (50, "inner: half of the months", 0.34),
        )
    ]
    return foretold_chart(
        Line("stroke: expected a month before", dates, months["expected"].tolist(), colour=RECOMMENDED),
        Line("dot: came", dates, months["came"].mask(say.hidden_months(months, hide_below)).tolist(), colour=INK),
        bands,
        y_title="visits a month",
    )


def _month_rows(trial: Backtest) -> list[ResultRow]:
    """Keep how many months were forecast a month before, and how many came within each range and outside the wide one."""
    tried = len(trial.months)
    within = {level: say.months_inside(trial, level) for level in (say.NARROW, say.WIDE)}
    counts = [({"level": level}, many) for level, many in within.items()] + [
        ({"level": "outside"}, tried - within[say.WIDE])
    ]
    miss, share = say.month_miss(trial)
    return [
        _plain_row("month_miss", {}, miss, "visits", tried),
        _plain_row("month_miss_share", {}, share, "share", tried),
        _plain_row("months_tried", {}, float(tried), "months", tried),
        *(_plain_row("months_within", group, float(many), "months", tried) for group, many in counts),
    ]


def _year_rows(trial: Backtest, hide_below: int) -> list[ResultRow]:
    """Keep the last year's months: what came, unless too few to show, and what had been forecast a month before."""
    rows, marks = [], say.hidden_months(trial.months, hide_below)
    for each, hidden in zip(trial.months.to_dict("records"), marks, strict=True):
        group, expected = {"month": each["month"]}, float(each["expected"])
        came = None if hidden else float(each["came"])
        rows.append(ResultRow(SECTION, "came", group, came, None, None, None, "visits", None, "counted"))
        for level in RANGES:
            low, high = (float(each[f"{end}_{round(100 * level)}"]) for end in ("low", "high"))
            low, high = min(low, expected), max(high, expected)
            rows.append(ResultRow(SECTION, "foretold", group, expected, low, high, level, "visits", None, METHOD))
    return rows


def _ahead_rows(trial: Backtest) -> list[ResultRow]:
    """Keep misses, coverage and width by months ahead."""
    rows = []
    for found in trial.by_months_ahead().reset_index().to_dict("records"):
        ahead, many = int(found["steps"]), int(found["forecasts"])
        group = {"months_ahead": ahead}
        rows += [_plain_row(name, group, float(found[name]), "visits", many) for name in ("bias", "typical_miss")]
        for level in RANGES:
            name, within = round(100 * level), {"level": level, "months_ahead": ahead}
            inside = wilson_share(int(found[f"inside_{name}"]), many, OWN_LEVEL)
            rows.append(ResultRow.from_estimate(SECTION, "coverage", "share", inside, **within))
            if name == parts.WIDTH_OF:
                rows.append(_plain_row("range_width", within, float(found[f"width_{name}"]), "visits", many))
        for against, error in trial.scaled_errors(ahead).items():
            value = error if isfinite(error) else None
            rows.append(_plain_row("scaled_error", {"against": against, **group}, value, "ratio", many))
    return rows


def _plain_row(name: str, group: dict, value: float | None, unit: str, many: int) -> ResultRow:
    """Keep a figure that has no range."""
    return ResultRow(SECTION, name, group, value, None, None, None, unit, many, SHARED)


def _beside_rows(trial: Backtest) -> list[ResultRow]:
    """Keep how often chance alone would put each simple method as far ahead."""
    return [
        ResultRow(
            SECTION, "chance_simple_ahead", {"against": each.method}, each.chance, None, None, None, "share", each.months,
            "t test of monthly differences, by slow waves",
        )
        for each in trial.beside()
    ]  # fmt: skip
