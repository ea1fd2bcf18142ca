"""Fitted shares against those seen: every dot with its range, and the line on which they fit."""

from analysis.present.chart_foreseen import Dots, foreseen_chart


def test_dots_have_their_ranges_and_the_line_slants():
    figure = foreseen_chart([Dots("clear", [0.2, 0.4], [0.25, 0.35], [0.2, 0.3], [0.3, 0.42], "#123456", "circle")])
    (dots,) = figure.data
    assert (dots.name, list(dots.x), list(dots.y)) == ("clear", [0.2, 0.4], [0.25, 0.35])
    assert [round(each, 6) for each in dots.error_y.array] == [0.05, 0.07]
    assert [round(each, 6) for each in dots.error_y.arrayminus] == [0.05, 0.05]
    (line,) = figure.layout.shapes
    assert (line.x0, line.x1) == (line.y0, line.y1)
    assert line.x1 > 0.42
