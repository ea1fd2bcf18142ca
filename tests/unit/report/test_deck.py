"""The slides: ten, with charts that can be edited, the answers' own sentences, and no formula within."""

import datetime as dt
import io
import zipfile
from dataclasses import replace
from pathlib import Path

import matplotlib
import pandas as pd
import pytest
from PIL import ImageFont
from pptx import Presentation
from pptx.enum.chart import XL_CHART_TYPE
from pptx.opc.constants import RELATIONSHIP_TYPE
from pptx.oxml.ns import qn

from analysis.present.answer import Answer
from analysis.present.chart_forecast import Band, forecast_chart
from analysis.present.charts import Bar, Line, range_chart
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.report.deck import SLIDES, fitting_size, write_deck
from analysis.report.workbook import Frame
from tests.made_up_answers import booking, recall, softening

FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
EMU_AN_INCH = 914_400
LONG = "A finding with several words that says what there was, and by how much, and of how many. "
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


def texts(slide):
    return [shape.text_frame.text for shape in slide.shapes if shape.has_text_frame]


def rows_taken(shape):
    """Lines a shape's words take, as widths of letters have it (Arial is 0.88 as wide as DejaVu Sans, 0.83 in bold: measured over a report)."""
    rows = 0
    for paragraph in shape.text_frame.paragraphs:
        file, part = ("DejaVuSans-Bold.ttf", 0.83) if paragraph.font.bold else ("DejaVuSans.ttf", 0.88)
        letters = ImageFont.truetype(FONTS / file, 100)
        room = shape.width / EMU_AN_INCH * 72 / (part * paragraph.font.size.pt) * 100
        line = ""
        rows += 1
        for word in paragraph.text.split():
            longer = f"{line} {word}".strip()
            rows, line = (rows, longer) if letters.getlength(longer) <= room else (rows + 1, word)
    return rows


def test_there_are_ten_slides_each_with_its_finding_answer_and_notes(deck):
    slides = list(Presentation(str(deck)).slides)
    assert len(slides) == 10
    assert slides[1].shapes.title.text == booking().chart_title
    assert booking().headline in texts(slides[1])
    assert "Slots are for the diary" in slides[1].notes_slide.notes_text_frame.text
    assert softening().headline in texts(slides[3])
    assert charts(slides[3]) == []


def test_bars_carry_the_figures_and_say_their_ranges(deck):
    (chart,) = charts(Presentation(str(deck)).slides[4])
    assert list(chart.plots[0].series[0].values) == [3.0]
    assert list(chart.plots[0].categories) == ["'=2+2 <script>: 3.0 (2.0 to 4.0)"]


def test_bars_have_the_pages_colours_and_their_ranges_as_error_bars(deck):
    (chart,) = charts(Presentation(str(deck)).slides[1])
    assert chart.chart_type == XL_CHART_TYPE.BAR_CLUSTERED
    series = chart.plots[0].series[0]
    colours = [str(series.points[place].format.fill.fore_color.rgb) for place in range(8)]
    assert colours == [RECOMMENDED[1:], TODAY[1:].upper()] * 4
    assert [each.find(qn("c:invertIfNegative")).get("val") for each in series._element.findall(qn("c:dPt"))] == [
        "0"
    ] * 8
    bars = series._element.find(qn("c:errBars"))
    ends = [[float(each.text) for each in bars.find(qn(side)).iter(qn("c:v"))] for side in ("c:minus", "c:plus")]
    assert ends == [[4.0, 0.0] * 4, [5.0, 0.0] * 4]
    # The order the format's schema asks for: what follows the figures' look and stands before the categories.
    names = [each.tag.rpartition("}")[2] for each in series._element]
    assert names.index("errBars") == names.index("cat") - 1
    assert chart.value_axis.minimum_scale == 0


def test_a_share_has_an_axis_of_percentages(deck):
    (chart,) = charts(Presentation(str(deck)).slides[2])
    assert chart.chart_type == XL_CHART_TYPE.XY_SCATTER_LINES_NO_MARKERS
    assert chart.value_axis.tick_labels.number_format == "0%"
    assert chart.value_axis.axis_title.text_frame.text == "share of ears occluding again"
    assert chart.category_axis.axis_title.text_frame.text == "months since the ear was cleared"


def test_a_range_is_named_once_in_the_legend(deck):
    (chart,) = charts(Presentation(str(deck)).slides[2])
    names = [series.name for series in chart.plots[0].series]
    hidden = [int(each.find(qn("c:idx")).get("val")) for each in chart.legend._element.findall(qn("c:legendEntry"))]
    assert [names[place] for place in hidden] == [name for name in names if name.endswith(", to")]


def test_months_of_a_forecast_are_named_and_its_ranges_told_apart(tmp_path):
    past, ahead = (pd.date_range(start, periods=3, freq="MS") for start in ("2026-07-01", "2026-10-01"))
    lines = [Line("came", past, [300.0, 310.0, 305.0]), Line("expected", ahead, [300.0, 310.0, 305.0])]
    bands = [
        Band("palest: 19 months in 20", [250.0] * 3, [350.0] * 3, 0.2),
        Band("darker: 8 months in 10", [270.0] * 3, [330.0] * 3, 0.4),
    ]
    answer = Answer("How many?", "About 300.", chart=forecast_chart(*lines, bands, y_title="visits a month"))
    (chart,) = charts(Presentation(str(write_deck(FRAME, {"activity": answer}, tmp_path))).slides[1])
    assert list(chart.plots[0].categories)[::5] == ["Jul 2026", "Dec 2026"]
    series = chart.plots[0].series
    assert [each.name for each in series][:2] == ["19 months in 20, from and to", "19 months in 20, to"]
    assert len({each.format.line.dash_style for each in series}) == 3


@pytest.mark.parametrize("times", [1, 2, 3, 6])
def test_words_fit_their_boxes_and_nothing_meets_or_leaves_the_slide(tmp_path, times):
    answer = replace(booking(), headline=LONG * times, chart_title=(LONG * times)[:170])
    frame = replace(FRAME, sentences=(LONG * times,) * 5, cautions=(LONG * times,) * 5)
    deck = Presentation(str(write_deck(frame, dict.fromkeys(SLIDES, answer), tmp_path)))
    for slide in deck.slides:
        boxes = [(each.left, each.top, each.left + each.width, each.top + each.height) for each in slide.shapes]
        for left, top, right, bottom in boxes:
            assert min(left, top) >= 0
            assert right <= deck.slide_width
            assert bottom <= deck.slide_height
        for place, one in enumerate(boxes):
            for other in boxes[place + 1 :]:
                apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
                assert apart, (one, other)
        assert rows_taken(slide.shapes.title) <= 2
        for shape in slide.shapes:
            if shape.has_text_frame and shape.text_frame.text:
                size, words = shape.text_frame.paragraphs[0].font.size.pt, shape.text_frame
                taken = rows_taken(shape) * 1.2 * size + 6 * (len(words.paragraphs) - 1)
                assert taken <= shape.height / EMU_AN_INCH * 72


def test_more_words_never_get_larger_letters():
    sizes = [fitting_size([LONG * times], 12, 2, largest=28, smallest=12) for times in range(1, 30)]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[0] == 28
    assert sizes[-1] == 12


def test_an_invented_clinic_is_labelled_on_every_slide(tmp_path):
    deck = Presentation(str(write_deck(replace(FRAME, invented=True), {"activity": booking()}, tmp_path)))
    assert all(any("INVENTED DEMO CLINIC" in text for text in texts(slide)) for slide in deck.slides)


def test_notes_are_short_blocks_each_under_its_name(deck):
    notes = Presentation(str(deck)).slides[1].notes_slide.notes_text_frame.text
    blocks = notes.split("\n\n")
    assert blocks[0] == booking().question
    assert blocks[1] == f"Answer: {booking().headline}"
    assert {block.partition(":")[0] for block in blocks[1:-1]} == {"Answer", "How sure", "Period", "Rests on", "Method", "It holds if", "Checked", "Take care"}  # fmt: skip


def test_a_chart_is_told_in_words_and_what_is_added_later_gets_the_pages_colours(deck):
    made = Presentation(str(deck))
    (frame,) = [shape for shape in made.slides[1].shapes if shape.has_chart]
    assert frame._element.nvGraphicFramePr.cNvPr.get("descr") == booking().chart_text
    theme = made.slide_master.part.part_related_by(RELATIONSHIP_TYPE.THEME).blob.decode()
    assert f'<a:accent1><a:srgbClr val="{RECOMMENDED[1:]}"/>' in theme
    assert theme.count('<a:latin typeface="Arial"') == 2


def test_lines_keep_their_ranges_as_lines(deck):
    (chart,) = charts(Presentation(str(deck)).slides[2])
    names = [series.name for series in chart.plots[0].series]
    assert {"hearing aid", "hearing aid range, from and to", "hearing aid range, to"} <= set(names)


def test_the_workbook_in_a_chart_runs_nothing(deck):
    with zipfile.ZipFile(deck) as parts:
        books = [parts.read(name) for name in parts.namelist() if name.endswith(".xlsx")]
    assert len(books) == 6
    for book in books:
        with zipfile.ZipFile(io.BytesIO(book)) as inner:
            assert b"<f>" not in inner.read("xl/worksheets/sheet1.xml")
