"""A fitted curve beside what was seen with no shape assumed."""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go

from analysis.present.charts import Line, line_chart, tidy
from analysis.present.theme import TODAY


def fit_chart(
    fitted: Sequence[Line], months: Sequence[float], seen: Sequence[float], low: Sequence[float], high: Sequence[float]
) -> go.Figure:
    """Draw fitted lines over dots with their ranges.

    Parameters
    ----------
    fitted : sequence of Line
        By months since clearance, shares between 0 and 1.
    months, seen, low, high : sequence of float
        The dots and the ends of their ranges.

    Returns
    -------
    plotly.graph_objects.Figure
        A trace a line, and one for the dots.
    """
    figure = line_chart(
        fitted,
        x_title="months since the ear was cleared<br>(dots: no shape assumed)",
        y_title="share occluding again",
        percent=True,
    )
    value, below, above = (tidy(each) for each in (seen, low, high))
    figure.add_scatter(
        x=list(months), y=value, mode="markers", name="no shape assumed",
        marker={"size": 7, "color": TODAY, "symbol": "circle-open", "line": {"width": 2}},
        error_y={
            "type": "data", "symmetric": False, "color": TODAY, "thickness": 1.5, "width": 0,
            "array": tidy([end - at for end, at in zip(above, value, strict=True)]),
            "arrayminus": tidy([at - end for end, at in zip(below, value, strict=True)]),
        },
        hovertemplate="no shape assumed: %{y:.0%}<extra></extra>",
    )  # fmt: skip
    return figure
