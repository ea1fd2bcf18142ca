"""A forecast beside what came: one line behind, one ahead with two bands around it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from analysis.present.charts import Line, plain, tidy
from analysis.present.theme import FAINT, PAPER, QUIET, blank_figure, lettering

HEADROOM = 1.32
"""The vertical axis reaches this much above the highest mark, so that the words stand clear of it."""
NAME_SPANS = 4
"""Months that the name of what came covers on a phone."""


@dataclass(frozen=True, slots=True)
class Band:
    """A range around the forecast: its name, its ends and how dark it is drawn."""

    label: str
    low: Sequence[float]
    high: Sequence[float]
    opacity: float


def forecast_chart(
    past: Line, ahead: Line, bands: Sequence[Band], *, y_title: str, height: int = 400, weekly: bool = False
) -> go.Figure:
    """Draw what came as one line and what is expected as another within its ranges.

    Parameters
    ----------
    past, ahead : Line
        What came and what is expected, by dates in order.
    bands : sequence of Band
        Ranges of the forecast over the dates of ``ahead``, the widest first.
    y_title : str
        What the vertical axis shows, with its unit; it stands above the chart.
    height : int, optional
        Pixels.
    weekly : bool, optional
        Dates are first days of weeks, not of months.

    Returns
    -------
    plotly.graph_objects.Figure
        A trace for each band, then one for each line. The bands are named
        under the forecast's name, top right, as they are too narrow on a phone
        to be written on.
    """
    figure = blank_figure(height)
    figure.update_layout(margin={"t": 34})
    for band in bands:
        figure.add_scatter(
            x=[*ahead.x, *list(ahead.x)[::-1]], y=[*tidy(band.high), *tidy(band.low)[::-1]], fill="toself",
            fillcolor=ahead.colour, opacity=band.opacity, line={"width": 0}, mode="lines", hoverinfo="skip",
            name=band.label,
        )  # fmt: skip
    for line in (past, ahead):
        _add_line(figure, line, weekly=weekly)
    top = HEADROOM * float(np.nanmax([*past.y, *ahead.y, *(each for band in bands for each in band.high)]))
    _add_names(figure, past, ahead, bands)
    figure.add_annotation(
        text=y_title, xref="paper", yref="paper", x=0, y=1, xanchor="left", yanchor="bottom", yshift=10,
        font={"size": 13, "color": QUIET},
    )  # fmt: skip
    figure.update_xaxes(showline=True, linecolor=FAINT, tickformat="%b\n%Y")
    figure.update_yaxes(range=tidy([0.0, top]))
    return figure


def _add_line(figure: go.Figure, line: Line, *, weekly: bool) -> None:
    """Draw one line with a dot a month or a week."""
    figure.add_scatter(
        x=list(line.x),
        y=tidy(line.y),
        mode="lines+markers",
        line={"color": line.colour, "width": 3, "dash": line.dash},
        marker={"size": 4 if weekly else 6, "color": line.colour},
        name=line.label,
        hovertemplate=f"%{{x|{'week of %-d %B %Y' if weekly else '%B %Y'}}}: %{{y:.0f}} {plain(line.label)}<extra></extra>",
    )


def _add_names(figure: go.Figure, past: Line, ahead: Line, bands: Sequence[Band]) -> None:
    """Name what came under its line, and the forecast with its bands top right."""
    place = len(past.y) // 3
    under = float(np.nan_to_num(np.min(tidy(past.y)[place : place + NAME_SPANS])))
    figure.add_annotation(
        text=plain(past.label), x=list(past.x)[place], y=under, xanchor="left", yanchor="top", yshift=-8,
        font={"color": lettering(past.colour)},
    )  # fmt: skip
    said = [f"<b>{plain(ahead.label)}</b>", *(plain(band.label) for band in list(bands)[::-1])]
    figure.add_annotation(
        text="<br>".join(said), xref="paper", yref="paper", x=1, y=1, xanchor="right", yanchor="top", align="right",
        font={"color": lettering(ahead.colour), "size": 13}, bgcolor=PAPER, borderpad=0,
    )  # fmt: skip
