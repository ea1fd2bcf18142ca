"""What every chart of the slides is made of: its place, its axes, its colours and words."""

from __future__ import annotations

import html
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pptx.chart.chart import Chart
from pptx.dml.color import RGBColor
from pptx.oxml import parse_xml
from pptx.slide import Slide
from pptx.util import Inches, Pt

from analysis.present.theme import INK, QUIET, RECOMMENDED

FAINT = "#d9d6d0"
CHART_LETTERS, FEWER_LETTERS = 12, 11
"""Points of a chart's words; of one with many rows."""
TICKS, EDGE = 8, 1e-6
"""Steps of an axis at most; an end that lies on a step gets room beyond it."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a chart stands on its slide, in inches."""

    left: float
    top: float
    width: float
    height: float


def placed(slide: Slide, kind: Any, data: Any, place: Place, told: str) -> Chart:
    """Put a chart on the slide, with its text alternative."""
    frame: Any = slide.shapes.add_chart(
        kind, Inches(place.left), Inches(place.top), Inches(place.width), Inches(place.height), data
    )
    frame._element.nvGraphicFramePr.cNvPr.set("descr", told)
    frame.chart.has_title = False
    frame.chart.font.color.rgb = rgb(INK)
    return frame.chart


def set_axis(axis: Any, drawn: Any, reach: Sequence[float], title: str) -> None:
    """Set the axis of figures: round numbers that hold every range, from nought where all are above it; a share ends at 100%."""
    axis.has_major_gridlines, axis.has_minor_gridlines = True, False
    axis.major_gridlines.format.line.color.rgb = rgb(FAINT)
    axis.format.line.fill.background()
    axis.tick_labels.number_format, axis.tick_labels.number_format_is_linked = form_of(drawn), False
    low, high, step = axis_ends(reach, most=1.0 if form_of(drawn) == "0%" else math.inf)
    axis.minimum_scale, axis.maximum_scale, axis.major_unit = low, high, step
    name_axis(axis, title)


def axis_ends(reach: Sequence[float], most: float = math.inf) -> tuple[float, float, float]:
    """Choose round ends of an axis, and its steps, so that nothing drawn is cut.

    Parameters
    ----------
    reach : sequence of float
        Every figure drawn, ends of ranges among them.
    most : float, optional
        What no figure can be beyond: the axis ends there at the latest.

    Returns
    -------
    (float, float, float)
        Lower end (nought, where nothing is below it), upper end, step.

    Examples
    --------
    >>> axis_ends([48.0, 35.0, 63.2])
    (0.0, 70.0, 10.0)
    >>> axis_ends([-6.0, 9.6])
    (-8.0, 10.0, 2.0)
    >>> axis_ends([0.9, 0.96], most=1.0)
    (0.0, 1.0, 0.2)
    """
    low, high = min(0.0, *reach), max(0.0, *reach)
    rough = (high - low) / TICKS or 1.0
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * times for times in (1, 2, 5, 10) if size * times >= rough * (1 - EDGE))
    below, above = math.floor(low / step - EDGE * (low < 0)), math.ceil(high / step + EDGE * (high > 0))
    return round(below * step, 10), round(min(above * step, most), 10), round(step, 10)


def name_axis(axis: Any, title: str) -> None:
    """Write what an axis shows, in quiet letters."""
    axis.has_title = bool(title)
    if title:
        words = axis.axis_title.text_frame
        words.text = title
        font = words.paragraphs[0].font
        font.size, font.bold, font.color.rgb = Pt(CHART_LETTERS), False, rgb(QUIET)


def element(text: str) -> Any:
    """Read a piece of a chart's own language."""
    spaces = (
        'xmlns:c="http://schemas.openxmlformats.org/drawingml/2006/chart" '
        'xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main"'
    )
    name, rest = re.match(r"<([\w:]+)(.*)", text, re.DOTALL).groups()  # type: ignore[union-attr]
    return parse_xml(f"<{name} {spaces}{rest}")


def spelled(text: str) -> str:
    """Give the words of a chart's label without its line breaks and marks."""
    return html.unescape(re.sub(r"<[^>]*>", "", str(text).replace("<br>", " ")))


def title_of(axis: Any) -> str:
    """Give an axis's title in words."""
    return spelled(axis.title.text or "")


def form_of(axis: Any) -> str:
    """Give the form of an axis's figures as a spreadsheet writes it."""
    return "0%" if "%" in (axis.tickformat or "") else "General"


def colour_of(colour: Any) -> str:
    """Give a colour of the theme; its first one where a mark has several or none."""
    return colour if isinstance(colour, str) and colour.startswith("#") else RECOMMENDED


def fill(fill: Any, colour: str) -> None:
    """Fill a bar."""
    fill.solid()
    fill.fore_color.rgb = rgb(colour)


def rgb(colour: str) -> RGBColor:
    """Read a colour of the theme."""
    return RGBColor.from_string(hexadecimal(colour))


def hexadecimal(colour: str) -> str:
    """Write a colour as the slides do."""
    return colour.lstrip("#").upper()


def number_of(value: Any) -> float:
    """Read a figure; none is no number."""
    return float("nan") if value is None else float(value)
