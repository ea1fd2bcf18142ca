"""A forecast beside what came."""

from __future__ import annotations

from analysis.present.chart_forecast import Band, forecast_chart
from analysis.present.charts import Line
from analysis.present.theme import RECOMMENDED, TODAY

PAST = Line("came", ["2026-01-01", "2026-02-01", "2026-03-01"], [100.0, 110.0, 105.0], colour=TODAY)
AHEAD = Line("expected", ["2026-04-01", "2026-05-01"], [112.0, 115.0], colour=RECOMMENDED)
BANDS = [
    Band("paler: 19 months in 20", [90, 92], [134, 138], 0.16),
    Band("darker: 8 months in 10", [98, 100], [126, 130], 0.24),
]


def test_ranges_are_drawn_under_the_lines_the_widest_first() -> None:
    figure = forecast_chart(PAST, AHEAD, BANDS, y_title="visits a month")
    assert [trace.name for trace in figure.data] == [*(band.label for band in BANDS), "came", "expected"]
    assert list(figure.data[0].y) == [134, 138, 92, 90]


def test_lines_are_named_on_the_chart_and_it_has_no_title() -> None:
    figure = forecast_chart(PAST, AHEAD, BANDS, y_title="visits a month")
    said = " ".join(note.text for note in figure.layout.annotations)
    assert all(word in said for word in ("came", "expected", "8 months in 10", "19 months in 20", "visits a month"))
    assert figure.layout.title.text is None


def test_the_vertical_axis_starts_at_nought_and_leaves_room_for_the_names() -> None:
    low, high = forecast_chart(PAST, AHEAD, BANDS, y_title="visits a month").layout.yaxis.range
    assert low == 0
    assert high > 138 * 1.2


def test_what_came_is_named_under_its_line() -> None:
    figure = forecast_chart(PAST, AHEAD, BANDS, y_title="visits a month")
    name = next(note for note in figure.layout.annotations if note.text == "came")
    assert name.y <= min(PAST.y[1:])
    assert name.yanchor == "top"


def test_words_from_outside_are_no_markup() -> None:
    figure = forecast_chart(Line("<b>came</b>", PAST.x, PAST.y), AHEAD, BANDS, y_title="visits a month")
    assert any("&lt;b&gt;" in note.text for note in figure.layout.annotations)
