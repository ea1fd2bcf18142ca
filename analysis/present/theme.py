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

INK, QUIET, PAPER = "#1b1b1b", "#5b5853", "#fffdf8"
SANS = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
FAINT = "rgba(128,128,128,0.28)"

LETTERING = {
    TODAY: "#686868",
    "#D55E00": "#ad4c00",
    "#009E73": "#007355",
    "#E69F00": "#855c00",
    "#CC79A7": "#a0457a",
    "#56B4E9": "#1d6f9e",
    GRADE_BLUES["clear"]: QUIET,
    GRADE_BLUES["non_occluding"]: "#2f6f9f",
    GRADE_BLUES["partly_occluding"]: "#2f6f9f",
}
"""Darker relatives for words: a mark may be paler than a word that names it."""

DARK = {
    INK: "#e8e6e1",
    QUIET: "#b3afa7",
    PAPER: "#16181a",
    RECOMMENDED: "#4ea8e4",
    TODAY: "#8f8f8f",
    "#D55E00": "#f58a3c",
    "#009E73": "#2cc497",
    "#E69F00": "#efb23e",
    "#CC79A7": "#de97bf",
    "#56B4E9": "#9cd8f8",
    GRADE_BLUES["clear"]: "#29445c",
    GRADE_BLUES["non_occluding"]: "#3f719b",
    GRADE_BLUES["partly_occluding"]: "#62a5d8",
    GRADE_BLUES["fully_occluding"]: "#b4daf7",
    "#686868": "#adadad",
    "#ad4c00": "#f79a55",
    "#007355": "#45cfa5",
    "#855c00": "#efb95a",
    "#a0457a": "#e2a5c8",
    "#1d6f9e": "#8fcdf0",
    "#2f6f9f": "#7cb6e0",
}
"""What each colour of a chart becomes where the reader prefers a dark page."""

TEMPLATE = go.layout.Template(
    layout=go.Layout(
        font={"family": SANS, "size": 14, "color": INK},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        colorway=[RECOMMENDED, *NAMED],
        margin={"l": 8, "r": 12, "t": 8, "b": 8},
        xaxis={
            "showgrid": False,
            "zeroline": False,
            "ticks": "outside",
            "ticklen": 4,
            "tickcolor": FAINT,
            "automargin": True,
            "fixedrange": True,
            "nticks": 7,
            "title": {"font": {"size": 13, "color": QUIET}, "standoff": 8},
            "tickfont": {"size": 13, "color": QUIET},
        },
        yaxis={
            "gridcolor": FAINT,
            "zeroline": False,
            "automargin": True,
            "fixedrange": True,
            "nticks": 6,
            "title": {"font": {"size": 13, "color": QUIET}, "standoff": 6},
            "tickfont": {"size": 13, "color": QUIET},
        },
        annotationdefaults={"showarrow": False},
        showlegend=False,
        hovermode="closest",
        hoverlabel={"bgcolor": PAPER, "bordercolor": TODAY, "font": {"family": SANS, "size": 13, "color": INK}},
        dragmode=False,
    )
)


def lettering(colour: str) -> str:
    """Give the colour for words that name a mark of this colour.

    Parameters
    ----------
    colour : str
        A colour of this file, as a mark is drawn in it.

    Returns
    -------
    str
        Itself, or a darker relative that words of ordinary size can be read in
        on the page's paper (a contrast of at least 4.5 to 1).

    Examples
    --------
    >>> lettering(RECOMMENDED), lettering(TODAY)
    ('#0072B2', '#686868')
    """
    return LETTERING.get(colour, colour)


def blank_figure(height: int) -> go.Figure:
    """Start a figure in the house look, ``height`` pixels high."""
    return go.Figure(layout=go.Layout(template=TEMPLATE, height=height, autosize=True))
