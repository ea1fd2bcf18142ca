"""The report as ten slides with charts that can be edited, and the same sentences as notes."""

from __future__ import annotations

import io
import math
import re
import zipfile
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import Any

from pptx import Presentation
from pptx.dml.color import RGBColor
from pptx.enum.shapes import MSO_SHAPE
from pptx.enum.text import MSO_ANCHOR, MSO_AUTO_SIZE, PP_ALIGN
from pptx.opc.constants import RELATIONSHIP_TYPE
from pptx.presentation import Presentation as Deck
from pptx.slide import Slide
from pptx.util import Inches, Pt

from analysis.present.answer import Answer
from analysis.present.theme import INK, NAMED, QUIET, RECOMMENDED
from analysis.report.deck_charts import MORE, add_chart
from analysis.report.deck_parts import Place
from analysis.report.workbook import Frame, notes_of

FILE = "quarterly_report.pptx"
SLIDES = ("activity", "how long to book", "how long visits take", "does softening pay", "when to call back", "how many will come", "outcomes", "safety")  # fmt: skip
"""Between the opening slide and the cautions: ten slides in all."""
CLOCK = re.compile(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
NO_CLOCK = (1980, 1, 1, 0, 0, 0)
WIDE, HIGH = 13.333, 7.5
LEFT, WIDTH = 0.6, 12.1
TITLE_TOP, TITLE_HIGH, WORDS_TOP, FOOT_TOP = 0.5, 0.95, 1.5, 7.02
LETTER, LINE, AFTER = 0.52, 1.22, 6
"""A letter's usual width and a line's height as parts of the letters' size, on the safe side for Arial (0.45 and 0.48 in bold, measured over a report); points after a paragraph."""


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
    Charts are native: their figures can be edited. Rows of dots become bars
    with their ranges as error bars and in words; lines keep their ranges as
    thin lines of their own. The same log and settings give the same bytes.
    """
    deck = Presentation()
    deck.slide_width, deck.slide_height = Inches(WIDE), Inches(HIGH)
    _dress(deck)
    opening = "\n".join([frame.standfirst, *frame.sentences, frame.how_sure, frame.footer])
    sentences = [f"{place}. {each}" for place, each in enumerate(frame.sentences, 1)]
    invented = "INVENTED DEMO CLINIC. " if frame.invented else ""
    _words(deck, frame, invented + frame.title, sentences or [frame.standfirst, frame.how_sure], opening)
    for step in SLIDES:
        if step in answers:
            _question(deck, frame, answers[step])
    _words(deck, frame, "Methods and cautions", list(frame.cautions), f"{frame.how_sure}\n{frame.footer}")
    properties = deck.core_properties
    properties.title, properties.author, properties.last_modified_by = frame.title, "earclinic", "earclinic"
    properties.created = properties.modified = properties.last_printed = frame.made
    path = folder / FILE
    path.write_bytes(_without_clock(deck, frame))
    return path


def fitting_size(lines: Sequence[str], width: float, height: float, *, largest: int, smallest: int) -> int:
    """Find the largest letters in which paragraphs fit a box.

    Parameters
    ----------
    lines : sequence of str
        The paragraphs.
    width, height : float
        Of the box, in inches.
    largest, smallest : int
        Points; the smallest is given where even it does not fit.

    Returns
    -------
    int

    Examples
    --------
    >>> fitting_size(["Short."], 12, 1, largest=28, smallest=12)
    28
    >>> fitting_size(["A sentence of some length. " * 12], 12, 1, largest=28, smallest=12)
    15
    """
    sizes = range(largest, smallest, -1)
    return next((size for size in sizes if _high(lines, width, size) <= height), smallest)


def _high(lines: Sequence[str], width: float, size: int) -> float:
    """Say how high paragraphs stand in letters of a size, in inches."""
    rows = sum(max(1, math.ceil(len(line) * LETTER * size / 72 / width)) for line in lines)
    return (rows * LINE * size + AFTER * (len(lines) - 1)) / 72


def _dress(deck: Deck) -> None:
    """Give the deck the page's colours and plain letters, for what is added to it later too."""
    theme: Any = deck.slide_master.part.part_related_by(RELATIONSHIP_TYPE.THEME)
    text = theme.blob.decode("utf-8")
    for place, colour in enumerate((RECOMMENDED, *NAMED), 1):
        dressed = f'<a:accent{place}><a:srgbClr val="{colour.lstrip("#").upper()}"/></a:accent{place}>'
        text = re.sub(rf"<a:accent{place}>.*?</a:accent{place}>", dressed, text)
    theme._blob = re.sub(r'(<a:(?:major|minor)Font>\s*<a:latin typeface=")[^"]*', r"\1Arial", text).encode("utf-8")


def _words(deck: Deck, frame: Frame, title: str, lines: list[str], notes: str, *, high: float = 5.4) -> Slide:
    """Add a slide of words, as large as ``high`` inches hold them."""
    slide = deck.slides.add_slide(deck.slide_layouts[5])
    mark = slide.shapes.add_shape(MSO_SHAPE.RECTANGLE, Inches(LEFT), Inches(0.34), Inches(0.65), Inches(0.06))
    mark.fill.solid()
    mark.fill.fore_color.rgb = _rgb(RECOMMENDED)
    mark.line.fill.background()
    heading = slide.shapes.title
    heading.left, heading.top, heading.width, heading.height = (
        Inches(each) for each in (LEFT, TITLE_TOP, WIDTH, TITLE_HIGH)
    )
    _write(heading, [title], fitting_size([title], WIDTH, TITLE_HIGH, largest=28, smallest=18), bold=True)
    size = fitting_size(lines, WIDTH, high, largest=20, smallest=12)
    box = slide.shapes.add_textbox(Inches(LEFT), Inches(WORDS_TOP), Inches(WIDTH), Inches(high))
    _write(box, lines, size)
    foot = slide.shapes.add_textbox(Inches(LEFT), Inches(FOOT_TOP), Inches(WIDTH), Inches(0.3))
    invented = "INVENTED DEMO CLINIC. " if frame.invented else ""
    _write(foot, [f"{invented}{frame.title}. Slide {len(deck.slides)}"], 10, colour=QUIET)
    slide.notes_slide.notes_text_frame.text = notes
    return slide


def _write(shape: Any, lines: Sequence[str], size: int, *, bold: bool = False, colour: str = INK) -> None:
    """Write paragraphs from the upper left corner of a shape, each wrapped within it."""
    words = shape.text_frame
    words.text = "\n".join(lines)
    words.word_wrap, words.auto_size, words.vertical_anchor = True, MSO_AUTO_SIZE.NONE, MSO_ANCHOR.TOP
    words.margin_left = words.margin_right = words.margin_top = words.margin_bottom = 0
    for paragraph in words.paragraphs:
        paragraph.font.size, paragraph.font.bold, paragraph.font.color.rgb = Pt(size), bold, _rgb(colour)
        paragraph.alignment, paragraph.space_after = PP_ALIGN.LEFT, Pt(AFTER)


def _rgb(colour: str) -> RGBColor:
    """Read a colour of the theme."""
    return RGBColor.from_string(colour.lstrip("#").upper())


def _question(deck: Deck, frame: Frame, answer: Answer) -> None:
    """Add the slide of one question: the finding, the answer, and the chart in what room is left."""
    high = min(_high([answer.headline], WIDTH, 18), 1.3) + 0.05 if answer.chart is not None else 5.4
    slide = _words(
        deck, frame, answer.chart_title or answer.question, [answer.headline], spoken_notes(answer), high=high
    )
    if answer.chart is not None:
        top = WORDS_TOP + high + 0.1
        add_chart(slide, answer.chart, Place(LEFT, top, WIDTH, FOOT_TOP - 0.1 - top), told=answer.chart_text)


def spoken_notes(answer: Answer) -> str:
    """Write what stands beside an answer as notes to speak from: short blocks, each under its name.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    str
    """
    blocks = [answer.question]
    for kind, notes in groupby(notes_of(answer), key=lambda note: note[0]):
        texts = [text for _, text in notes]
        blocks.append(
            f"{kind}: {texts[0]}" if len(texts) == 1 else "\n".join([f"{kind}:", *(f"- {each}" for each in texts)])
        )
    return "\n\n".join([*blocks, MORE])


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
