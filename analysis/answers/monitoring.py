"""What is watched from month to month: whether anything left its usual limits in a quarter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis.answers import monitoring_words as say
from analysis.answers.clinic_attempts import clinic_attempts
from analysis.clinic import Clinic
from analysis.derive.quarters import Quarter
from analysis.models.quarter_periods import Periods, periods
from analysis.models.watched_months import FEWEST_POINTS, SHARE, Watched, signals_within, watch_all, watched_marks
from analysis.present.answer import Answer, Basis, ResultRow, no_answer
from analysis.present.chart_control import Panel, control_panels
from analysis.problems import NotEnough
from analysis.stats.control_charts import TAIL

CHANGED = "Has anything changed from month to month?"
METHOD = (
    "Shewhart charts: shares and rates of counts, single values with moving ranges for minutes; exact tails for events; "
    "shares of ears and of starts widened by their own swing (Laney 2002)."
)


def what_changed(clinic: Clinic, quarter: str) -> Answer:
    """Say which watched measures left their usual limits in a quarter.

    Parameters
    ----------
    clinic : Clinic
        ``monitoring.changes`` says from which days limits are worked out anew;
        ``clinic.hide_below`` which counts are too small to show by month.
    quarter : str
        Such as ``2026-Q3``.

    Returns
    -------
    Answer
        Every measure's points in the quarter with their usual limits, and a
        control chart of the whole log up to the quarter's end. Rows of section
        ``monitoring``: ``watched_share``, ``usual_share`` (or ``_rate``,
        ``_minutes``) and ``signals``.

    Raises
    ------
    DataProblem
        If ``quarter`` is not written as one.
    """
    asked = Quarter.parse(quarter)
    try:
        found = periods(asked, clinic.first_day, clinic.last_day)
        shown, left_out = _watched(clinic, found)
    except NotEnough as reason:
        return no_answer(CHANGED, reason)
    changes = [(pd.Timestamp(day), words) for day, words in clinic.settings.monitoring.changes.items()]
    inside = [day for day in changes if clinic.first_day < day[0] <= found.last_day]
    return Answer(
        CHANGED,
        say.headline(shown, found),
        how_sure=say.how_sure(shown, found),
        table=_table(shown, found),
        chart=control_panels([_panel(each) for each in shown], inside),
        chart_title=say.title(shown, found),
        chart_text=say.chart_text(shown),
        assumptions=say.assumptions(inside),
        cautions=say.CAUTIONS,
        checks=(
            *say.earlier_check(shown, found),
            *say.ranges_check(shown, found),
            *say.provisional_check(shown),
            *say.left_out_check(left_out, clinic.settings.clinic.hide_below),
        ),
        basis=Basis(
            int(shown[0].known), f"whole {shown[0].by}s", {}, shown[0].periods[0].start_time, found.last_day, METHOD
        ),
        rows=tuple(row for each in shown for row in _rows(each, found)),
    )


def _watched(clinic: Clinic, found: Periods) -> tuple[list[Watched], dict[str, str]]:
    """Chart every measure up to the quarter's end; say of each other one why it is not charted."""
    settings = clinic.settings
    days = settings.softening.second_attempt_days
    worked = clinic_attempts(clinic)
    shown, left_out = [], {}
    every = watch_all(
        watched_marks(clinic.visits, worked, clinic.last_day - pd.Timedelta(days=days)),
        clinic.first_day,
        found.last_day,
        changes=[pd.Timestamp(day) for day in settings.monitoring.changes],
        hide_below=settings.clinic.hide_below,
    )
    for name, made in every.items():
        if made is None:
            left_out[name] = say.SMALL
        elif made.known < FEWEST_POINTS:
            left_out[name] = say.SHORT
        else:
            shown.append(made)
    if not shown:
        raise NotEnough(
            f"Up to {found.quarter.label} the log has fewer than {FEWEST_POINTS} whole months of any measure large enough to show.",
            f"Ask again once {FEWEST_POINTS} whole months are in the log.",
        )
    return shown, left_out


def _panel(watched: Watched) -> Panel:
    """Lay a measure out for its chart."""
    chart, scale = watched.chart, say.SCALES[watched.kind]
    latest = say.latest(watched)
    return Panel(
        say.axis_label(watched),
        f"{say.figure(watched, chart.values[latest])} in {say.when(watched, latest)}{say.by_quarter(watched)}",
        list(watched.periods.start_time),
        (chart.values * scale).tolist(),
        (chart.centre * scale).tolist(),
        (chart.low * scale).tolist(),
        (chart.high * scale).tolist(),
        chart.signals.tolist(),
        form=".0%" if watched.kind == SHARE else "",
    )


def _table(shown: Sequence[Watched], found: Periods) -> pd.DataFrame:
    """List every point of the quarter with its usual limits."""
    rows = [_point(each, place) for each in shown for place in _places(each, found)]
    return pd.DataFrame(rows, columns=["measure", "watched_period", "value", "low", "high", "unit", "signal"])


def _point(watched: Watched, place: int) -> dict[str, str | float]:
    """Give one point's row of the table."""
    chart, scale = watched.chart, say.SCALES[watched.kind]
    return {
        "measure": say.NAMES[watched.name],
        "watched_period": say.when(watched, place),
        "value": chart.values[place] * scale,
        "low": chart.low[place] * scale,
        "high": chart.high[place] * scale,
        "unit": say.UNITS[watched.kind],
        "signal": say.signal(watched, place),
    }


def _places(watched: Watched, found: Periods) -> list[int]:
    """Find the points that lie in the quarter."""
    known = ~np.isnan(watched.chart.values) & np.asarray(watched.periods.start_time >= found.quarter.first_day)
    return np.flatnonzero(known).tolist()


def _rows(watched: Watched, found: Periods) -> list[ResultRow]:
    """Keep every point, the usual figure of the latest stretch, and the signals in the quarter."""
    chart, scale, unit = watched.chart, say.SCALES[watched.kind], say.RESULT_UNITS[watched.kind]
    shown = np.flatnonzero(~np.isnan(chart.values) & ~np.isnan(chart.low)).tolist()
    rows = [
        ResultRow(
            "monitoring",
            f"watched_{watched.kind}",
            {"measure": watched.name, "period": str(watched.periods[place])},
            float(chart.values[place]) * scale,
            float(chart.low[place]) * scale,
            float(chart.high[place]) * scale,
            1 - 2 * TAIL,
            unit,
            int(watched.n[place]),
            "point with its control limits",
        )
        for place in shown
    ]
    signals = int(signals_within(watched, found.quarter.first_day, found.last_day).sum())
    group = {"measure": watched.name}
    usual = float(chart.centre[-1]) * scale
    return [
        *rows,
        ResultRow(
            "monitoring", f"usual_{watched.kind}", group, usual, None, None, None, unit, watched.known, "centre line"
        ),
        ResultRow("monitoring", "signals", group, float(signals), None, None, None, "count", None, "rules 1 and 4"),
    ]
