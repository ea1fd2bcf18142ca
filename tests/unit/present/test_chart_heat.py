"""The strips of months: steps of shade, open months, a key in words."""

import pandas as pd
import pytest

from analysis.present.chart_heat import COLOURS, Strip, month_strips

MONTHS = list(pd.date_range("2026-01-01", periods=5, freq="MS"))


@pytest.fixture
def figure():
    return month_strips(
        [Strip("grade <b>", "75%", [1.0, 0.95, 0.9499, 0.5, 0.0]), Strip("site", "-", [None] * 5)], MONTHS
    )


def test_shades_change_at_95_80_and_50_in_100(figure):
    assert [list(row) for row in figure.data[0].z] == [[0, 0, 1, 2, 3], [None] * 5]


def test_the_figure_is_told_when_pointed_at_and_never_all_where_something_is_missing():
    drawn = month_strips([Strip("grade", "", [0.9999, 1.0])], MONTHS[:2])
    assert [list(row) for row in drawn.data[0].text] == [["over 99%", "100%"]]


def test_labels_stand_above_their_strip_as_plain_text(figure):
    told = [annotation.text for annotation in figure.layout.annotations]
    assert "grade &lt;b&gt;" in told
    assert [
        annotation.y for annotation in figure.layout.annotations if annotation.text in ("grade &lt;b&gt;", "site")
    ] == [0, 1]


def test_the_key_names_every_shade_in_words(figure):
    key = figure.layout.annotations[-1].text
    assert all(colour in key for colour in COLOURS)
    assert all(text in key for text in ("from 95%", "from 80%", "from 50%", "less"))


def test_shades_go_from_light_to_dark_so_that_grey_print_keeps_them():
    light = [sum(int(colour[at : at + 2], 16) for at in (1, 3, 5)) for colour in COLOURS]
    assert light == sorted(light, reverse=True)
    assert len(set(light)) == len(light)
