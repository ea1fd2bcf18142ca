"""The few kinds of chart the suite draws; ranges are always drawn.

No chart carries a title: the finding is set as text above it, so that it wraps
on a phone and can be read aloud. Figures are rounded to six significant
digits, so that a re-run notebook compares equal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from analysis.present.theme import RECOMMENDED, blank_figure

ROW_HEIGHT = 44


@dataclass(frozen=True, slots=True)
class Bar:
    """One row of a range chart: its label, figure, range and colour."""

    label: str
    value: float
    low: float
    high: float
    colour: str = RECOMMENDED
    text: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a line chart, with a band around it where it has a range."""

    label: str
    x: Sequence
    y: Sequence[float]
    low: Sequence[float] | None = None
    high: Sequence[float] | None = None
    colour: str = RECOMMENDED
    dash: str = "solid"


def tidy(values: Sequence[float]) -> list[float]:
    """Round to six significant digits."""
    return [float(f"{value:.6g}") for value in np.asarray(values, dtype=float)]


def range_chart(
    bars: Sequence[Bar], *, x_title: str, reference: float | None = None, from_zero: bool = False
) -> go.Figure:
    """Draw one dot and its range a row, labelled on the left.

    Parameters
    ----------
    bars : sequence of Bar
        Top row first.
    x_title : str
        What the axis shows, with its unit.
    reference : float, optional
        Where a thin line marks no difference.
    from_zero : bool, optional
        Start the axis at nought, where length carries meaning.
    """
    figure = blank_figure(70 + ROW_HEIGHT * len(bars))
    for bar in bars:
        value, low, high = tidy([bar.value, bar.low, bar.high])
        figure.add_scatter(
            x=[value],
            y=[bar.label],
            mode="markers+text",
            text=[bar.text],
            textposition="top center",
            marker={"size": 11, "color": bar.colour},
            error_x={
                "type": "data",
                "symmetric": False,
                "array": [high - value],
                "arrayminus": [value - low],
                "color": bar.colour,
                "thickness": 3,
                "width": 0,
            },
            name=bar.label,
            hovertemplate="%{y}: %{x}<extra></extra>",
        )
    if reference is not None:
        figure.add_vline(x=reference, line={"width": 1, "color": "gray"})
    figure.update_yaxes(autorange="reversed", showgrid=False)
    figure.update_xaxes(title=x_title, rangemode="tozero" if from_zero else "normal")
    return figure


def line_chart(
    lines: Sequence[Line],
    *,
    x_title: str,
    y_title: str,
    height: int = 380,
    from_zero: bool = True,
    percent: bool = False,
) -> go.Figure:
    """Draw lines with their ranges as bands, each labelled at its right end.

    Parameters
    ----------
    lines : sequence of Line
    x_title, y_title : str
        What the axes show, with units.
    height : int, optional
        Pixels.
    from_zero : bool, optional
        Start the vertical axis at nought.
    percent : bool, optional
        Show the vertical axis as a percentage of one.
    """
    figure = blank_figure(height)
    for line in lines:
        if line.low is not None and line.high is not None:
            x = [*line.x, *list(line.x)[::-1]]
            y = [*tidy(line.high), *tidy(line.low)[::-1]]
            figure.add_scatter(
                x=x,
                y=y,
                fill="toself",
                fillcolor=line.colour,
                opacity=0.18,
                line={"width": 0},
                hoverinfo="skip",
                name=f"{line.label} range",
            )
        figure.add_scatter(
            x=list(line.x),
            y=tidy(line.y),
            mode="lines",
            line={"color": line.colour, "width": 3, "dash": line.dash},
            name=line.label,
        )
        figure.add_annotation(
            x=list(line.x)[-1],
            y=tidy(line.y)[-1],
            text=line.label,
            showarrow=False,
            xanchor="right",
            yanchor="bottom",
            font={"color": line.colour},
        )
    figure.update_xaxes(title=x_title)
    figure.update_yaxes(
        title=y_title, rangemode="tozero" if from_zero else "normal", tickformat=".0%" if percent else ""
    )
    return figure
