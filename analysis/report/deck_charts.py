"""Charts of the slides: native, so that their figures can be edited, in the colours of the page."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from pptx.chart.chart import Chart
from pptx.chart.data import CategoryChartData, XyChartData
from pptx.dml.color import RGBColor
from pptx.enum.chart import XL_CHART_TYPE, XL_LEGEND_POSITION, XL_TICK_LABEL_POSITION
from pptx.enum.dml import MSO_LINE_DASH_STYLE
from pptx.oxml import parse_xml
from pptx.oxml.ns import qn
from pptx.slide import Slide
from pptx.util import Inches, Pt

from analysis.present.theme import INK, QUIET, RECOMMENDED
from analysis.report.workbook import plain_text

MOST_ROWS = 16
MORE = f"Of a longer chart the first {MOST_ROWS} rows are drawn; the page and the workbook hold them all."
FAINT = "#d9d6d0"
DASHES = (MSO_LINE_DASH_STYLE.ROUND_DOT, MSO_LINE_DASH_STYLE.DASH, MSO_LINE_DASH_STYLE.SOLID)
"""Of a line's ranges the widest is dotted; more of them are dashed, then drawn through."""
GAPS = {1: 400, 2: 180, 3: 110}
"""Room between a few bars, as a percentage of a bar: a single one would fill the slide."""
CHART_LETTERS, FEWER_LETTERS = 12, 10
"""Points of a chart's words; of one with many rows."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a chart stands on its slide, in inches."""

    left: float
    top: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A line of a chart: its name, places, figures and how it is drawn."""

    name: str
    points: pd.Series
    colour: str
    width: float
    dash: Any = MSO_LINE_DASH_STYLE.SOLID
    named: bool = True


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
    dots = [trace for trace in drawn if len(trace.x) == 1 and np.isfinite(_number(trace.x[0]))]
    lines = [trace for trace in drawn if len(trace.x) > 1]
    if dots:
        return _bars(slide, figure, dots[:MOST_ROWS], place, told)
    return _lines(slide, figure, lines, place, told) if lines else None


def _bars(slide: Slide, figure: go.Figure, dots: Sequence[Any], place: Place, told: str) -> Chart:
    """Draw dots as bars, the first at the top, each with its range as an error bar and in its label."""
    dots = list(dots)[::-1]
    data = CategoryChartData(number_format=_form(figure.layout.xaxis))
    data.categories = [_with_range(dot) for dot in dots]
    data.add_series("figure", [float(dot.x[0]) for dot in dots])
    chart = _placed(slide, XL_CHART_TYPE.BAR_CLUSTERED, data, place, told)
    chart.has_legend = False
    plot: Any = chart.plots[0]
    plot.gap_width, plot.vary_by_categories = GAPS.get(len(dots), 55), False
    series = plot.series[0]
    for point, dot in enumerate(dots):
        _fill(series.points[point].format.fill, _colour(dot.marker.color))
    for own in series._element.findall(qn("c:dPt")):  # without this a bar below nought may lose its colour
        own.find(qn("c:idx")).addnext(_element('<c:invertIfNegative val="0"/>'))
    ends = [_ends(dot) for dot in dots]
    _add_error_bars(series, ends)
    chart.category_axis.tick_label_position = XL_TICK_LABEL_POSITION.LOW
    chart.category_axis.format.line.fill.background()
    chart.font.size = Pt(CHART_LETTERS if len(dots) <= 10 else FEWER_LETTERS)
    reach = [
        float(dot.x[0]) + shift for dot, (below, above) in zip(dots, ends, strict=True) for shift in (-below, above)
    ]
    _axis(chart.value_axis, figure.layout.xaxis, reach, _title(figure.layout.xaxis))
    chart.category_axis.has_major_gridlines = False
    return chart


def _lines(slide: Slide, figure: go.Figure, traces: Sequence[Any], place: Place, told: str) -> Chart:
    """Draw lines; a range becomes two thin lines of its own, from and to."""
    drawn = list(_told_lines(traces))
    numbers = pd.api.types.is_numeric_dtype(drawn[0].points.index)
    reach = [float(each) for line in drawn for each in line.points if np.isfinite(each)]
    drawn += list(_marks(figure, max(reach))) if numbers else []
    form = _form(figure.layout.yaxis)
    kind, data = _numbered(drawn, form) if numbers else _dated(drawn, form)
    chart = _placed(slide, kind, data, place, told)
    for series, line in zip(chart.plots[0].series, drawn, strict=True):
        series.smooth = False
        series.format.line.color.rgb, series.format.line.width = _rgb(line.colour), Pt(line.width)
        series.format.line.dash_style = line.dash
    _legend(chart, drawn)
    chart.font.size = Pt(CHART_LETTERS)
    _axis(chart.value_axis, figure.layout.yaxis, reach, _above(figure))
    across: Any = chart.category_axis
    across.has_major_gridlines, across.format.line.color.rgb = False, _rgb(FAINT)
    across.tick_label_position = XL_TICK_LABEL_POSITION.LOW
    if numbers:
        places = [float(each) for line in drawn for each in line.points.index]
        across.minimum_scale, across.maximum_scale = min(places), max(places)
        across.tick_labels.number_format, across.tick_labels.number_format_is_linked = "0", False
    _name_axis(across, _title(figure.layout.xaxis))
    return chart


def _told_lines(traces: Sequence[Any]) -> Iterator[_Drawn]:
    """Give lines as they are; of what goes round a range and back, its lower and its upper line."""
    ranges: dict[str, int] = {}
    for trace in traces:
        name = plain_text(html.unescape(str(trace.name)))
        points = pd.Series(list(trace.y), index=list(trace.x), dtype="float64")
        if points.index.is_unique:
            yield _Drawn(name, points.dropna(), _colour(trace.line.color), 2.75)
            continue
        colour = _colour(trace.fillcolor)
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
            (_spelled(each.text) for each in figure.layout.annotations if (each.x if upright else each.y) == at), ""
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


def _placed(slide: Slide, kind: Any, data: Any, place: Place, told: str) -> Chart:
    """Put a chart on the slide, with its text alternative."""
    frame: Any = slide.shapes.add_chart(
        kind, Inches(place.left), Inches(place.top), Inches(place.width), Inches(place.height), data
    )
    frame._element.nvGraphicFramePr.cNvPr.set("descr", told)
    frame.chart.has_title = False
    frame.chart.font.color.rgb = _rgb(INK)
    return frame.chart


def _axis(axis: Any, drawn: Any, reach: Sequence[float], title: str) -> None:
    """Set the axis of figures: from nought where they are above it, a share as a percentage and never beyond 100."""
    axis.has_major_gridlines, axis.has_minor_gridlines = True, False
    axis.major_gridlines.format.line.color.rgb = _rgb(FAINT)
    axis.format.line.fill.background()
    axis.tick_labels.number_format, axis.tick_labels.number_format_is_linked = _form(drawn), False
    if min(reach) >= 0:
        axis.minimum_scale = 0
    if _form(drawn) == "0%" and 0.8 < max(reach) <= 1:
        axis.maximum_scale, axis.major_unit = 1, 0.2
    _name_axis(axis, title)


def _name_axis(axis: Any, title: str) -> None:
    """Write what an axis shows, in quiet letters."""
    axis.has_title = bool(title)
    if title:
        words = axis.axis_title.text_frame
        words.text = title
        font = words.paragraphs[0].font
        font.size, font.bold, font.color.rgb = Pt(CHART_LETTERS), False, _rgb(QUIET)


def _legend(chart: Chart, drawn: Sequence[_Drawn]) -> None:
    """Name the lines below the chart, the two ends of a range once."""
    chart.has_legend = True
    chart.legend.position, chart.legend.include_in_layout = XL_LEGEND_POSITION.BOTTOM, False
    chart.legend.font.size = Pt(CHART_LETTERS)
    after = chart.legend._element.find(qn("c:legendPos"))
    for place, line in reversed(list(enumerate(drawn))):
        if not line.named:
            after.addnext(_element(f'<c:legendEntry><c:idx val="{place}"/><c:delete val="1"/></c:legendEntry>'))


def _add_error_bars(series: Any, ends: Sequence[tuple[float, float]]) -> None:
    """Draw each bar's range across its end; the library has no words for it."""
    sides = []
    for side, name in enumerate(("minus", "plus")):
        points = "".join(f'<c:pt idx="{place}"><c:v>{both[side]!r}</c:v></c:pt>' for place, both in enumerate(ends))
        count = f'<c:formatCode>General</c:formatCode><c:ptCount val="{len(ends)}"/>'
        sides.append(f"<c:{name}><c:numLit>{count}{points}</c:numLit></c:{name}>")
    line = f'<c:spPr><a:ln w="22225"><a:solidFill><a:srgbClr val="{_hex(INK)}"/></a:solidFill></a:ln></c:spPr>'
    kind = '<c:errBarType val="both"/><c:errValType val="cust"/><c:noEndCap val="1"/>'
    bars = _element(f"<c:errBars>{kind}{sides[1]}{sides[0]}{line}</c:errBars>")
    series._element.find(qn("c:cat")).addprevious(bars)


def _element(text: str) -> Any:
    """Read a piece of a chart's own language."""
    spaces = (
        'xmlns:c="http://schemas.openxmlformats.org/drawingml/2006/chart" '
        'xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main"'
    )
    name, rest = re.match(r"<([\w:]+)(.*)", text, re.DOTALL).groups()  # type: ignore[union-attr]
    return parse_xml(f"<{name} {spaces}{rest}")


def _ends(dot: Any) -> tuple[float, float]:
    """Give how far a dot's range goes below and above it; nought where it has none."""
    error = dot.error_x
    both = (error.arrayminus, error.array)
    return tuple(0.0 if each is None or not np.isfinite(_number(each[0])) else float(each[0]) for each in both)  # type: ignore[return-value]


def _with_range(dot: Any) -> str:
    """Say what a dot shows, its figure and range: as its hover text does."""
    # The chart's own workbook would read a label such as =2+2 as a formula.
    return plain_text(_spelled(str(dot.hovertemplate).removesuffix("<extra></extra>")))


def _spelled(text: str) -> str:
    """Give the words of a chart's label without its line breaks and marks."""
    return html.unescape(re.sub(r"<[^>]*>", "", str(text).replace("<br>", " ")))


def _title(axis: Any) -> str:
    """Give an axis's title in words."""
    return _spelled(axis.title.text or "")


def _above(figure: go.Figure) -> str:
    """Give what stands above a chart of lines: the title of its vertical axis."""
    found = (each.text for each in figure.layout.annotations if each.xref == "paper" and each.x == 0 and each.y == 1)
    return _spelled(next(found, ""))


def _form(axis: Any) -> str:
    """Give the form of an axis's figures as a spreadsheet writes it."""
    return "0%" if "%" in (axis.tickformat or "") else "General"


def _colour(colour: Any) -> str:
    """Give a colour of the theme; its first one where a mark has several or none."""
    return colour if isinstance(colour, str) and colour.startswith("#") else RECOMMENDED


def _fill(fill: Any, colour: str) -> None:
    """Fill a bar."""
    fill.solid()
    fill.fore_color.rgb = _rgb(colour)


def _rgb(colour: str) -> RGBColor:
    """Read a colour of the theme."""
    return RGBColor.from_string(_hex(colour))


def _hex(colour: str) -> str:
    """Write a colour as the slides do."""
    return colour.lstrip("#").upper()


def _number(value: Any) -> float:
    """Read a figure; none is no number."""
    return float("nan") if value is None else float(value)
