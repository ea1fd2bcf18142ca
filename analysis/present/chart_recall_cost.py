"""What a year of recall costs by its interval, with the flat stretch, the least and today marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import plotly.graph_objects as go

from analysis.present import words
from analysis.present.charts import Line, line_chart, tidy
from analysis.present.theme import QUIET

FLAT_WIDTH, FLAT_OPACITY = 10, 0.45


@dataclass(frozen=True, slots=True)
class Marked:
    """A line, its least month, and the first and last month that cost hardly more."""

    line: Line
    least: int
    flat: tuple[int, int]


def recall_cost_chart(curves: Sequence[Marked], *, today_months: int, currency: str) -> go.Figure:
    """Draw a curve a group, thick where it is flat, a dot at its least and an upright line at today's interval.

    Parameters
    ----------
    curves : sequence of Marked
        By months of the interval, in money.
    today_months : int
        Not marked where the curves end before, or begin after.
    currency : str

    Returns
    -------
    plotly.graph_objects.Figure
    """
    lines = [each.line for each in curves]
    first, last = min(line.x[0] for line in lines), max(line.x[-1] for line in lines)
    upright = today_months if first <= today_months <= last else None
    figure = line_chart(
        lines,
        x_title="recall interval in months<br>(thick: hardly dearer than the least)",
        y_title=f"{currency}, an ear in a year",
        upright=upright,
    )
    for each in curves:
        _mark(figure, each)
    if upright is not None:
        figure.add_annotation(
            text=f"today, {words.plural(today_months, 'month')}", x=today_months, xanchor="left", xshift=4, y=0,
            yanchor="bottom", showarrow=False, font={"size": 13, "color": QUIET},
        )  # fmt: skip
    return figure


def _mark(figure: go.Figure, curve: Marked) -> None:
    """Thicken the flat stretch and put a dot at the least."""
    line, (low, high) = curve.line, curve.flat
    flat = [(x, y) for x, y in zip(line.x, tidy(line.y), strict=True) if low <= x <= high]
    figure.add_scatter(
        x=[x for x, _ in flat], y=[y for _, y in flat], mode="lines", opacity=FLAT_OPACITY, hoverinfo="skip",
        line={"width": FLAT_WIDTH, "color": line.colour}, name=f"{line.label} flat stretch",
    )  # fmt: skip
    least = [(x, y) for x, y in flat if x == curve.least]
    figure.add_scatter(
        x=[x for x, _ in least], y=[y for _, y in least], mode="markers", name=f"{line.label} least",
        marker={"size": 12, "color": line.colour},
        hovertemplate=f"{line.label}: least at %{{x}} months<extra></extra>",
    )  # fmt: skip
