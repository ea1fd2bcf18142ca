"""Forecasts beside what came."""

from __future__ import annotations

import pytest

from analysis.present.chart_forecast import Band
from analysis.present.chart_foretold import foretold_chart
from analysis.present.charts import Line

DATES = ["2026-01-01", "2026-02-01"]
FORETOLD, CAME = Line("stroke: expected", DATES, [110.0, 112.0]), Line("dot: came", DATES, [101.0, 130.0])
BANDS = [Band("palest: 19 in 20", [90, 92], [134, 138], 0.16), Band("darker: 8 in 10", [98, 100], [126, 130], 0.24)]


def test_narrower_ranges_lie_within_wider_ones_under_strokes_and_dots() -> None:
    figure = foretold_chart(FORETOLD, CAME, BANDS, y_title="visits a month")
    assert [trace.name for trace in figure.data] == [*(band.label for band in BANDS), "stroke: expected", "dot: came"]
    wide, narrow = figure.data[:2]
    assert [a + b for a, b in zip(wide.base, wide.y, strict=True)] == pytest.approx([134, 138])
    assert narrow.width < wide.width


def test_everything_is_named_and_stands_clear_of_the_marks() -> None:
    figure = foretold_chart(FORETOLD, CAME, BANDS, y_title="visits a month")
    said = " ".join(note.text for note in figure.layout.annotations)
    assert all(word in said for word in ("dot: came", "stroke: expected", "8 in 10", "19 in 20", "visits a month"))
    low, high = figure.layout.yaxis.range
    assert (low, high > 138 * 1.25) == (0, True)
    assert figure.layout.title.text is None
