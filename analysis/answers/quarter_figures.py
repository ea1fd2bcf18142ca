"""A quarter's tables, charts and result rows."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import plotly.graph_objects as go

from analysis.answers import quarter_words as say
from analysis.models.quarter_measures import ALL, Measure
from analysis.models.quarter_periods import LAST, THIS, YEAR
from analysis.present import words
from analysis.present.answer import ResultRow
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import GRADE_BLUES, RECOMMENDED, TODAY
from analysis.stats.estimate import Estimate

PERIOD_NAMES = {THIS: "this quarter", LAST: "the quarter before", YEAR: "a year before"}


def measures_table(measures: Sequence[Measure], *, per_thousand: bool = False) -> pd.DataFrame:
    """Lay the measures out, one a row: counts, share with its range; what is hidden is empty."""
    stem, scale = ("in_1000", 1000.0) if per_thousand else ("quarter_share", 1.0)
    several = len({each.part for each in measures}) > 1
    rows = []
    for each in measures:
        share = each.share
        rows.append(
            {
                "measure": say.MEASURES[each.name],
                **({"part": "whole clinic" if each.part == ALL else each.part} if several else {}),
                **{period: _number(each.counts[period]) for period in PERIOD_NAMES if period in each.counts},
                stem: _scaled(share, "value", scale),
                f"{stem}_low": _scaled(share, "low", scale),
                f"{stem}_high": _scaled(share, "high", scale),
                "out_of": _number(each.of),
            }
        )
    return pd.DataFrame(rows)


def _number(count: int | None) -> float:
    """Give a count as a number; a hidden one is empty."""
    return float("nan") if count is None else float(count)


def _scaled(share: Estimate | None, end: str, scale: float) -> float:
    """Give one end of a share in the table's unit."""
    return float("nan") if share is None else getattr(share, end) * scale


def shares_bars(measures: Sequence[Measure], names: Sequence[str], *, scale: float = 1.0) -> list[Bar]:
    """Make the bars of some measures: this quarter in blue, the earlier ones below in grey."""
    bars = []
    for name in names:
        measure = next((each for each in measures if (each.name, each.part) == (name, ALL)), None)
        if measure is None:
            continue
        shown = {THIS: measure.share, **{before: measure.earlier.get(before) for before in (LAST, YEAR)}}
        for period, share in shown.items():
            if share is not None:
                label = f"{say.MEASURES[name]}, {PERIOD_NAMES[period]}"
                bars.append(_bar(label, share, RECOMMENDED if period == THIS else TODAY, scale))
    return bars


def grade_bars(measures: Sequence[Measure]) -> list[Bar]:
    """Make one bar a grade found this quarter, in the grades' blues."""
    return [
        _bar(say.MEASURES[each.name], each.share, GRADE_BLUES[each.name])
        for each in measures
        if each.name in GRADE_BLUES and each.share is not None
    ]


def _bar(label: str, share: Estimate, colour: str, scale: float = 1.0) -> Bar:
    """Make one bar of a share."""
    told = share.scaled(scale)
    return Bar(label[:1].upper() + label[1:], told.value, told.low, told.high, colour)


def bars_chart(bars: Sequence[Bar], x_title: str, *, percent: bool = True) -> go.Figure | None:
    """Draw the bars; None where every one is hidden."""
    return range_chart(bars, x_title=x_title, from_zero=True, percent=percent) if bars else None


def bars_text(bars: Sequence[Bar], *, percent: bool = True) -> str:
    """Tell the chart in words."""
    form = words.percent if percent else words.number
    told = [f"{bar.label}: {form(bar.value)} ({form(bar.low)} to {form(bar.high)})" for bar in bars]
    unit = "" if percent else "In 1,000 visits: "
    return f"{unit}{'. '.join(told)}." if told else ""


def measure_rows(section: str, measures: Sequence[Measure]) -> tuple[ResultRow, ...]:
    """Keep every count, share and change; a hidden count has no value."""
    rows = []
    for each in measures:
        group = {"measure": each.name, "part": each.part}
        for period, count in each.counts.items():
            value = None if count is None else float(count)
            rows.append(
                ResultRow(
                    section, "count", {**group, "period": period}, value, None, None, None, "count", None, "count"
                )
            )
        shares = {} if each.share is None else {THIS: each.share}
        rows += [
            ResultRow.from_estimate(section, "share", "share", share, period=period, **group)
            for period, share in {**shares, **each.earlier}.items()
        ]
        quantity, unit = ("ratio_of_counts", "ratio") if each.share is None else ("difference_of_shares", "share")
        rows += [
            ResultRow.from_estimate(section, quantity, unit, told, against=before, **group)
            for before, told in each.change.items()
        ]
    return tuple(rows)
