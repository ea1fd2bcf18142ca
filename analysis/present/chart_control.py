"""Control charts one below the other: each measure's months, its usual figure and its usual limits."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.present.chart_rows import plain
from analysis.present.charts import tidy
from analysis.present.theme import INK, NAMED, QUIET, RECOMMENDED, TODAY, blank_figure, lettering

PLOT_HEIGHT, HEADING_HEIGHT, LINE_HEIGHT, AXIS_HEIGHT, CHANGE_HEIGHT = 92, 58, 17, 36, 24
HEADING_LETTERS = 40
"""Letters of a panel's name that fit side by side on a phone."""
SIDE, ROOM = 14, 0.12
SIGNAL = NAMED[0]


@dataclass(frozen=True, slots=True)
class Panel:
    """One measure: its name, its latest figure in words, and its points with what they are judged by.

    ``form`` is how the axis writes a figure, as Plotly's ``tickformat``.
    """

    label: str
    said: str
    x: Sequence[pd.Timestamp]
    values: Sequence[float]
    centre: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    signals: Sequence[bool]
    form: str = ""


def control_panels(panels: Sequence[Panel], changes: Sequence[tuple[pd.Timestamp, str]] = ()) -> go.Figure:
    """Draw a control chart for each measure, with its name above it.

    Parameters
    ----------
    panels : sequence of Panel
        Top panel first; all share one axis of time.
    changes : sequence of (pandas.Timestamp, str), optional
        Declared changes, each a dotted upright line in every panel, named at the very top.

    Returns
    -------
    plotly.graph_objects.Figure
        Three traces a panel: limits, usual figure, points. A point that
        signals is larger, of another shape and colour; the latest one is named
        by its month.

    Examples
    --------
    >>> months = list(pd.date_range("2026-01-01", periods=3, freq="MS"))
    >>> figure = control_panels([Panel("missed", "9%", months, [0.08, 0.2, 0.09], [0.1] * 3, [0.05] * 3, [0.15] * 3, [False, True, False])])
    >>> [trace.name for trace in figure.data], list(figure.data[2].marker.symbol)
    (['missed, usual limits', 'missed, usual figure', 'missed'], ['circle', 'diamond', 'circle'])
    """
    top = CHANGE_HEIGHT * bool(changes)
    headings = [textwrap.wrap(panel.label, HEADING_LETTERS) for panel in panels]
    heights = [HEADING_HEIGHT + LINE_HEIGHT * (len(each) - 1) + PLOT_HEIGHT for each in headings]
    drawn, down = sum(heights), 0
    figure = blank_figure(top + drawn + AXIS_HEIGHT)
    figure.update_layout(margin={"l": SIDE, "r": SIDE, "t": top, "b": AXIS_HEIGHT})
    for place, (panel, heading) in enumerate(zip(panels, headings, strict=True)):
        down += heights[place]
        upper, lower = 1 - (down - PLOT_HEIGHT) / drawn, 1 - down / drawn
        axis = f"y{place + 1 if place else ''}"
        _add_panel(figure, panel, axis)
        figure.update_layout({f"yaxis{axis[1:]}": _axis(panel, lower, upper)})
        _add_heading(figure, heading, panel.said, upper)
        for day, _ in changes:
            _mark_change(figure, day, axis)
    for day, said in changes:
        _name_change(figure, day, said)
    figure.update_xaxes(type="date", nticks=4, tickformat="%b %Y", anchor=axis)
    return figure


def _axis(panel: Panel, lower: float, upper: float) -> dict[str, object]:
    """Give a panel's axis its place and the reach its points and limits need."""
    every = np.concatenate([np.asarray(each, dtype=float) for each in (panel.values, panel.low, panel.high)])
    least, most = float(np.nanmin(every)), float(np.nanmax(every))
    room = ROOM * (most - least) or 1.0
    return {
        "domain": [max(lower, 0.0), upper],
        "range": tidy([max(least - room, 0.0) if least >= 0 else least - room, most + room]),
        "nticks": 3,
        "tickformat": panel.form,
        "zeroline": False,
    }


def _add_panel(figure: go.Figure, panel: Panel, axis: str) -> None:
    """Draw limits as a band, the usual figure as a dotted line, and the points over them."""
    days = [f"{day:%Y-%m-%d}" for day in panel.x]
    known = [place for place, each in enumerate(panel.low) if np.isfinite(each)]
    figure.add_scatter(
        x=[days[place] for place in [*known, *known[::-1]]],
        y=tidy([*(panel.high[place] for place in known), *(panel.low[place] for place in known[::-1])]),
        fill="toself", fillcolor=TODAY, opacity=0.22, line={"width": 0}, mode="lines", hoverinfo="skip",
        name=f"{panel.label}, usual limits", yaxis=axis,
    )  # fmt: skip
    figure.add_scatter(
        x=days, y=_points(panel.centre), mode="lines", line={"color": QUIET, "width": 1.5, "dash": "dot"},
        hoverinfo="skip", name=f"{panel.label}, usual figure", yaxis=axis,
    )  # fmt: skip
    figure.add_scatter(
        x=days,
        y=_points(panel.values),
        mode="lines+markers+text",
        line={"color": RECOMMENDED, "width": 1.5},
        marker={
            "color": [SIGNAL if each else RECOMMENDED for each in panel.signals],
            "symbol": ["diamond" if each else "circle" for each in panel.signals],
            "size": [12 if each else 6 for each in panel.signals],
        },
        text=_named(panel),
        textposition=_sides(panel),
        textfont={"color": lettering(SIGNAL), "size": 13},
        cliponaxis=False,
        hovertemplate=f"{plain(panel.label)}, %{{x|%B %Y}}: %{{y{':' + panel.form if panel.form else ''}}}<extra></extra>",
        name=panel.label,
        yaxis=axis,
    )


def _named(panel: Panel) -> list[str]:
    """Name the latest point that signals by its month; more names would meet one another on a phone."""
    latest = max((place for place, here in enumerate(panel.signals) if here), default=-1)
    return [f"{day:%b %Y}" if place == latest else "" for place, day in enumerate(panel.x)]


def _sides(panel: Panel) -> list[str]:
    """Set a name on the side where there is room for it."""
    return ["top left" if 3 * place > len(panel.x) else "top right" for place in range(len(panel.x))]


def _points(values: Sequence[float]) -> list[float | None]:
    """Round, and leave a gap where there is no figure."""
    return [value if np.isfinite(value) else None for value in tidy(values)]


def _add_heading(figure: go.Figure, name: Sequence[str], said: str, upper: float) -> None:
    """Set a panel's name above it, and below the name its latest figure; side by side they would meet on a phone."""
    figure.add_annotation(
        text=f'{"<br>".join(map(plain, name))}<br><span style="color:{QUIET}">{plain(said)}</span>',
        align="left", x=0, xanchor="left", xshift=-SIDE, font={"color": INK},
        xref="paper", yref="paper", y=upper, yanchor="bottom", yshift=4,
    )  # fmt: skip


def _mark_change(figure: go.Figure, day: pd.Timestamp, axis: str) -> None:
    """Mark a declared change in a panel; its line leaves the words between panels alone."""
    when = f"{day:%Y-%m-%d}"
    beside = {"x0": when, "x1": when, "xref": "x", "yref": f"{axis} domain", "y0": 0, "y1": 1}
    figure.add_shape(type="line", layer="below", line={"width": 1.5, "color": QUIET, "dash": "dot"}, **beside)


def _name_change(figure: go.Figure, day: pd.Timestamp, said: str) -> None:
    """Name a declared change at the very top."""
    figure.add_annotation(
        text=plain(said), x=f"{day:%Y-%m-%d}", xref="x", yref="paper", y=1, yanchor="bottom", xanchor="right", yshift=4,
        font={"size": 13, "color": QUIET},
    )  # fmt: skip
