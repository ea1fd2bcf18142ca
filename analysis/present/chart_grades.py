"""How full ears are found as months go by: a line a grade, beside the shares seen."""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go

from analysis.present.charts import Line, line_chart, tidy


def grades_chart(lines: Sequence[Line], seen: Sequence[tuple[Sequence[float], Sequence[float]]]) -> go.Figure:
    """Draw a fitted line with its band a grade, and dots for what was seen in groups of months.

    Parameters
    ----------
    lines : sequence of Line
        By months since clearance, shares between 0 and 1.
    seen : sequence of (months, shares)
        One a line.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    figure = line_chart(
        lines, x_title="months since the ear was cleared<br>(dots: shares seen)", y_title="share of ears seen again",
        percent=True,
    )  # fmt: skip
    for line, (months, shares) in zip(lines, seen, strict=True):
        figure.add_scatter(
            x=tidy(months), y=tidy(shares), mode="markers", name=f"{line.label} seen",
            marker={"size": 8, "color": line.colour, "symbol": "circle-open", "line": {"width": 2}},
            hovertemplate=f"{line.label}, seen: %{{y:.0%}}<extra></extra>",
        )  # fmt: skip
    return figure
