"""Charts of the slides: native, so that their figures can be edited, in the colours of the page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go
from pptx.chart.chart import Chart
from pptx.chart.data import CategoryChartData
from pptx.enum.chart import XL_CHART_TYPE, XL_TICK_LABEL_POSITION
from pptx.oxml.ns import qn
from pptx.slide import Slide
from pptx.util import Pt

from analysis.present.theme import INK
from analysis.report.deck_lines import add_lines
from analysis.report.deck_parts import (
    CHART_LETTERS,
    FEWER_LETTERS,
    Place,
    colour_of,
    element,
    fill,
    form_of,
    hexadecimal,
    number_of,
    placed,
    set_axis,
    spelled,
    title_of,
)
from analysis.report.workbook import plain_text

MOST_ROWS = 16
MORE = f"Of a longer chart the first {MOST_ROWS} rows are drawn; the page and the workbook hold them all."
GAPS = {1: 400, 2: 180, 3: 110}
"""Room between a few bars, as a percentage of a bar: a single one would fill the slide."""


def add_chart(slide: Slide, figure: go.Figure, place: Place, *, told: str) -> Chart | None:
    """Draw a chart of the page again as one that can be edited.

    Parameters
    ----------
    slide : Slide
    figure : plotly.graph_objects.Figure
        Rows of dots, or lines with or without ranges.
    place : Place
    told : str
        The chart in words, for those who cannot see it.

    Returns
    -------
    Chart or None
        None where the figure holds neither.
    """
    drawn = [trace for trace in figure.data if trace.x is not None and trace.name]
    dots = [trace for trace in drawn if len(trace.x) == 1 and np.isfinite(number_of(trace.x[0]))]
    lines = [trace for trace in drawn if len(trace.x) > 1]
    if dots:
        return _bars(slide, figure, dots[:MOST_ROWS], place, told)
    return add_lines(slide, figure, lines, place, told) if lines else None


def _bars(slide: Slide, figure: go.Figure, dots: Sequence[Any], place: Place, told: str) -> Chart:
    """Draw dots as bars, the first at the top, each with its range as an error bar and in its label."""
    dots = list(dots)[::-1]
    data = CategoryChartData(number_format=form_of(figure.layout.xaxis))
    data.categories = [_with_range(dot) for dot in dots]
    data.add_series("figure", [float(dot.x[0]) for dot in dots])
    chart = placed(slide, XL_CHART_TYPE.BAR_CLUSTERED, data, place, told)
    chart.has_legend = False
    plot: Any = chart.plots[0]
    plot.gap_width, plot.vary_by_categories = GAPS.get(len(dots), 55), False
    series = plot.series[0]
    for point, dot in enumerate(dots):
        fill(series.points[point].format.fill, colour_of(dot.marker.color))
    for own in series._element.findall(qn("c:dPt")):  # without this a bar below nought may lose its colour
        own.find(qn("c:idx")).addnext(element('<c:invertIfNegative val="0"/>'))
    ends = [_ends(dot) for dot in dots]
    _add_error_bars(series, ends)
    chart.category_axis.tick_label_position = XL_TICK_LABEL_POSITION.LOW
    chart.category_axis.format.line.fill.background()
    chart.font.size = Pt(CHART_LETTERS if len(dots) <= 12 else FEWER_LETTERS)
    reach = [
        float(dot.x[0]) + shift for dot, (below, above) in zip(dots, ends, strict=True) for shift in (-below, above)
    ]
    set_axis(chart.value_axis, figure.layout.xaxis, reach, title_of(figure.layout.xaxis))
    chart.category_axis.has_major_gridlines = False
    return chart


def _add_error_bars(series: Any, ends: Sequence[tuple[float, float]]) -> None:
    """Draw each bar's range across its end; the library has no words for it."""
    sides = []
    for side, name in enumerate(("minus", "plus")):
        points = "".join(f'<c:pt idx="{place}"><c:v>{both[side]!r}</c:v></c:pt>' for place, both in enumerate(ends))
        count = f'<c:formatCode>General</c:formatCode><c:ptCount val="{len(ends)}"/>'
        sides.append(f"<c:{name}><c:numLit>{count}{points}</c:numLit></c:{name}>")
    line = f'<c:spPr><a:ln w="22225"><a:solidFill><a:srgbClr val="{hexadecimal(INK)}"/></a:solidFill></a:ln></c:spPr>'
    kind = '<c:errBarType val="both"/><c:errValType val="cust"/><c:noEndCap val="1"/>'
    bars = element(f"<c:errBars>{kind}{sides[1]}{sides[0]}{line}</c:errBars>")
    series._element.find(qn("c:cat")).addprevious(bars)


def _ends(dot: Any) -> tuple[float, float]:
    """Give how far a dot's range goes below and above it; nought where it has none."""
    error = dot.error_x
    both = (error.arrayminus, error.array)
    return tuple(0.0 if each is None or not np.isfinite(number_of(each[0])) else float(each[0]) for each in both)  # type: ignore[return-value]


def _with_range(dot: Any) -> str:
    """Say what a dot shows, its figure and range: as its hover text does."""
    # The chart's own workbook would read a label such as =2+2 as a formula.
    return plain_text(spelled(str(dot.hovertemplate).removesuffix("<extra></extra>")))
