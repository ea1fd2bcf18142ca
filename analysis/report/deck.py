"""The report as ten slides with charts that can be edited, and the same sentences as notes."""

from __future__ import annotations

import html
import io
import re
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pptx import Presentation
from pptx.chart.chart import Chart
from pptx.chart.data import CategoryChartData, XyChartData
from pptx.dml.color import RGBColor
from pptx.enum.chart import XL_CHART_TYPE, XL_LEGEND_POSITION
from pptx.presentation import Presentation as Deck
from pptx.slide import Slide
from pptx.util import Inches, Pt

from analysis.present.answer import Answer
from analysis.present.theme import INK, RECOMMENDED
from analysis.report.workbook import Frame, notes_of, plain_text

FILE = "quarterly_report.pptx"
SLIDES = ("activity", "how long to book", "how long visits take", "does softening pay", "when to call back", "how many will come", "outcomes", "safety")  # fmt: skip
"""Between the opening slide and the cautions: ten slides in all."""
CLOCK = re.compile(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
NO_CLOCK = (1980, 1, 1, 0, 0, 0)
WIDE, HIGH = Inches(13.333), Inches(7.5)
MOST_ROWS = 12
MORE = f"Of a longer chart the first {MOST_ROWS} rows are drawn; the page and the workbook hold them all."


def write_deck(frame: Frame, answers: dict[str, Answer], folder: Path) -> Path:
    """Write ten slides of the report.

    Parameters
    ----------
    frame : Frame
    answers : dict of str to Answer
        By their short names.
    folder : Path

    Returns
    -------
    Path
        ``quarterly_report.pptx``. A slide's title is the chart's finding,
        its text the answer, its notes all that stands beside the answer.

    Notes
    -----
    Charts are native: their figures can be edited. Rows of dots become bars,
    and their ranges stand in each bar's label as text, since the library
    writes no error bars; lines keep their ranges as lines of their own. The
    same log and settings give the same bytes.
    """
    deck = Presentation()
    deck.slide_width, deck.slide_height = WIDE, HIGH
    invented = "INVENTED DEMO CLINIC. " if frame.invented else ""
    opening = "\n".join([frame.standfirst, *frame.sentences, frame.how_sure, frame.footer])
    _words(deck, invented + frame.title, list(frame.sentences) or [frame.standfirst, frame.how_sure], opening)
    for step in SLIDES:
        if step in answers:
            _question(deck, answers[step])
    _words(deck, "Methods and cautions", list(frame.cautions), f"{frame.how_sure}\n{frame.footer}")
    properties = deck.core_properties
    properties.title, properties.author, properties.last_modified_by = frame.title, "earclinic", "earclinic"
    properties.created = properties.modified = properties.last_printed = frame.made
    path = folder / FILE
    path.write_bytes(_without_clock(deck, frame))
    return path


def _words(deck: Deck, title: str, lines: list[str], notes: str) -> Slide:
    """Add a slide of words."""
    slide = deck.slides.add_slide(deck.slide_layouts[5])
    heading = slide.shapes.title
    heading.left, heading.top, heading.width, heading.height = Inches(0.6), Inches(0.35), Inches(12.1), Inches(1.1)
    heading.text = title
    _set(heading, 28)
    box = slide.shapes.add_textbox(Inches(0.6), Inches(1.5), Inches(12.1), Inches(1.2))
    box.text_frame.word_wrap = True
    box.text_frame.text = "\n".join(lines)
    _set(box, 16)
    slide.notes_slide.notes_text_frame.text = notes
    return slide


def _set(shape: object, size: int) -> None:
    """Set a shape's text left, in the report's ink."""
    for paragraph in shape.text_frame.paragraphs:  # type: ignore[attr-defined]
        paragraph.font.size, paragraph.font.color.rgb = Pt(size), RGBColor.from_string(INK.lstrip("#").upper())
        paragraph.space_after = Pt(6)


def _question(deck: Deck, answer: Answer) -> None:
    """Add the slide of one question."""
    notes = "\n".join(f"{kind}: {text}" for kind, text in notes_of(answer))
    slide = _words(
        deck, answer.chart_title or answer.question, [answer.headline], f"{answer.question}\n{notes}\n{MORE}"
    )
    drawn = [] if answer.chart is None else [trace for trace in answer.chart.data if trace.x is not None and trace.name]
    dots = [trace for trace in drawn if len(trace.x) == 1]
    lines = [trace for trace in drawn if len(trace.x) > 1]
    if dots:
        _bars(slide, dots[:MOST_ROWS])
    elif lines:
        _lines(slide, lines)


def _bars(slide: Slide, dots: list) -> None:
    """Draw dots as bars, the first at the top, with the range in the label."""
    data = CategoryChartData()
    told = [dot for dot in dots[::-1] if np.isfinite(float(dot.x[0]))]
    data.categories = [_with_range(dot) for dot in told]
    data.add_series("figure", [float(dot.x[0]) for dot in told])
    chart = _placed(slide, XL_CHART_TYPE.BAR_CLUSTERED, data)
    chart.has_legend = chart.has_title = False
    fill = chart.plots[0].series[0].format.fill
    fill.solid()
    fill.fore_color.rgb = RGBColor.from_string(RECOMMENDED.lstrip("#").upper())


def _with_range(dot: object) -> str:
    """Say what a dot shows, its figure and range: as its hover text does."""
    told = str(dot.hovertemplate).removesuffix("<extra></extra>").replace("<br>", " ")  # type: ignore[attr-defined]
    # The chart's own workbook would read a label such as =2+2 as a formula.
    return plain_text(html.unescape(told))


def _lines(slide: Slide, lines: list) -> None:
    """Draw lines; a range becomes two lines of its own, from and to."""
    table = pd.concat([each for trace in lines for each in _series(trace)], axis=1).sort_index()
    data: Any
    if pd.api.types.is_numeric_dtype(table.index):
        kind, data = XL_CHART_TYPE.XY_SCATTER_LINES_NO_MARKERS, XyChartData()
        for name in table:
            points = data.add_series(str(name))
            for x, y in table[name].dropna().items():
                points.add_data_point(x, float(y))
    else:
        kind, data = XL_CHART_TYPE.LINE, CategoryChartData()
        data.categories = [str(each)[:7] for each in table.index]
        for name in table:
            data.add_series(str(name), [None if pd.isna(each) else float(each) for each in table[name]])
    chart = _placed(slide, kind, data)
    chart.has_title, chart.has_legend = False, True
    chart.legend.position, chart.legend.include_in_layout = XL_LEGEND_POSITION.BOTTOM, False


def _placed(slide: Slide, kind: XL_CHART_TYPE, data: Any) -> Chart:
    """Put a chart below the words."""
    frame: Any = slide.shapes.add_chart(kind, Inches(0.6), Inches(2.8), Inches(12.1), Inches(4.4), data)
    chart: Chart = frame.chart
    chart.font.size = Pt(11)
    return chart


def _series(trace: object) -> list[pd.Series]:
    """Give a line as it is; of what goes round a range and back, its lower and its upper line."""
    name = plain_text(str(trace.name))  # type: ignore[attr-defined]
    line = pd.Series(list(trace.y), index=list(trace.x), dtype="float64", name=name)  # type: ignore[attr-defined]
    if line.index.is_unique:
        return [line]
    places = line.groupby(level=0)
    return [places.min().rename(f"{name}, from"), places.max().rename(f"{name}, to")]


def _without_clock(deck: Deck, frame: Frame) -> bytes:
    """Pack the deck, and the workbooks of its charts, without the time of packing."""
    made = io.BytesIO()
    deck.save(made)
    return _repacked(made.getvalue(), f"{frame.made:%Y-%m-%dT%H:%M:%SZ}".encode())


def _repacked(packed: bytes, day: bytes) -> bytes:
    """Pack once more, in the same order, each part dated alike."""
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(packed)) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            part = old.read(name)
            if name.endswith(".xlsx"):
                part = _repacked(part, day)
            elif name.endswith("core.xml"):
                part = CLOCK.sub(day, part)
            new.writestr(zipfile.ZipInfo(name, NO_CLOCK), part, zipfile.ZIP_DEFLATED)
    return made.getvalue()
