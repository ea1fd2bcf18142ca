"""How long visits take: before any ear is worked on, and for each ear by grade and first method."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from analysis.answers import visit_time_words as say
from analysis.answers.booking_words import category_name, expected_table
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.visit_log import VisitLog, timed_visits, visit_basis, visit_log
from analysis.answers.visit_time_rounded import rounded_said
from analysis.clinic import Clinic
from analysis.models.booking_minutes import booking_quantiles
from analysis.models.fitted_visit_time import METHOD
from analysis.present.answer import Answer, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import GRADE_BLUES, RECOMMENDED
from analysis.problems import NotEnough

QUESTION = "How long do visits take?"


@of_drawn_patients
def how_long_do_visits_take(clinic: Clinic) -> Answer:
    """Say how long a visit takes before any ear is worked on, and what each ear adds.

    Parameters
    ----------
    clinic : Clinic
        Its settings choose which minutes are plausible and how many visits a
        grade and first method needs for a figure.

    Returns
    -------
    Answer
        By kind of booking alone where the log grades no ears. Without a figure
        where visits have no minutes of their own. Rows: ``overhead_minutes``,
        ``added_minutes``, ``minutes_quantile``, ``coverage_held_out``.
    """
    try:
        log = visit_log(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    basis = visit_basis(clinic, log, say.METHOD)
    within = booking_quantiles(log.fitted, log.expected, rng=log.rng)
    return Answer(
        question=QUESTION,
        headline=say.headline(log, basis, within),
        how_sure=say.how_sure(log),
        table=_table(log),
        chart=_chart(log, within),
        chart_title=say.chart_title(log, within),
        chart_text=say.chart_text(log, within),
        assumptions=(*say.assumptions(clinic, log), *filter(None, [rounded_said(clinic, timed_visits(clinic))])),
        cautions=say.CAUTIONS,
        checks=say.checks(log),
        basis=basis,
        rows=tuple(_rows(log, within)),
    )


def _table(log: VisitLog) -> pd.DataFrame:
    """List what each ear adds; without grades, the minutes of each booking category."""
    added = log.fitted.added
    if added.empty:
        return expected_table(log)
    table = added.rename(columns={"minutes": "added_minutes"}).drop(columns="visits")
    method = table["first_method"].astype("object").where(table["first_method"].notna(), say.NOT_RECORDED)
    return table.assign(first_method=method)


def _chart(log: VisitLog, within: say.Within) -> go.Figure:
    """Draw the overhead and what ears add; without grades, what 8 in 10 visits stay within."""
    fitted = log.fitted
    if fitted.added.empty:
        return range_chart(
            _expected_bars(log, within), x_title="minutes that 8 in 10 visits stay within", from_zero=True
        )
    bars = []
    if fitted.overhead is not None:
        one = fitted.overhead
        bars.append(Bar("before any ear is worked on", one.value, one.low, one.high, RECOMMENDED))
    for row in say.with_figure(fitted).to_dict("records"):
        label = say.ear_name(row["grade"], row["first_method"])
        bars.append(Bar(label, row["minutes"], row["low"], row["high"], GRADE_BLUES[row["grade"]]))
    whole = fitted.overhead is None
    return range_chart(bars, x_title="minutes of the visit for each ear" if whole else "minutes", from_zero=True)


def _expected_bars(log: VisitLog, within: say.Within) -> list[Bar]:
    """Give one row a booking category."""
    bars = []
    for name in log.expected.categories.index:
        one = within[name, 0.8]
        bars.append(Bar(category_name(log.expected, name), one.value, one.low, one.high))
    return bars


def _rows(log: VisitLog, within: say.Within) -> list[ResultRow]:
    """Keep the figures as results; what is too rare for one has a row without."""
    make, fitted = ResultRow.from_estimate, log.fitted
    rows = []
    if fitted.overhead is not None:
        rows.append(make("visit_time", "overhead_minutes", "minutes", fitted.overhead))
    for row in fitted.added.to_dict("records"):
        value, low, high = (_known(row[name]) for name in ("minutes", "low", "high"))
        group = {"grade": row["grade"], "method": None if pd.isna(row["first_method"]) else row["first_method"]}
        many = int(row["ears"])
        rows.append(
            ResultRow("visit_time", "added_minutes", group, value, low, high, fitted.level, "minutes", many, METHOD)
        )
    for (name, share), figure in within.items():
        rows.append(make("visit_time", "minutes_quantile", "minutes", figure, booking=name, q=share))
    covered = log.expected.held_out.items()
    return rows + [make("visit_time", "coverage_held_out", "share", found, q=share) for share, found in covered]


def _known(figure: float) -> float | None:
    """Give a figure, or nothing where there is none."""
    return None if pd.isna(figure) else float(figure)
