"""Forecasts beside what came: upright bars for the ranges, a stroke for what was expected, a dot for what came."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from analysis.present.chart_forecast import Band
from analysis.present.charts import Line, plain, tidy
from analysis.present.theme import FAINT, INK, PAPER, QUIET, blank_figure, lettering

HEADROOM = 1.44
"""The vertical axis reaches this much above the highest mark, so that the words stand clear of it."""
DAY = 24 * 3600 * 1000
WIDE_DAYS, NARROWER_DAYS = 23, 5
"""A bar's width on an axis of months, and how much narrower each bar within it is."""


def foretold_chart(foretold: Line, came: Line, bands: Sequence[Band], *, y_title: str, height: int = 400) -> go.Figure:
    """Draw each month's forecast as bars within one another, and what came as a dot.

    Parameters
    ----------
    foretold, came : Line
        What had been expected and what came, over the same dates in order.
    bands : sequence of Band
        Ranges of the forecasts over the same dates, the widest first.
    y_title : str
        What the vertical axis shows, with its unit; it stands above the chart.
    height : int, optional
        Pixels.

    Returns
    -------
    plotly.graph_objects.Figure
        A trace for each range, then the strokes, then the dots. They are named
        top right, in the order in which they lie on one another.
    """
    figure = blank_figure(height)
    figure.update_layout(margin={"t": 34}, barmode="overlay")
    for place, band in enumerate(bands):
        low, high = tidy(band.low), tidy(band.high)
        figure.add_bar(
            x=list(foretold.x), base=low, y=tidy([b - a for a, b in zip(low, high, strict=True)]),
            width=(WIDE_DAYS - place * NARROWER_DAYS) * DAY, marker={"color": foretold.colour, "opacity": band.opacity, "line": {"width": 0}},
            hoverinfo="skip", name=band.label,
        )  # fmt: skip
    stroke = {"symbol": "line-ew", "size": 15, "line": {"width": 2, "color": foretold.colour}}
    _add_marks(figure, foretold, stroke)
    _add_marks(figure, came, {"size": 9, "color": came.colour, "line": {"width": 1.5, "color": PAPER}})
    top = HEADROOM * float(np.nanmax([*came.y, *(each for band in bands for each in band.high)]))
    said = [
        f'<b><span style="color:{INK}">{plain(came.label)}</span></b>',
        *(plain(each) for each in (foretold.label, *(band.label for band in list(bands)[::-1]))),
    ]
    figure.add_annotation(
        text="<br>".join(said), xref="paper", yref="paper", x=1, y=1, xanchor="right", yanchor="top", align="right",
        font={"color": lettering(foretold.colour), "size": 13}, bgcolor=PAPER, borderpad=0,
    )  # fmt: skip
    figure.add_annotation(
        text=y_title, xref="paper", yref="paper", x=0, y=1, xanchor="left", yanchor="bottom", yshift=10,
        font={"size": 13, "color": QUIET},
    )  # fmt: skip
    figure.update_xaxes(showline=True, linecolor=FAINT, tickformat="%b\n%Y")
    figure.update_yaxes(range=tidy([0.0, top]))
    return figure


def _add_marks(figure: go.Figure, line: Line, marker: dict) -> None:
    """Draw one mark a month."""
    figure.add_scatter(
        x=list(line.x),
        y=tidy(line.y),
        mode="markers",
        marker=marker,
        name=line.label,
        hovertemplate=f"%{{x|%B %Y}}: %{{y:.0f}} {plain(line.label)}<extra></extra>",
    )
