"""Softening's tables, chart and result rows."""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite

import pandas as pd
import plotly.graph_objects as go

from analysis.answers.softening_words import ESTIMATORS, needed_cell
from analysis.models.softening import AsAdvised, SofteningFit
from analysis.present.answer import ResultRow
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.stats.effects import (
    UNCLEAR,
    arm_mean,
    arm_share,
    e_value,
    mean_difference,
    number_needed,
    risk_ratio,
)
from analysis.stats.estimate import Estimate
from analysis.stats.two_arms import TREATED, UNTREATED, TwoArms

SECTION = "softening"
COLOURS = {"unadjusted": TODAY, "standardised": RECOMMENDED}
ARM_NAMES = {TREATED: "softened", UNTREATED: "not_softened"}


def success_table(fits: dict[str, SofteningFit]) -> pd.DataFrame:
    """Lay the comparisons of success side by side, one a row."""
    rows = []
    for fit, estimator, arms in _compared(fits):
        difference = mean_difference(arms, fit.level)
        more = difference.scaled(100)
        rows.append(
            {
                "softening": fit.contrast,
                "compared": ESTIMATORS[estimator],
                "ears_with": arms.n_treated,
                "ears_without": arms.n_untreated,
                "share_with": arms.treated,
                "share_without": arms.untreated,
                "more_in_100": more.value,
                "low": more.low,
                "high": more.high,
                "risk_ratio": risk_ratio(arms, fit.level).value,
                "number_needed": needed_cell(number_needed(difference)),
            }
        )
    return pd.DataFrame(rows)


def minutes_table(fits: dict[str, SofteningFit]) -> pd.DataFrame:
    """Lay the comparisons of minutes side by side, one a row."""
    rows = []
    for fit, estimator, arms in _compared(fits):
        saved = mean_difference(arms, fit.level).scaled(-1)
        rows.append(
            {
                "softening": fit.contrast,
                "compared": ESTIMATORS[estimator],
                "visits_with": arms.n_treated,
                "visits_without": arms.n_untreated,
                "minutes_with": arms.treated,
                "minutes_without": arms.untreated,
                "saved_minutes": saved.value,
                "low": saved.low,
                "high": saved.high,
            }
        )
    return pd.DataFrame(rows)


def difference_chart(fits: dict[str, SofteningFit], scale: float, x_title: str) -> go.Figure:
    """Draw every difference with its range, and a line at none."""
    bars = []
    for fit, estimator, arms in _compared(fits):
        difference = mean_difference(arms, fit.level).scaled(scale)
        label = f"{fit.contrast.capitalize()}, {ESTIMATORS[estimator]}"
        bars.append(Bar(label, difference.value, difference.low, difference.high, COLOURS[estimator]))
    return range_chart(bars, x_title=x_title, reference=0.0)


def chart_text(fits: dict[str, SofteningFit], say: Callable[[Estimate], str], *, scale: float = 1.0) -> str:
    """Tell the chart in words."""
    told = [
        f"softening {fit.contrast}, {ESTIMATORS[estimator]}: {say(mean_difference(arms, fit.level).scaled(scale))}"
        for fit, estimator, arms in _compared(fits)
    ]
    return f"Differences with their ranges, beside a line at no difference. {'; '.join(told).capitalize()}."


def success_rows(fit: SofteningFit) -> list[ResultRow]:
    """Give every figure on success as ``results.json`` keeps it."""
    rows = arms_rows(fit.arms, fit.contrast, fit.level)
    alike = risk_ratio(fit.arms["standardised"], fit.level)
    hidden, group = e_value(alike), {"contrast": fit.contrast, "estimator": "standardised"}
    method = "E-value of the risk ratio; low is that of the end of its range nearest 1"
    value, low = hidden.value, hidden.for_range
    rows.append(ResultRow(SECTION, "e_value", group, value, low, None, fit.level, "ratio", alike.n, method))
    return rows


def arms_rows(of_arms: dict[str, TwoArms], contrast: str, level: float) -> list[ResultRow]:
    """Give both shares, their difference, ratio and number needed, estimator by estimator."""
    rows = []
    for estimator, arms in of_arms.items():
        group = {"contrast": contrast, "estimator": estimator}
        for arm, name in ARM_NAMES.items():
            share = arm_share(arms, arm, level)
            rows.append(ResultRow.from_estimate(SECTION, "success_share", "share", share, **group, arm=name))
        difference, ratio = mean_difference(arms, level), risk_ratio(arms, level)
        rows.append(ResultRow.from_estimate(SECTION, "risk_difference", "share", difference, **group))
        rows.append(ResultRow.from_estimate(SECTION, "risk_ratio", "ratio", ratio, **group))
        rows += _needed_rows(difference, group)
    return rows


def _needed_rows(difference: Estimate, group: dict[str, str]) -> list[ResultRow]:
    """Give the number needed: one row with its range, or one a side where the range holds none."""
    needed = number_needed(difference)
    sides: dict[str, tuple[float | None, float | None, float | None]]
    if needed.form == UNCLEAR:
        sides = {"benefit": (needed.benefit_from, None, None), "harm": (needed.harm_from, None, None)}
        method = "no clear difference: the range runs from this many, through none, to the other side's many"
    else:
        sides = {needed.form: (needed.value, needed.low, needed.high)}
        method = "inverse of the risk difference and of its ends"
    return [
        ResultRow(
            SECTION,
            "number_needed_to_treat",
            {**group, "form": needed.form, "side": side},
            value if value is not None and isfinite(value) else None,
            low,
            high,
            difference.level,
            "ears",
            difference.n,
            method,
        )
        for side, (value, low, high) in sides.items()
    ]


def did_as_advised_rows(did: AsAdvised) -> list[ResultRow]:
    """Give the shares that softened, advised or not."""
    shares = {True: did.used_if_advised, False: did.used_if_not}
    return [
        ResultRow.from_estimate(SECTION, "used_share", "share", share, advised=advised)
        for advised, share in shares.items()
        if share is not None
    ]


def minutes_rows(fit: SofteningFit) -> list[ResultRow]:
    """Give every figure on minutes as ``results.json`` keeps it."""
    rows = []
    for estimator, arms in fit.arms.items():
        group = {"contrast": fit.contrast, "estimator": estimator}
        for arm, name in ARM_NAMES.items():
            mean = arm_mean(arms, arm, fit.level)
            rows.append(ResultRow.from_estimate(SECTION, "visit_minutes", "minutes", mean, **group, arm=name))
        saved = mean_difference(arms, fit.level).scaled(-1)
        rows.append(ResultRow.from_estimate(SECTION, "minutes_saved", "minutes", saved, **group))
    return rows


def _compared(fits: dict[str, SofteningFit]) -> list[tuple[SofteningFit, str, TwoArms]]:
    """List every comparison: contrast by contrast, as they are and then like with like."""
    return [(fit, estimator, arms) for fit in fits.values() for estimator, arms in fit.arms.items()]
