"""Charts draw every range, name what they draw, and keep a log's words from being markup."""

import numpy as np
import pandas as pd
import pytest

from analysis.present.charts import Bar, Line, line_chart, range_chart
from analysis.present.label_places import label_places


def texts(figure):
    return [annotation.text for annotation in figure.layout.annotations]


def test_each_row_has_its_mark_its_range_and_its_words():
    figure = range_chart(
        [Bar("new patient", 30, 27, 34), Bar("recall", 0.5, 0.25, 0.75, text="half")], x_title="minutes"
    )
    assert [trace.name for trace in figure.data] == ["new patient", "recall"]
    assert figure.data[0].error_x.array == (4.0,)
    assert figure.data[0].error_x.arrayminus == (3.0,)
    assert texts(figure) == ["new patient", "30 (27 to 34)", "recall", "half"]


def test_a_percentage_is_written_as_one():
    figure = range_chart([Bar("cleared", 0.123, 0.1, 0.15)], x_title="share", percent=True)
    assert texts(figure) == ["cleared", "12% (10% to 15%)"]
    assert figure.layout.xaxis.tickformat == ".0%"


def test_a_row_without_a_figure_says_so():
    figure = range_chart([Bar("forceps", np.nan, np.nan, np.nan)], x_title="minutes")
    assert texts(figure) == ["forceps", "not shown"]


def test_a_long_label_is_broken_and_its_row_is_higher():
    short = range_chart([Bar("one", 1, 0, 2, text="one minute")], x_title="minutes")
    long = range_chart([Bar("a return with symptoms, recommended", 1, 0, 2, text="one minute")], x_title="minutes")
    assert "<br>" in texts(long)[0]
    assert long.layout.height > short.layout.height


def test_a_name_from_the_log_is_not_markup():
    figure = range_chart([Bar("<b>A</b>", 1, 0, 2)], x_title="minutes")
    assert texts(figure)[0] == "&lt;b&gt;A&lt;/b&gt;"
    assert "<b>" not in figure.data[0].hovertemplate


def test_a_line_with_a_range_has_a_band_that_closes():
    line = Line("visits", [1, 2, 3], [10.0, 11.0, 12.0], [8.0, 9.0, 9.5], [12.0, 13.0, 15.0])
    band, drawn = line_chart([line], x_title="month", y_title="visits").data
    assert list(band.y) == [12.0, 13.0, 15.0, 9.5, 9.0, 8.0]
    assert list(drawn.y) == [10.0, 11.0, 12.0]


def test_figures_are_rounded_so_that_a_rerun_compares_equal():
    line = Line("visits", [1, 2], [1 / 3, 2 / 3])
    assert list(line_chart([line], x_title="", y_title="").data[0].y) == [0.333333, 0.666667]


@pytest.mark.parametrize(
    "x", [[1, 2, 3], pd.date_range("2026-01-01", periods=3, freq="MS"), ["June", "July", "August"]]
)
def test_lines_may_run_over_numbers_days_or_words(x):
    figure = line_chart([Line("visits", x, [10.0, np.nan, 30.0])], x_title="month", y_title="visits")
    assert "visits" in texts(figure)


def test_names_of_lines_that_end_together_do_not_meet():
    x = np.arange(25.0)
    curves = [1 - np.exp(-x / scale) for scale in (9.0, 15.0, 15.4)]
    names = ["hearing aid", "no hearing aid", "not recorded"]
    places = label_places(names, [x] * 3, curves, height=290, lowest=0.0, highest=1.0)
    marks = [(round(curve[place.index] * 290), place.above) for curve, place in zip(curves, places, strict=True)]
    assert len({mark for mark, _ in marks}) == 3
    assert marks[1][1] != marks[2][1] or abs(marks[1][0] - marks[2][0]) >= 18


def test_no_difference_is_marked_in_every_row_and_crosses_no_label():
    figure = range_chart([Bar("used", 1, 0.5, 2), Bar("advised", 0.2, -1, 1)], x_title="minutes saved", reference=0.0)
    assert [shape.x0 for shape in figure.layout.shapes] == [0.0, 0.0]
    for shape, trace in zip(figure.layout.shapes, figure.data, strict=True):
        assert shape.y0 < trace.y[0] < shape.y1


def test_names_of_lines_keep_clear_of_a_marked_place():
    months = np.arange(25.0)
    curve = 1 - np.exp(-((months / 20) ** 1.4))
    crossed = label_places(["without a hearing aid"], [months], [curve], height=290, lowest=0, highest=0.75)
    kept = label_places(
        ["without a hearing aid"], [months], [curve], height=290, lowest=0, highest=0.75, upright=20.0, level=0.3
    )
    assert crossed != kept
    figure = line_chart([Line("without", months, curve)], x_title="", y_title="", upright=20.0, level=0.3)
    assert [(shape.x0, shape.y1) for shape in figure.layout.shapes] == [(20.0, 1), (0, 0.3)]
