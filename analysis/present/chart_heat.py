"""Strips of months, one a row: the darker a month, the more of it is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
import plotly.graph_objects as go

from analysis.present import words
from analysis.present.chart_rows import plain
from analysis.present.theme import GRADE_BLUES, INK, QUIET, blank_figure

STEPS = (0.95, 0.8, 0.5)
"""Shares at which the shade changes: from the first on, the lightest."""
COLOURS = tuple(GRADE_BLUES.values())
"""Four steps of one blue, light to dark: told apart without colour vision, and in grey print."""
ROW_HEIGHT, STRIP_HEIGHT, KEY_HEIGHT, AXIS_HEIGHT = 42, 16, 58, 40
SIDE = 14


@dataclass(frozen=True, slots=True)
class Strip:
    """One row: its label, the figure at its right, and a share for each month (None where nothing is to be told)."""

    label: str
    text: str
    shares: Sequence[float | None]


def month_strips(strips: Sequence[Strip], months: Sequence[pd.Timestamp]) -> go.Figure:
    """Draw a strip of months for each row, with its label above it.

    Parameters
    ----------
    strips : sequence of Strip
        Top row first; each with as many shares as there are months.
    months : sequence of pandas.Timestamp
        First days of months, in order of time and without a hole.

    Returns
    -------
    plotly.graph_objects.Figure
        One heat map. A month without a share is left open.

    Examples
    --------
    >>> figure = month_strips([Strip("grade", "75%", [1.0, 0.5, None])], list(pd.date_range("2026-01-01", periods=3, freq="MS")))
    >>> [list(row) for row in figure.data[0].z]
    [[0, 2, None]]
    """
    height = KEY_HEIGHT + ROW_HEIGHT * len(strips)
    figure = blank_figure(height + AXIS_HEIGHT)
    figure.update_layout(margin={"l": SIDE, "r": SIDE, "t": KEY_HEIGHT, "b": AXIS_HEIGHT})
    figure.add_heatmap(
        x=[f"{month:%Y-%m-%d}" for month in months],
        y=list(range(len(strips))),
        z=[[_step(share) for share in strip.shares] for strip in strips],
        text=[[_told(share) for share in strip.shares] for strip in strips],
        zmin=0,
        zmax=len(COLOURS) - 1,
        colorscale=_scale(),
        showscale=False,
        xgap=1,
        ygap=ROW_HEIGHT - STRIP_HEIGHT,
        hovertemplate="%{x|%B %Y}: %{text}<extra></extra>",
        hoverongaps=False,
    )
    for row, strip in enumerate(strips):
        side = {"y": row, "yanchor": "bottom", "yshift": STRIP_HEIGHT / 2}
        figure.add_annotation(
            text=plain(strip.label), xref="paper", x=0, xanchor="left", xshift=-2, font={"color": INK}, **side
        )
        figure.add_annotation(text=plain(strip.text), xref="paper", x=1, xanchor="right", font={"color": QUIET}, **side)
    figure.update_yaxes(range=[len(strips) - 0.5, -0.5], showgrid=False, showticklabels=False, ticks="", title=None)
    figure.update_xaxes(type="date", nticks=4, tickformat="%b %Y")
    _add_key(figure)
    return figure


def _step(share: float | None) -> int | None:
    """Give the step of a share: 0 for nearly all recorded, 3 for less than half."""
    return None if share is None else sum(share < step for step in STEPS)


def _told(share: float | None) -> str:
    """Say a share; never all where something is missing."""
    if share is None:
        return ""
    return "over 99%" if 0.995 <= share < 1 else words.percent(share)


def _scale() -> list[tuple[float, str]]:
    """Give each step a colour of its own, without shades between."""
    edges = [place / len(COLOURS) for place in range(len(COLOURS) + 1)]
    return [
        each
        for place, colour in enumerate(COLOURS)
        for each in ((edges[place], colour), (edges[place + 1], colour))
    ]  # fmt: skip


def _add_key(figure: go.Figure) -> None:
    """Say above the strips what the shades mean."""
    says = (f"from {STEPS[0]:.0%}", f"from {STEPS[1]:.0%}", f"from {STEPS[2]:.0%}", "less")
    shades = [
        f'<span style="color:{colour}">\N{BLACK SQUARE}</span> {text}'
        for colour, text in zip(COLOURS, says, strict=True)
    ]
    figure.add_annotation(
        text=f"Share recorded in the month:<br>{'  '.join(shades)}",
        align="left",
        xref="paper",
        x=0,
        xanchor="left",
        xshift=-2,
        yref="paper",
        y=1,
        yanchor="bottom",
        yshift=KEY_HEIGHT - 40,
        font={"size": 13, "color": QUIET},
    )
