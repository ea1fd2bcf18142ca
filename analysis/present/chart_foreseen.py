"""Fitted shares against those seen: dots on the slanting line fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import plotly.graph_objects as go

from analysis.present.charts import DOTTED, tidy
from analysis.present.theme import FAINT, QUIET, blank_figure


@dataclass(frozen=True, slots=True)
class Dots:
    """Shares of one state: fitted, and seen with their ranges."""

    label: str
    fitted: Sequence[float]
    seen: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    colour: str
    symbol: str


def foreseen_chart(states: Sequence[Dots]) -> go.Figure:
    """Draw fitted shares along, seen shares up; a dotted line where both are alike.

    Parameters
    ----------
    states : sequence of Dots

    Returns
    -------
    plotly.graph_objects.Figure
        A trace a state, named in the legend above.
    """
    most = 1.05 * max([*(max(each.high) for each in states), *(max(each.fitted) for each in states)])
    figure = blank_figure(430)
    figure.update_layout(
        margin={"t": 78},
        showlegend=True,
        legend={"orientation": "h", "x": 0, "y": 1.0, "yanchor": "bottom", "xanchor": "left", "yref": "paper"},
    )
    figure.add_shape(type="line", x0=0, y0=0, x1=most, y1=most, line=DOTTED, layer="below")
    for each in states:
        value, low, high = (tidy(part) for part in (each.seen, each.low, each.high))
        figure.add_scatter(
            x=tidy(each.fitted), y=value, mode="markers", name=each.label,
            marker={"size": 9, "color": each.colour, "symbol": each.symbol, "line": {"width": 1, "color": QUIET}},
            error_y={
                "type": "data", "symmetric": False, "color": each.colour, "thickness": 1.5, "width": 0,
                "array": tidy([end - at for end, at in zip(high, value, strict=True)]),
                "arrayminus": tidy([at - end for end, at in zip(low, value, strict=True)]),
            },
            hovertemplate=f"{each.label}: fitted %{{x:.0%}}, seen %{{y:.0%}}<extra></extra>",
        )  # fmt: skip
    figure.update_xaxes(title="share fitted", tickformat=".0%", range=[0, most], showline=True, linecolor=FAINT)
    figure.update_yaxes(title="share seen", tickformat=".0%", range=[0, most])
    return figure
