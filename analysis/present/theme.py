"""The look: colours that keep their meaning, and one Plotly template."""

from __future__ import annotations

import plotly.graph_objects as go

# Okabe and Ito (2008), Color Universal Design: told apart by colour-blind readers.
RECOMMENDED = "#0072B2"
TODAY = "#8a8a8a"
NAMED = ("#D55E00", "#009E73", "#E69F00", "#CC79A7", "#56B4E9")
GRADE_BLUES = {
    "clear": "#c6dbef",
    "non_occluding": "#85b6da",
    "partly_occluding": "#3a86bf",
    "fully_occluding": "#0b4a86",
}
"""Grades are ordered, so they are four steps of one blue."""

INK, PAPER = "#1b1b1b", "#fffdf8"
SANS = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"

TEMPLATE = go.layout.Template(
    layout=go.Layout(
        font={"family": SANS, "size": 14, "color": INK},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        colorway=[RECOMMENDED, *NAMED],
        margin={"l": 8, "r": 8, "t": 8, "b": 8},
        xaxis={"showgrid": False, "zeroline": False, "ticks": "outside", "ticklen": 4, "automargin": True},
        yaxis={"gridcolor": "rgba(128,128,128,0.25)", "zeroline": False, "automargin": True},
        showlegend=False,
        hovermode="closest",
        dragmode=False,
    )
)


def blank_figure(height: int) -> go.Figure:
    """Start a figure in the house look, ``height`` pixels high."""
    return go.Figure(layout=go.Layout(template=TEMPLATE, height=height, autosize=True))
