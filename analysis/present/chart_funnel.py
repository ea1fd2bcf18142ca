"""Funnel limits laid out in rows: each unit's share beside what chance allows, in the order of the labels.

A funnel by size would set a few units of like size on top of one another at
the width of a phone, and rank them by height; rows in label order do neither.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import plotly.graph_objects as go

from analysis.present.chart_rows import laid_rows, plain
from analysis.present.charts import tidy
from analysis.present.theme import INK, NAMED, QUIET, RECOMMENDED, TODAY, blank_figure, lettering

AXIS_HEIGHT, SIDE = 52, 14
INNER_HALF, OUTER_HALF = 8, 3
"""Half the height, in pixels, of the bars that hold 95% and 99.8% of what chance does."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One row: how far a share is from all together, and what chance allows.

    ``said`` is the share in words; ``beyond`` says it is beyond the outer limits.
    """

    label: str
    difference: float
    inner: tuple[float, float]
    outer: tuple[float, float]
    beyond: bool
    said: str


def funnel_rows(units: Sequence[Unit], *, x_title: str) -> go.Figure:
    """Draw how far each unit's share is from all together, over a bar of what chance allows.

    Parameters
    ----------
    units : sequence of Unit
        Top row first. Labels alike up to their last comma are set as a group.
    x_title : str
        What the axis shows.

    Returns
    -------
    plotly.graph_objects.Figure
        One trace a row. A share beyond the outer limits is a diamond of
        another colour, so that it is told without colour too.

    Examples
    --------
    >>> figure = funnel_rows([Unit("site A", -2.0, (-5.0, 5.0), (-8.0, 8.0), False, "80% of 200")], x_title="points")
    >>> figure.data[0].name, figure.data[0].marker.symbol, len(figure.layout.shapes)
    ('site A', 'circle', 3)
    """
    rows, height = laid_rows([each.label for each in units], [each.said for each in units])
    figure = blank_figure(height + AXIS_HEIGHT)
    figure.update_layout(margin={"l": SIDE, "r": 12, "t": 0, "b": AXIS_HEIGHT})
    for unit, row in zip(units, rows, strict=True):
        for (low, high), half in ((unit.outer, OUTER_HALF), (unit.inner, INNER_HALF)):
            figure.add_shape(
                type="rect", layer="below", fillcolor=TODAY, opacity=0.3, line={"width": 0},
                x0=tidy([low])[0], x1=tidy([high])[0], y0=row.place - half, y1=row.place + half,
            )  # fmt: skip
        beside = {"x0": 0, "x1": 0, "y0": row.place - INNER_HALF - 2, "y1": row.place + INNER_HALF + 2}
        figure.add_shape(type="line", layer="below", line={"width": 1.5, "color": QUIET}, **beside)
        colour = NAMED[0] if unit.beyond else RECOMMENDED
        figure.add_scatter(
            x=tidy([unit.difference]), y=[row.place], mode="markers", cliponaxis=False, name=unit.label,
            marker={"size": 13 if unit.beyond else 11, "color": colour, "symbol": "diamond" if unit.beyond else "circle"},
            hovertemplate=f"{plain(unit.label)}: {plain(unit.said)}<extra></extra>",
        )  # fmt: skip
        above = {"xref": "paper", "yanchor": "bottom"}
        left = {**above, "x": 0, "xanchor": "left", "xshift": -SIDE - 1, "align": "left", "font": {"color": INK}}
        if row.heading:
            figure.add_annotation(text=f"<b>{row.heading}</b>", y=row.heading_place, yshift=1, **left)
        figure.add_annotation(text=row.label, y=row.place, yshift=11, **left)
        figure.add_annotation(
            text=plain(unit.said),
            x=1,
            xanchor="right",
            y=row.place,
            yshift=11,
            font={"color": lettering(colour)},
            **above,
        )
    figure.update_yaxes(range=[height, 0], showgrid=False, showticklabels=False, title=None)
    figure.update_xaxes(title=x_title, tickformat="+", nticks=5)
    return figure
