"""How far two groups are apart, fact by fact, before and after something was done about it."""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go

from analysis.present.chart_rows import plain
from analysis.present.charts import DOTTED, tidy
from analysis.present.theme import INK, QUIET, blank_figure, lettering

ROW_HEIGHT, TOP, BOTTOM = 42, 30, 52
SYMBOLS = ("circle", "diamond", "square")


def balance_chart(
    facts: Sequence[str],
    ways: Sequence[tuple[str, Sequence[float], str]],
    *,
    x_title: str,
    line: float,
) -> go.Figure:
    """Draw a row a fact, and in it a mark a way of comparing.

    Parameters
    ----------
    facts : sequence of str
        Top row first.
    ways : sequence of (str, sequence of float, str)
        Its name, its figure for each fact, and its colour; each has a mark of its own shape.
    x_title : str
        What the axis shows.
    line : float
        Where a thin dotted line stands.

    Returns
    -------
    plotly.graph_objects.Figure
        A trace a way. The names of the ways stand above, in their colours, with their marks.
    """
    figure = blank_figure(TOP * len(ways) + ROW_HEIGHT * len(facts) + BOTTOM)
    figure.update_layout(margin={"l": 14, "r": 12, "t": TOP * len(ways), "b": BOTTOM})
    figure.add_vline(x=line, line=DOTTED, layer="below")
    for place, (name, values, colour) in enumerate(ways):
        symbol = SYMBOLS[place % len(SYMBOLS)]
        figure.add_scatter(
            x=tidy(values),
            y=list(range(len(facts))),
            mode="markers",
            marker={"size": 11, "color": colour, "symbol": symbol},
            name=name,
            cliponaxis=False,
            hovertemplate=f"{plain(name)}: %{{x:.2f}}<extra></extra>",
        )
        shown = {"circle": "\N{BLACK CIRCLE}", "diamond": "\N{BLACK DIAMOND}", "square": "\N{BLACK SQUARE}"}[symbol]
        figure.add_annotation(
            text=f"{shown} {plain(name)}", xref="paper", yref="paper", x=0, y=1, xanchor="left", yanchor="bottom",
            xshift=-14, yshift=TOP * (len(ways) - place - 1) + 2, font={"color": lettering(colour), "size": 14},
        )  # fmt: skip
    for row, fact in enumerate(facts):
        figure.add_annotation(
            text=plain(fact), xref="paper", x=0, xanchor="left", xshift=-14, y=row, yanchor="bottom", yshift=7,
            font={"color": INK, "size": 14},
        )  # fmt: skip
    figure.update_yaxes(range=[len(facts) - 0.5, -0.8], showgrid=False, showticklabels=False, title=None)
    figure.update_xaxes(title=x_title, rangemode="tozero", tickfont={"color": QUIET})
    return figure
