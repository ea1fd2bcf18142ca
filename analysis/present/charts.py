"""The kinds of chart the suite draws most; ranges are always drawn.

No chart carries a title: the finding is set as text above it, so that it wraps
on a phone and can be read aloud. Labels stand above their mark rather than in
a margin, so that a chart reads at 390 pixels as at a desk. Figures are rounded
to six significant digits, so that a re-run notebook compares equal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.present import words
from analysis.present.chart_rows import MARK_ABOVE_END, Row, laid_rows, plain
from analysis.present.label_places import label_places
from analysis.present.theme import FAINT, INK, QUIET, RECOMMENDED, blank_figure, lettering

AXIS_HEIGHT, AXIS_INSET = 52, 14
DOTTED = {"width": 1.5, "color": QUIET, "dash": "dot"}


@dataclass(frozen=True, slots=True)
class Bar:
    """One row of a range chart: its label, figure, range and colour.

    ``text`` is the figure in words, set at the right; without it the figure
    and its range are written there, or the figure alone where both round to it.
    """

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
    bars: Sequence[Bar],
    *,
    x_title: str,
    reference: float | None = None,
    from_zero: bool = False,
    percent: bool = False,
) -> go.Figure:
    """Draw one dot and its range a row, with its label above it.

    Parameters
    ----------
    bars : sequence of Bar
        Top row first. Neighbours whose labels begin alike up to the last
        comma are set as a group under what they share. A figure that is not a number leaves its row without a mark.
    x_title : str
        What the axis shows, with its unit.
    reference : float, optional
        Where a thin line in each row marks no difference.
    from_zero : bool, optional
        Start the axis at nought, where length carries meaning.
    percent : bool, optional
        Show the axis as a percentage of one.

    Returns
    -------
    plotly.graph_objects.Figure
        One trace a row, named by the row's label.
    """
    said = [plain(bar.text) or _said(bar, percent=percent) for bar in bars]
    rows, height = laid_rows([bar.label for bar in bars], said)
    figure = blank_figure(height + AXIS_HEIGHT)
    figure.update_layout(margin={"l": AXIS_INSET, "r": 12, "t": 0, "b": AXIS_HEIGHT})
    for bar, text, row in zip(bars, said, rows, strict=True):
        if reference is not None:
            beside = {"x0": reference, "x1": reference, "y0": row.place - 7, "y1": row.place + MARK_ABOVE_END}
            figure.add_shape(type="line", layer="below", line={"width": 1.5, "color": QUIET}, **beside)
        _add_row(figure, bar, row, said=text)
    figure.update_yaxes(range=[height, 0], showgrid=False, showticklabels=False, title=None)
    figure.update_xaxes(
        title=x_title, rangemode="tozero" if from_zero else "normal", tickformat=".0%" if percent else ""
    )
    return figure


def _add_row(figure: go.Figure, bar: Bar, row: Row, *, said: str) -> None:
    """Draw one row: its label left, its figure right, its dot and range below."""
    value, low, high = tidy([bar.value, bar.low, bar.high])
    figure.add_scatter(
        x=[value],
        y=[row.place],
        cliponaxis=False,
        mode="markers",
        marker={"size": 11, "color": bar.colour},
        error_x={
            "type": "data",
            "symmetric": False,
            "array": tidy([high - value]),
            "arrayminus": tidy([value - low]),
            "color": bar.colour,
            "thickness": 3.5,
            "width": 0,
        },
        name=bar.label,
        hovertemplate=f"{plain(bar.label)}: {said}<extra></extra>",
    )
    left = {"xref": "paper", "x": 0, "xanchor": "left", "xshift": -AXIS_INSET - 1, "align": "left", "yanchor": "bottom"}
    if row.heading:
        figure.add_annotation(text=f"<b>{row.heading}</b>", y=row.heading_place, yshift=1, font={"color": INK}, **left)
    figure.add_annotation(text=row.label, y=row.place, yshift=9, font={"color": INK}, **left)
    right = {"xref": "paper", "x": 1, "xanchor": "right", "yanchor": "bottom", "yshift": 9}
    figure.add_annotation(text=said, y=row.place, font={"color": lettering(bar.colour)}, **right)


def _said(bar: Bar, *, percent: bool) -> str:
    """Say a figure and its range as people do; a range that rounds to the figure is left unsaid."""
    if not np.isfinite(bar.value):
        return "not shown"
    decimals = 0 if abs(bar.value) >= 20 else 1
    ends = [words.percent(each) if percent else words.number(each, decimals) for each in (bar.value, bar.low, bar.high)]
    return ends[0] if len(set(ends)) == 1 else f"{ends[0]} ({ends[1]} to {ends[2]})"


def line_chart(
    lines: Sequence[Line],
    *,
    x_title: str,
    y_title: str,
    height: int = 380,
    from_zero: bool = True,
    percent: bool = False,
    upright: float | None = None,
    level: float | None = None,
) -> go.Figure:
    """Draw lines with their ranges as bands, each labelled at its right end.

    Parameters
    ----------
    lines : sequence of Line
    x_title, y_title : str
        What the axes show, with units; the vertical one stands above the chart, unturned.
    height : int, optional
        Pixels.
    from_zero : bool, optional
        Start the vertical axis at nought.
    percent : bool, optional
        Show the vertical axis as a percentage of one.
    upright, level : float, optional
        Where thin dotted lines mark a place on the horizontal and on the
        vertical axis; the lines' names keep clear of them.

    Returns
    -------
    plotly.graph_objects.Figure
        A trace a line, and before it one for its band where it has a range.
    """
    figure = blank_figure(height)
    figure.update_layout(margin={"t": 34})
    for line in lines:
        _add_line(figure, line, percent=percent)
    if upright is not None:
        figure.add_vline(x=upright, line=DOTTED, layer="below")
    if level is not None:
        figure.add_hline(y=level, line=DOTTED, layer="below")
    _add_names(figure, lines, height, from_zero=from_zero, upright=upright, level=level)
    figure.add_annotation(
        text=y_title, xref="paper", yref="paper", x=0, y=1, xanchor="left", yanchor="bottom", yshift=10,
        font={"size": 13, "color": QUIET},
    )  # fmt: skip
    figure.update_xaxes(title=x_title, showline=True, linecolor=FAINT)
    figure.update_yaxes(rangemode="tozero" if from_zero else "normal", tickformat=".0%" if percent else "")
    return figure


def _add_line(figure: go.Figure, line: Line, *, percent: bool) -> None:
    """Draw one line over its band."""
    if line.low is not None and line.high is not None:
        figure.add_scatter(
            x=[*line.x, *list(line.x)[::-1]],
            y=[*tidy(line.high), *tidy(line.low)[::-1]],
            fill="toself",
            fillcolor=line.colour,
            opacity=0.18,
            line={"width": 0},
            mode="lines",
            hoverinfo="skip",
            name=f"{line.label} range",
        )
    figure.add_scatter(
        x=list(line.x),
        y=tidy(line.y),
        mode="lines",
        line={"color": line.colour, "width": 3, "dash": line.dash},
        name=line.label,
        hovertemplate=f"{plain(line.label)}: %{{y{':.0%' if percent else ''}}}<extra></extra>",
    )


def _add_names(
    figure: go.Figure,
    lines: Sequence[Line],
    height: int,
    *,
    from_zero: bool,
    upright: float | None,
    level: float | None,
) -> None:
    """Name each line beside it, where the name covers least."""
    drawn = np.concatenate([tidy(each) for line in lines for each in (line.y, line.low, line.high) if each is not None])
    places = label_places(
        [line.label for line in lines],
        [_as_numbers(line.x) for line in lines],
        [np.asarray(line.y, dtype=float) for line in lines],
        height=height - 90,
        lowest=min(0.0, np.nanmin(drawn)) if from_zero else np.nanmin(drawn),
        highest=np.nanmax(drawn),
        upright=upright,
        level=level,
    )
    for line, place in zip(lines, places, strict=True):
        figure.add_annotation(
            x=list(line.x)[place.index],
            y=tidy(line.y)[place.index],
            text="<br>".join(plain(each) for each in place.lines),
            align=place.xanchor,
            xanchor=place.xanchor,
            yanchor="bottom" if place.above else "top",
            yshift=3 if place.above else -3,
            font={"color": lettering(line.colour)},
        )


def _as_numbers(x: Sequence) -> np.ndarray:
    """Give a line's horizontal places as numbers: days for dates, order for words."""
    values = pd.Series(list(x))
    if pd.api.types.is_numeric_dtype(values):
        return values.to_numpy(dtype=float)
    if pd.api.types.is_datetime64_any_dtype(values):
        return (values - values.iloc[0]).dt.total_seconds().to_numpy(dtype=float)
    return np.arange(len(values), dtype=float)
