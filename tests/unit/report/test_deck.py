"""The slides: ten, with charts that can be edited, the answers' own sentences, and no formula within."""

import datetime as dt
import io
import zipfile

import pytest
from pptx import Presentation

from analysis.present.answer import Answer
from analysis.present.charts import Bar, range_chart
from analysis.report.deck import SLIDES, write_deck
from analysis.report.workbook import Frame
from tests.made_up_answers import booking, recall, softening

FRAME = Frame("Two Rivers", "From a log.", "Ranges.", "Made by.", ("Take care.",), dt.datetime(2026, 9, 30), False)


def odd():
    chart = range_chart([Bar("=2+2 <script>", 3, 2, 4)], x_title="minutes")
    return Answer("Odd?", "Three.", chart=chart, chart_title="Three minutes")


@pytest.fixture
def deck(tmp_path):
    made = (booking(), recall(), softening(), odd())
    return write_deck(FRAME, {step: made[place % 4] for place, step in enumerate(SLIDES)}, tmp_path)


def charts(slide):
    return [shape.chart for shape in slide.shapes if shape.has_chart]


def test_there_are_ten_slides_each_with_its_finding_answer_and_notes(deck):
    slides = list(Presentation(str(deck)).slides)
    assert len(slides) == 10
    assert slides[1].shapes.title.text == booking().chart_title
    assert booking().headline in [shape.text_frame.text for shape in slides[1].shapes if shape.has_text_frame]
    assert "Slots are for the diary" in slides[1].notes_slide.notes_text_frame.text
    assert softening().headline in slides[3].shapes[1].text_frame.text
    assert charts(slides[3]) == []


def test_bars_carry_the_figures_and_say_their_ranges(deck):
    (chart,) = charts(Presentation(str(deck)).slides[4])
    assert list(chart.plots[0].series[0].values) == [3.0]
    assert list(chart.plots[0].categories) == ["'=2+2 <script>: 3.0 (2.0 to 4.0)"]


def test_lines_keep_their_ranges_as_lines(deck):
    (chart,) = charts(Presentation(str(deck)).slides[2])
    names = [series.name for series in chart.plots[0].series]
    assert {"hearing aid", "hearing aid range, from", "hearing aid range, to"} <= set(names)


def test_the_workbook_in_a_chart_runs_nothing(deck):
    with zipfile.ZipFile(deck) as parts:
        books = [parts.read(name) for name in parts.namelist() if name.endswith(".xlsx")]
    assert len(books) == 6
    for book in books:
        with zipfile.ZipFile(io.BytesIO(book)) as inner:
            assert b"<f>" not in inner.read("xl/worksheets/sheet1.xml")
