"""When to call people back: months until a chosen share of cleared ears is occluding again."""

from __future__ import annotations

from dataclasses import replace
from math import ceil

import numpy as np
import plotly.graph_objects as go

from analysis.answers import recall_checks as check
from analysis.answers import recall_words as say
from analysis.answers.drawn_patients import of_drawn_patients
from analysis.answers.recall_group_words import colours, group_short
from analysis.answers.recall_material import ages_used_check, clinic_gaps
from analysis.clinic import Clinic
from analysis.models.recall import MEDIAN, FittedRecall, fit_recall
from analysis.models.recall_curve import RecallCurve
from analysis.models.recall_evidence import EVERYONE
from analysis.planning.recall_policy import RecallRule, recall_rules
from analysis.present.answer import Answer, Basis, ResultRow, no_answer
from analysis.present.chart_recall import recall_chart
from analysis.present.charts import Line
from analysis.problems import NotEnough
from analysis.settings import RecallPart
from analysis.stats.time_families import Family

QUESTION = "When should people be called back?"
SHARES = (0.2, 0.3, 0.5)
SHORTEST_CHART_MONTHS = 18


@of_drawn_patients
def when_to_call_back(clinic: Clinic) -> Answer:
    """Say when cleared ears are occluding again, and when to call people back.

    Parameters
    ----------
    clinic : Clinic
        Its settings choose the share occluding at which to call back, the
        interval of today, the symptom window and how many ears a group needs.

    Returns
    -------
    Answer
        Without a figure where patients cannot be followed, nobody has come
        back, ears were not graded on return, or too few were.
    """
    settings = clinic.settings.recall
    try:
        fitted = _fitted(clinic, settings.symptom_window_days)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    rules = recall_rules(fitted, settings)
    return Answer(
        question=QUESTION,
        headline=say.headline(fitted, rules, settings),
        how_sure=say.how_sure(clinic.settings.level),
        table=say.table_groups(rules),
        chart=_chart(rules, settings),
        chart_title=say.chart_title(rules, settings),
        chart_text=say.chart_text(rules, settings),
        assumptions=say.assumptions(fitted, settings),
        cautions=say.CAUTIONS,
        checks=(
            *check.checks(fitted, rules, _other_windows(clinic, fitted.family), settings),
            *ages_used_check(clinic),
            *check.dates_check(clinic.visits, clinic.last_day),
        ),
        basis=_basis(fitted),
        rows=tuple(_rows(fitted, rules, settings)),
    )


def _fitted(clinic: Clinic, symptom_window_days: int, family: Family | None = None) -> FittedRecall:
    """Fit the curves with a symptom window; with a curve given, so that nothing moves but the window."""
    windowed = replace(clinic.settings.recall, symptom_window_days=symptom_window_days)
    return fit_recall(clinic_gaps(clinic, symptom_window_days), windowed, level=clinic.settings.level, family=family)


def _other_windows(clinic: Clinic, family: Family) -> dict[int, dict[str, RecallCurve] | None]:
    """Fit the curves with half and double the symptom window; None where that settles no curve."""
    window = clinic.settings.recall.symptom_window_days
    curves: dict[int, dict[str, RecallCurve] | None] = {}
    for other in (window // 2, window * 2):
        try:
            curves[other] = _fitted(clinic, other, family).curves
        except NotEnough:
            curves[other] = None
    return curves


def _basis(fitted: FittedRecall) -> Basis:
    """Say what the answer rests on."""
    return say.recall_basis(
        fitted,
        f"A {fitted.family.spoken} for times known only between two visits, with a share of patients who never return.",
    )


def _chart(rules: dict[str, RecallRule], settings: RecallPart) -> go.Figure:
    """Draw the share occluding again by months."""
    drawn = say.shown(rules)
    coloured = colours(list(drawn))
    watched = max(rule.curve.watched_months for rule in drawn.values())
    wanted = max(settings.today_months * 1.5, *(rule.months_until.value * 1.5 for rule in drawn.values()))
    months = np.arange(0, ceil(max(SHORTEST_CHART_MONTHS, min(wanted, watched))) + 0.5, 0.5)
    lines = []
    for name, rule in drawn.items():
        shares = [rule.curve.share_by(month) for month in months[1:]]
        lines.append(
            Line(
                group_short(name, len(drawn)),
                months.tolist(),
                [0.0, *(share.value for share in shares)],
                [0.0, *(share.low for share in shares)],
                [0.0, *(share.high for share in shares)],
                coloured[name],
            )
        )
    return recall_chart(lines, share=settings.share, today_months=settings.today_months)


def _rows(fitted: FittedRecall, rules: dict[str, RecallRule], settings: RecallPart) -> list[ResultRow]:
    """Keep the figures as results."""
    make = ResultRow.from_estimate
    rows = [
        make("recall", "weibull_shape", "", fitted.shape),
        make("recall", "return_share", "share", fitted.return_share),
        ResultRow(
            "recall",
            "known_before_share",
            {},
            fitted.known_before_share,
            None,
            None,
            None,
            "share",
            fitted.curves[EVERYONE].ears,
            "counted",
        ),
    ]
    if fitted.silent_share is not None:
        rows.append(make("recall", "only_at_recalls_share", "share", fitted.silent_share))
    for name, rule in rules.items():
        curve, group = rule.curve, {"group": name}
        rows.append(make("recall", "median_months", "months", curve.months_until(MEDIAN), **group))
        for share in sorted({*SHARES, settings.share}):
            months = curve.months_until(share)
            rows.append(make("recall", "months_until_share_occluded", "months", months, **group, share=share))
        rows.append(make("recall", "recall_months", "months", rule.recall_months, **group))
        today = {"months": settings.today_months}
        if rule.share_today is not None:
            rows.append(make("recall", "share_occluded_today", "share", rule.share_today, **group, **today))
    without = fitted.without_never or {}
    for name in [each for each in say.shown(rules) if each in without]:  # as the checks tell them
        months = without[name].months_until(settings.share)
        keys = {"group": name, "share": settings.share}
        rows.append(make("recall", "months_until_share_occluded_if_all_return", "months", months, **keys))
    return rows
