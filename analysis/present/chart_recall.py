"""The share occluding again as months go by, with the chosen share and today's interval marked."""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go

from analysis.present import words
from analysis.present.charts import Line, line_chart
from analysis.present.theme import QUIET


def recall_chart(lines: Sequence[Line], *, share: float, today_months: float) -> go.Figure:
    """Draw a curve a group, a level line at the chosen share and an upright one at today's interval.

    Parameters
    ----------
    lines : sequence of Line
        By months since clearance, shares between 0 and 1.
    share : float
        The share at which people are to be called back.
    today_months : float
        Months after which the clinic calls back today; not marked where the curves end before,
        nor at 0, where no rule is set.

    Returns
    -------
    plotly.graph_objects.Figure
        A trace a line, and before it one for its band.
    """
    upright = today_months if 0 < today_months <= max(line.x[-1] for line in lines) else None
    figure = line_chart(
        lines,
        x_title="months since the ear was cleared",
        y_title="share occluding again",
        percent=True,
        upright=upright,
        level=share,
    )
    words_at = {"showarrow": False, "font": {"size": 13, "color": QUIET}}
    figure.add_annotation(
        text=f"chosen share, {words.percent(share)}", x=0, xref="paper", xanchor="left", y=share, yanchor="bottom",
        **words_at,
    )  # fmt: skip
    if upright is not None:
        figure.add_annotation(
            text=f"today, {words.plural(today_months, 'month')}", x=today_months, xanchor="left", xshift=4, y=0,
            yanchor="bottom", **words_at,
        )  # fmt: skip
    return figure
