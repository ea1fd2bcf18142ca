"""How many will come in each week."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers.demand_figures import RANGES
from analysis.answers.demand_weeks_figures import LEVEL, WeekForecast, week_forecast
from analysis.answers.demand_words import SERIES, month_name
from analysis.clinic import Clinic
from analysis.models.return_table import WEEK
from analysis.models.site_shares import FEWEST_VISITS
from analysis.models.visit_history import EPOCH
from analysis.present import words
from analysis.present.answer import FAILED, INFORMATION, PASSED, Answer, Check, ResultRow, no_answer
from analysis.present.chart_forecast import Band, forecast_chart
from analysis.present.charts import Line
from analysis.present.theme import RECOMMENDED, TODAY
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

QUESTION = "How many will come in each week?"
SECTION = "demand_weeks"
WEEKS_SHOWN = 40
FEWEST_TRIED, LEAST_HELD = 20, 0.65
"""Weeks from which ranges are judged, and the share that must lie within 8-in-10 ranges (our choice, no source)."""


def how_many_will_come_each_week(clinic: Clinic) -> Answer:
    """Share the months' forecast out over their weeks.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Without a figure where the log is too short for a forecast.
        Rows, at 50, 80 and 95 %: ``visits`` by kind and week (its first day);
        ``visits_at_site`` by kind, site and week, where two sites or more have
        visits enough.
    """
    try:
        found = week_forecast(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    figures = found.figures
    return Answer(
        question=QUESTION,
        headline=_headline(found),
        how_sure=(
            "Ranges hold 8 weeks in 10. They count what is uncertain about the months and which week of a month a visit "
            "falls in; a single week is far less sure than a month."
        ),
        table=_table(found),
        chart=_chart(found, clinic.settings.clinic.hide_below),
        chart_title=_chart_title(found),
        chart_text=_chart_text(found),
        assumptions=_assumptions(found),
        checks=(_held(found), _sites_check(found)),
        basis=figures.basis(
            "The months' forecast, each shared out over its weeks by the days the clinic is expected to open."
        ),
        rows=tuple(_rows(found)),
    )


def _day(number: int) -> str:
    """Say the first day of a week."""
    return words.day(EPOCH + pd.Timedelta(days=int(number)))


def _headline(found: WeekForecast) -> str:
    """Say a usual week, and the busiest and the quietest."""
    months, whole = found.figures.demand.months.ahead, found.whole
    period = f"{month_name(months[0])} to {month_name(months[-1])}"
    if not len(whole):
        return f"No whole week lies within {period}."
    totals = found.expected[whole].sum(axis=1)
    most, least = (int(whole[place]) for place in (totals.argmax(), totals.argmin()))
    high, low = found.estimate(most, LEVEL), found.estimate(least, LEVEL)
    fewest = (
        f"fewest in the week of {_day(found.weeks.begins[least])}, {words.number(low.value)} ({words.between(low)})"
    )
    if low.high < 1:
        fewest = f"none in the week of {_day(found.weeks.begins[least])}, when the clinic is expected to be closed"
    elif found.weeks.with_holidays[least]:
        fewest += ", when the clinic is expected to be closed on some days"
    return (
        f"Over {period}, about {words.number(totals.mean())} visits are expected in an average week: most in the week of "
        f"{_day(found.weeks.begins[most])}, {words.number(high.value)} ({words.between(high)}), and {fewest}."
    )


def _table(found: WeekForecast) -> pd.DataFrame:
    """List each week with its opening days: all visits, then each kind's, then each site's."""
    rows = []
    for week, begins in enumerate(found.weeks.begins):
        for name, estimates in _lines(found, week):
            columns: dict[str, object] = {
                "week_begins": _day(begins),
                "days_in_months": int(found.weeks.days[week]),
                "opening_days": float(found.weeks.opening_days[week]),
                "forecast_of": name,
            }
            for level, one in zip(RANGES, estimates, strict=True):
                at = round(100 * level)
                columns |= {"value": one.value, f"low_{at}": one.low, f"high_{at}": one.high}
            rows.append(columns)
    return pd.DataFrame(rows)


def _lines(found: WeekForecast, week: int) -> Iterable[tuple[str, list[Estimate]]]:
    """Give a week's lines of the table, each at every level."""
    kinds: dict[str, int | None] = {"all": None, **found.kinds}
    for name, kind in kinds.items():
        yield SERIES[name], [found.estimate(week, level, kind) for level in RANGES]
    for name, site in found.sites.items():
        yield f"{name}, all kinds", [found.estimate_at(site, week, level) for level in RANGES]


def _chart(found: WeekForecast, hide_below: int) -> go.Figure:
    """Draw past weeks and those ahead, whole weeks only; past weeks of too few visits to show are gaps."""
    whole = found.whole
    bands = []
    for level, label, opacity in ((0.95, "outer: 19 weeks in 20", 0.16), (LEVEL, "inner: 8 weeks in 10", 0.24)):
        ends = [found.estimate(int(week), level) for week in whole]
        bands.append(Band(label, [one.low for one in ends], [one.high for one in ends], opacity))
    begins, came = found.weeks.past[-WEEKS_SHOWN:].T
    shown = np.where((came > 0) & (came < hide_below), np.nan, came)
    return forecast_chart(
        Line("came", _dates(begins), shown.tolist(), colour=TODAY),
        Line(
            "expected",
            _dates(found.weeks.begins[whole]),
            found.expected[whole].sum(axis=1).tolist(),
            colour=RECOMMENDED,
        ),
        bands,
        y_title="visits a week",
        weekly=True,
    )


def _dates(days: np.ndarray) -> list[str]:
    """Give days as dates a chart can place."""
    return [f"{EPOCH + pd.Timedelta(days=int(day)):%Y-%m-%d}" for day in days]


def _chart_title(found: WeekForecast) -> str:
    """Say what a usual week has."""
    usual = found.whole[~found.weeks.with_holidays[found.whole]]
    if not len(usual):
        return "Visits expected by week"
    totals = found.expected[usual].sum(axis=1)
    low, high = words.number(totals.min()), words.number(totals.max())
    between = f"{low} visits" if low == high else f"{low} to {high} visits"
    return f"{between} are expected in weeks without holidays"


def _chart_text(found: WeekForecast) -> str:
    """Tell the chart in words."""
    told = [f"{_day(found.weeks.begins[week])} {words.number(found.expected[week].sum())}" for week in found.whole]
    return f"Visits expected by week, from its first day: {words.joined(told)}."


def _assumptions(found: WeekForecast) -> tuple[str, ...]:
    """Say what would have to be true."""
    said = [
        "Each month's visits fall on its opening days as weekdays do in the log; within a month no week is busier for any "
        "other reason. A month's weeks add up to its forecast, in every possible future.",
        "Dates closed in every year of the log, such as 25 December, are expected closed again, and so are moving holidays on "
        "which at least two years had no booking: the Friday before and the Monday after Easter, Ascension, Whit Monday, and "
        "a month's first or last Monday. Other closed days ahead are not foreseen. Where an empty day is no rarity, only "
        "stretches of dates too long to be empty by chance are taken for closed.",
        "What closed days leave is caught up on over the ten opening days that follow, as far as the clinic's months have "
        "shown; what is done before a holiday in its place is not.",
    ]
    if found.sites:
        said.append(
            "Each site has the share of each kind of visit that it had of late, alike in every week; a site closed while the "
            "other is open is not foreseen. The sites' expected visits add up to the clinic's, and so do the visits of every "
            "possible future."
        )
    if (found.weeks.days < WEEK).any():
        said.append(
            "A week that begins or ends outside the months ahead is listed with the days inside; the chart leaves it out."
        )
    return tuple(said)


def _held(found: WeekForecast) -> Check:
    """Say how past weeks lay within what the sharing-out gives them."""
    name, tried = "Past weeks, given their months", len(found.weeks.tried)
    if tried < FEWEST_TRIED or np.isnan(found.held):
        return Check(name, INFORMATION, "The log has too few whole months to judge the ranges of weeks by.")
    said = (
        f"{words.percent(found.held)} of the weeks of the last year lay within the range that their month's visits, shared "
        "out, give 8 weeks in 10."
    )
    return Check(name, PASSED if found.held >= LEAST_HELD else FAILED, said)


def _sites_check(found: WeekForecast) -> Check:
    """Say which sites have lines of their own, and why others have none."""
    name, at = "Weeks by site", found.at_sites
    if isinstance(at, NotEnough):
        return Check(name, INFORMATION, f"Not shared out between sites. {at.why}")
    said = f"Shared out between {words.joined(list(found.sites))} as their visits of the last {at.sites.months} whole months were."
    left = [place or "no site noted" for place in at.sites.small]
    if left and len(found.sites) < len(at.sites.names):
        said += f" Fewer than {FEWEST_VISITS} visits have {words.joined(left)}, so the sites add up to a little less than all visits."
    elif left:
        said += (
            f" Fewer than {FEWEST_VISITS} visits each have {words.joined(left)}; they stand in the line of other sites."
        )
    return Check(name, INFORMATION, said)


def _rows(found: WeekForecast) -> Iterable[ResultRow]:
    """Keep every week, by kind and of all kinds, of the clinic and of each site."""
    kinds: dict[str, int | None] = {**found.kinds, "all": None}
    for name, kind in kinds.items():
        for week, date in enumerate(_dates(found.weeks.begins)):
            for level in RANGES:
                one = found.estimate(week, level, kind)
                yield ResultRow.from_estimate(SECTION, "visits", "visits", one, kind=name, week=date)
                for at, site in found.sites.items():
                    one = found.estimate_at(site, week, level, kind)
                    group = {"kind": name, "site": at, "week": date}
                    yield ResultRow.from_estimate(SECTION, "visits_at_site", "visits", one, **group)
