"""How many will come: visits, bookings and sessions of the months ahead."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.answers import demand_words as say
from analysis.answers.demand_figures import RANGES, Figures, Series, demand_figures
from analysis.answers.demand_trial_words import hidden_months
from analysis.clinic import Clinic
from analysis.present.answer import Answer, ResultRow, no_answer
from analysis.present.chart_forecast import Band, forecast_chart
from analysis.present.charts import Line
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

if TYPE_CHECKING:
    import plotly.graph_objects as go

QUESTION = "How many will come?"
MONTHS_SHOWN = 12
"""Past months drawn: the same months a year before are among them, and the months ahead stay wide enough on a phone."""
METHOD = "life table of returns, negative binomial new patients, drawn futures"
TRIED = "one to six months ahead, at month-ends"


def how_many_will_come(clinic: Clinic) -> Answer:
    """Forecast the visits and sessions of the coming months.

    Parameters
    ----------
    clinic : Clinic
        Its settings say how many months to look ahead, what a session holds
        and whether routine recalls follow the log or the owner's uptake.

    Returns
    -------
    Answer
        Without a figure where the log covers fewer than 6 whole months.
        Ranges are at 50, 80 and 95 %, whatever the clinic's own level.
    """
    try:
        figures = demand_figures(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    return Answer(
        question=QUESTION,
        headline=say.headline(figures),
        how_sure=say.how_sure(figures),
        table=_table(figures),
        chart=_chart(figures, clinic.settings.clinic.hide_below),
        chart_title=say.chart_title(figures),
        chart_text=say.chart_text(figures),
        assumptions=say.assumptions(figures, clinic.settings),
        cautions=say.cautions(figures),
        checks=say.checks(figures),
        basis=figures.basis(say.method(figures)),
        rows=(*_monthly_rows(figures), *_forecast_rows(figures), *_trial_rows(figures)),
    )


def _table(figures: Figures) -> pd.DataFrame:
    """List each month's visits by kind, bookings and sessions with their ranges."""
    lines = []
    for series in figures.series:
        columns = {"forecast_of": say.SERIES[series.code], "value": series.expected}
        for level in RANGES:
            low, high = series.range(level)
            name = round(100 * level)
            columns |= {f"low_{name}": low, f"high_{name}": high}
        months = [say.month_name(month) for month in figures.demand.months.ahead]
        lines.append(pd.DataFrame({"month": months, **columns}))
    by_month = pd.concat(lines).rename_axis("place").reset_index()
    return by_month.sort_values("place", kind="stable").drop(columns="place").reset_index(drop=True)


def _chart(figures: Figures, hide_below: int) -> go.Figure:
    """Draw what came and what is expected; months of too few visits to show are gaps."""
    months = figures.demand.months
    shown = slice(-MONTHS_SHOWN, None)
    bands = []
    for level, label, opacity in (
        (0.95, "outer: 19 months in 20", 0.16),
        (0.80, "middle: 8 months in 10", 0.22),
        (0.50, "inner: half of the months", 0.28),
    ):
        low, high = figures.total.range(level)
        bands.append(Band(label, low.tolist(), high.tolist(), opacity))
    past = figures.demand.past.sum(axis=1)[shown]
    hidden = hidden_months(pd.DataFrame({"month": months.whole[shown].astype(str), "came": past}), hide_below)
    came = np.where(hidden, np.nan, past).tolist()
    return forecast_chart(
        Line("came", _dates(months.whole[shown]), came, colour=TODAY),
        Line("expected", _dates(months.ahead), figures.total.expected.tolist(), colour=RECOMMENDED),
        bands,
        y_title="visits a month",
    )


def _dates(months: pd.PeriodIndex) -> list[str]:
    """Give months as dates a chart can place."""
    return [f"{month.start_time:%Y-%m-%d}" for month in months]


def _monthly_rows(figures: Figures) -> list[ResultRow]:
    """Keep an average month ahead, as headline and chart title say it."""
    n, (low, high) = len(figures.history.day), say.typical_range(figures.total, say.NARROW)
    ahead = Estimate(float(figures.total.expected.mean()), low, high, say.NARROW, n, METHOD)
    before, which = say.visits_before(figures)
    rows = [
        ResultRow.from_estimate("demand", "visits_a_month", "visits", ahead),
        ResultRow(
            "demand", "visits_a_month_before", {"months": which}, before, None, None, None, "visits", n, "counted"
        ),
    ]
    if figures.sessions is not None:
        needed = float(say.sessions_a_month(figures.sessions))
        rows.append(ResultRow("demand", "sessions_a_month", {}, needed, None, None, None, "sessions", n, METHOD))
    return rows


def _forecast_rows(figures: Figures) -> list[ResultRow]:
    """Keep every line of the forecast at every level."""
    extra = [] if figures.chair is None else [figures.chair]
    rows = []
    for series in (*figures.series, *extra):
        for level in RANGES:
            rows += _series_rows(series, figures, level)
    n = len(figures.history.day)
    for part, expected in figures.demand.parts.items():
        rows += [
            ResultRow(
                "demand",
                "expected_visits",
                {"month": str(month), "part": part},
                float(value),
                None,
                None,
                None,
                "visits",
                n,
                METHOD,
            )
            for month, value in expected.items()
        ]
    if figures.second_attempts is not None:
        share = figures.second_attempts
        rows.append(ResultRow("demand", "second_attempt_share", {}, share, None, None, None, "share", n, "life table"))
    return rows


def _series_rows(series: Series, figures: Figures, level: float) -> list[ResultRow]:
    """Keep one line of the forecast at one level."""
    low, high = series.range(level)
    rows = []
    for place, month in enumerate(figures.demand.months.ahead):
        group = {"month": str(month)} | ({"kind": series.code} if series.quantity == "visits" else {})
        value, ends = float(series.expected[place]), (float(low[place]), float(high[place]))
        estimate = Estimate(value, *ends, level, len(figures.history.day), METHOD)
        rows.append(ResultRow.from_estimate("demand", series.quantity, series.unit, estimate, **group))
    return rows


def _trial_rows(figures: Figures) -> list[ResultRow]:
    """Keep how the forecast did on the past."""
    if figures.used is None:
        return []
    rows = [
        ResultRow.from_estimate("demand", "backtest_coverage", "share", figures.used.coverage(level), level=level)
        for level in RANGES
    ]
    tried = figures.used.made
    for name, error in figures.used.scaled_errors().items():
        value = error if isfinite(error) else None
        group = {"against": name}
        rows.append(ResultRow("demand", "backtest_scaled_error", group, value, None, None, None, "ratio", tried, TRIED))
    return rows
