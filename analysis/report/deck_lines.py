"""The slides' charts of lines: curves and months, with their ranges as thin lines."""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from pptx.chart.chart import Chart
from pptx.chart.data import CategoryChartData, XyChartData
from pptx.enum.chart import XL_CHART_TYPE, XL_LEGEND_POSITION, XL_TICK_LABEL_POSITION
from pptx.enum.dml import MSO_LINE_DASH_STYLE
from pptx.oxml.ns import qn
from pptx.slide import Slide
from pptx.util import Pt

from analysis.present.theme import QUIET
from analysis.report.deck_parts import (
    CHART_LETTERS,
    FAINT,
    Place,
    colour_of,
    element,
    form_of,
    name_axis,
    placed,
    rgb,
    set_axis,
    spelled,
    title_of,
)
from analysis.report.workbook import plain_text

DASHES = (MSO_LINE_DASH_STYLE.ROUND_DOT, MSO_LINE_DASH_STYLE.DASH, MSO_LINE_DASH_STYLE.SOLID)
"""Of a line's ranges the widest is dotted; more of them are dashed, then drawn through."""


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A line of a chart: its name, places, figures and how it is drawn."""

    name: str
    points: pd.Series
    colour: str
    width: float
    dash: Any = MSO_LINE_DASH_STYLE.SOLID
    named: bool = True


def add_lines(slide: Slide, figure: go.Figure, traces: Sequence[Any], place: Place, told: str) -> Chart:
    """Draw lines; a range becomes two thin lines of its own, from and to."""
    drawn = list(_told_lines(traces))
    numbers = pd.api.types.is_numeric_dtype(drawn[0].points.index)
    reach = [float(each) for line in drawn for each in line.points if np.isfinite(each)]
    drawn += list(_marks(figure, max(reach))) if numbers else []
    form = form_of(figure.layout.yaxis)
    kind, data = _numbered(drawn, form) if numbers else _dated(drawn, form)
    chart = placed(slide, kind, data, place, told)
    for series, line in zip(chart.plots[0].series, drawn, strict=True):
        series.smooth = False
        series.format.line.color.rgb, series.format.line.width = rgb(line.colour), Pt(line.width)
        series.format.line.dash_style = line.dash
    _legend(chart, drawn)
    chart.font.size = Pt(CHART_LETTERS)
    set_axis(chart.value_axis, figure.layout.yaxis, reach, _above(figure))
    across: Any = chart.category_axis
    across.has_major_gridlines, across.format.line.color.rgb = False, rgb(FAINT)
    across.tick_label_position = XL_TICK_LABEL_POSITION.LOW
    if numbers:
        places = [float(each) for line in drawn for each in line.points.index]
        across.minimum_scale, across.maximum_scale = min(places), max(places)
        across.tick_labels.number_format, across.tick_labels.number_format_is_linked = "0", False
    name_axis(across, title_of(figure.layout.xaxis))
    return chart


def _told_lines(traces: Sequence[Any]) -> Iterator[_Drawn]:
    """Give lines as they are; of what goes round a range and back, its lower and its upper line."""
    ranges: dict[str, int] = {}
    for trace in traces:
        name = plain_text(html.unescape(str(trace.name)))
        points = pd.Series(list(trace.y), index=list(trace.x), dtype="float64")
        if points.index.is_unique:
            yield _Drawn(name, points.dropna(), colour_of(trace.line.color), 2.75)
            continue
        colour = colour_of(trace.fillcolor)
        dash = DASHES[min(ranges.get(colour, 0), len(DASHES) - 1)]
        ranges[colour] = ranges.get(colour, 0) + 1
        name = name.rpartition(": ")[2]  # what comes before says how dark the page draws it
        places = points.groupby(level=0)
        yield _Drawn(f"{name}, from and to", places.min(), colour, 1.25, dash)
        yield _Drawn(f"{name}, to", places.max(), colour, 1.25, dash, named=False)


def _marks(figure: go.Figure, top: float) -> Iterator[_Drawn]:
    """Give the thin straight lines that mark a place, each under the name beside it."""
    ends = [float(trace.x[-1]) for trace in figure.data if len(trace.x) > 1]
    for shape in figure.layout.shapes or ():
        upright = shape.x0 == shape.x1
        at = float(shape.x0 if upright else shape.y0)
        name = next(
            (spelled(each.text) for each in figure.layout.annotations if (each.x if upright else each.y) == at), ""
        )
        points = pd.Series([0.0, top], index=[at, at]) if upright else pd.Series([at, at], index=[0.0, max(ends)])
        if name:
            yield _Drawn(plain_text(name), points, QUIET, 1.0, MSO_LINE_DASH_STYLE.DASH)


def _numbered(drawn: Sequence[_Drawn], form: str) -> tuple[Any, Any]:
    """Write lines by numbers, such as months since a clearance."""
    data = XyChartData(number_format=form)
    for line in drawn:
        points = data.add_series(line.name)
        for x, y in line.points.items():
            points.add_data_point(x, float(y))
    return XL_CHART_TYPE.XY_SCATTER_LINES_NO_MARKERS, data


def _dated(drawn: Sequence[_Drawn], form: str) -> tuple[Any, Any]:
    """Write lines by months of the calendar."""
    table = pd.concat([line.points.rename(place) for place, line in enumerate(drawn)], axis=1, sort=True)
    data = CategoryChartData(number_format=form)
    data.categories = [f"{pd.Timestamp(each):%b %Y}" for each in table.index]
    for place, line in enumerate(drawn):
        data.add_series(line.name, [None if pd.isna(each) else float(each) for each in table[place]])
    return XL_CHART_TYPE.LINE, data


def _legend(chart: Chart, drawn: Sequence[_Drawn]) -> None:
    """Name the lines below the chart, the two ends of a range once."""
    chart.has_legend = True
    chart.legend.position, chart.legend.include_in_layout = XL_LEGEND_POSITION.BOTTOM, False
    chart.legend.font.size = Pt(CHART_LETTERS)
    after = chart.legend._element.find(qn("c:legendPos"))
    for place, line in reversed(list(enumerate(drawn))):
        if not line.named:
            after.addnext(element(f'<c:legendEntry><c:idx val="{place}"/><c:delete val="1"/></c:legendEntry>'))


def _above(figure: go.Figure) -> str:
    """Give what stands above a chart of lines: the title of its vertical axis."""
    found = (each.text for each in figure.layout.annotations if each.xref == "paper" and each.x == 0 and each.y == 1)
    return spelled(next(found, ""))
