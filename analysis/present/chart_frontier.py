"""Waiting against the room's idle and overtime minutes: templates as points, two of them marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import plotly.graph_objects as go

from analysis.present.chart_rows import plain
from analysis.present.charts import tidy
from analysis.present.theme import FAINT, INK, QUIET, blank_figure, lettering
from analysis.stats.estimate import Estimate

HEIGHT = 420
APART = 0.1
"""Share of the chart by which figures beside points keep apart."""


@dataclass(frozen=True, slots=True)
class FrontierPoint:
    """One template of the frontier: its waiting, its room minutes, patients seen."""

    wait: Estimate
    room: Estimate
    patients: float
    said: str


@dataclass(frozen=True, slots=True)
class MarkedPoint:
    """A template marked by name, with the ranges of both its figures."""

    label: str
    wait: Estimate
    room: Estimate
    colour: str


def frontier_chart(
    points: Sequence[FrontierPoint], marked: Sequence[MarkedPoint], *, x_title: str, y_title: str
) -> go.Figure:
    """Draw the frontier as joined points, and marked templates with their ranges.

    Parameters
    ----------
    points : sequence of FrontierPoint
        In order of waiting.
    marked : sequence of MarkedPoint
    x_title, y_title : str
        What the axes show, with units; the vertical one stands above the chart, unturned.

    Returns
    -------
    plotly.graph_objects.Figure
        Patients seen stand beside points that lie apart.
    """
    figure = blank_figure(HEIGHT)
    figure.update_layout(margin={"t": 40})
    figure.add_scatter(
        x=tidy([each.wait.value for each in points]),
        y=tidy([each.room.value for each in points]),
        error_x=_bars([each.wait for each in points], FAINT, 1.5),
        error_y=_bars([each.room for each in points], FAINT, 1.5),
        mode="lines+markers",
        line={"color": QUIET, "width": 1.5},
        marker={"size": 7, "color": QUIET},
        text=[plain(each.said) for each in points],
        hovertemplate="%{text}<extra></extra>",
        name="frontier",
    )
    for one in _spread(points, marked):
        figure.add_annotation(
            x=tidy([one.wait.value])[0],
            y=tidy([one.room.value])[0],
            text=f"{one.patients:.1f}",
            xanchor="left",
            yanchor="bottom",
            xshift=3,
            yshift=2,
            font={"size": 12, "color": QUIET},
        )
    for each in marked:
        _mark(figure, each)
    figure.add_annotation(
        text=y_title, xref="paper", yref="paper", x=0, y=1, xanchor="left", yanchor="bottom", yshift=14,
        font={"size": 13, "color": QUIET},
    )  # fmt: skip
    figure.update_xaxes(title=x_title, rangemode="tozero", showline=True, linecolor=FAINT)
    figure.update_yaxes(rangemode="tozero")
    return figure


def _spread(points: Sequence[FrontierPoint], marked: Sequence[MarkedPoint]) -> list[FrontierPoint]:
    """Choose the points whose patients can be written beside them without touching another figure."""
    widest = max((each.wait.value for each in points), default=1.0) or 1.0
    highest = max((each.room.value for each in points), default=1.0) or 1.0
    taken = [(each.wait.value / widest, each.room.value / highest) for each in marked]
    chosen = []
    for one in points:
        place = (one.wait.value / widest, one.room.value / highest)
        if all(abs(place[0] - x) > APART or abs(place[1] - y) > APART for x, y in taken):
            taken.append(place)
            chosen.append(one)
    return chosen


def _bars(figures: Sequence[Estimate], colour: str, thickness: float) -> dict:
    """Draw ranges as bars without ends."""
    return {
        "type": "data", "symmetric": False, "color": colour, "thickness": thickness, "width": 0,
        "array": tidy([each.high - each.value for each in figures]),
        "arrayminus": tidy([each.value - each.low for each in figures]),
    }  # fmt: skip


def _mark(figure: go.Figure, one: MarkedPoint) -> None:
    """Mark one template with its ranges and its name."""
    bars = {axis: _bars([each], one.colour, 3) for axis, each in (("error_x", one.wait), ("error_y", one.room))}
    figure.add_scatter(
        x=tidy([one.wait.value]),
        y=tidy([one.room.value]),
        mode="markers",
        marker={"size": 14, "color": one.colour, "line": {"width": 1, "color": INK}},
        name=one.label,
        hovertemplate=f"{plain(one.label)}<extra></extra>",
        **bars,
    )
    figure.add_annotation(
        x=tidy([one.wait.value])[0],
        y=tidy([one.room.value])[0],
        text=plain(one.label),
        xanchor="left",
        yanchor="bottom",
        xshift=8,
        yshift=5,
        font={"color": lettering(one.colour)},
    )
