"""Control charts and funnel rows as drawn: signals told without colour, gaps left open, names never markup."""

import pandas as pd
import pytest

from analysis.present.chart_control import Panel, control_panels
from analysis.present.chart_funnel import Unit, funnel_rows

MONTHS = list(pd.date_range("2026-01-01", periods=6, freq="MS"))


def panel(values: list[float], signals: list[bool], label: str = "missed") -> Panel:
    return Panel(label, "9%", MONTHS, values, [0.1] * 6, [0.05] * 6, [0.15] * 6, signals, form=".0%")


def test_a_signal_differs_in_shape_and_size_and_the_latest_one_is_named():
    points = control_panels([panel([0.1, 0.2, 0.1, 0.1, 0.2, 0.1], [False, True, False, False, True, False])]).data[2]
    assert list(points.marker.symbol) == ["circle", "diamond", "circle", "circle", "diamond", "circle"]
    assert points.marker.size[1] > points.marker.size[0]
    assert list(points.text) == ["", "", "", "", "May 2026", ""]


def test_a_month_without_a_figure_is_a_gap():
    points = control_panels([panel([0.1, float("nan"), 0.1, 0.1, 0.1, 0.1], [False] * 6)]).data[2]
    assert points.y[1] is None


def test_every_panel_has_an_axis_of_its_own_below_the_one_before():
    figure = control_panels([panel([0.1] * 6, [False] * 6, name) for name in ("missed", "late", "again")])
    places = [figure.layout[axis].domain for axis in ("yaxis", "yaxis2", "yaxis3")]
    assert places[0][0] > places[1][1] > places[1][0] > places[2][1]


def test_a_long_name_is_broken_for_a_phone_and_leaves_every_plot_its_height():
    long = "Started within five minutes of the slot, at every site"
    figure = control_panels([panel([0.1] * 6, [False] * 6, name) for name in ("missed", long, "again")])
    drawn = figure.layout.height - figure.layout.margin.t - figure.layout.margin.b
    axes = [figure.layout[axis].domain for axis in ("yaxis", "yaxis2", "yaxis3")]
    assert [round((upper - lower) * drawn) for lower, upper in axes] == [92, 92, 92]
    assert figure.layout.annotations[1].text.startswith("Started within five minutes of the slot,<br>at every site<br>")


def test_a_declared_change_is_marked_in_every_panel_and_named_once():
    figure = control_panels(
        [panel([0.1] * 6, [False] * 6, name) for name in ("missed", "late")], [(MONTHS[3], "new room")]
    )
    assert [(shape.x0, shape.yref) for shape in figure.layout.shapes] == [
        ("2026-04-01", "y domain"),
        ("2026-04-01", "y2 domain"),
    ]
    assert [each.text for each in figure.layout.annotations].count("new room") == 1


@pytest.mark.parametrize(
    "figure",
    [
        control_panels([panel([0.1] * 6, [False] * 6, "<b>x</b>")], [(MONTHS[3], "<i>y</i>")]),
        funnel_rows([Unit("<b>x</b>", 1.0, (-2, 2), (-3, 3), False, "<i>y</i>")], x_title="points"),
    ],
)
def test_names_are_never_markup(figure):
    told = "".join(each.text for each in figure.layout.annotations)
    assert "<b>x</b>" not in told
    assert "<i>y</i>" not in told
    assert "&lt;b&gt;x" in told


def test_a_share_beyond_the_limits_differs_in_shape():
    inside, beyond = Unit("A", 1.0, (-2, 2), (-3, 3), False, "80%"), Unit("B", 5.0, (-2, 2), (-3, 3), True, "90%")
    assert [each.marker.symbol for each in funnel_rows([inside, beyond], x_title="points").data] == [
        "circle",
        "diamond",
    ]
