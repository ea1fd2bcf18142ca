"""How many will come to each site, by month."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.answers.demand_figures import LEAST_SHOWN, RANGES, SEED, Figures, demand_figures
from analysis.answers.demand_words import month_name
from analysis.clinic import Clinic
from analysis.models.demand import count_range
from analysis.models.site_shares import SiteVisits, drawn_by_site, expected_by_site, site_visits
from analysis.models.visit_history import KINDS
from analysis.present import words
from analysis.present.answer import INFORMATION, PASSED, Answer, Basis, Check, ResultRow, no_answer
from analysis.present.charts import Bar, range_chart
from analysis.present.theme import NAMED
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

QUESTION = "How many will come to each site?"
SECTION = "demand_sites"
METHOD = "the clinic's forecast shared out by each site's visits of late"
LEVEL = 0.80
REST = "other sites together"


@dataclass(frozen=True, eq=False)
class SiteForecast:
    """The forecast by site.

    Attributes
    ----------
    figures : Figures
    sites : SiteVisits
    expected : numpy.ndarray, shape (months, kinds, sites)
    drawn : numpy.ndarray, shape (futures, months, kinds, sites)
    """

    figures: Figures
    sites: SiteVisits
    expected: np.ndarray
    drawn: np.ndarray

    @property
    def shown(self) -> list[int]:
        """Places of the sites with a figure."""
        return self.sites.shown

    def estimate(self, month: int, site: int, level: float, kind: int | None = None) -> Estimate:
        """Give one month's visits at one site, of one kind or all, with their range."""
        which = slice(None) if kind is None else slice(kind, kind + 1)
        value = float(self.expected[month, which, site].sum())
        low, high = count_range(self.drawn[:, month, which, site].sum(axis=1), level)
        n = int(self.sites.counts[site].sum())
        return Estimate(value, min(float(low), value), max(float(high), value), level, n, METHOD)


def how_many_will_come_to_each_site(clinic: Clinic) -> Answer:
    """Share the clinic's forecast out between its sites.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Answer
        Without a figure where the log names no site, or fewer than two with 50 visits in a year.
        Rows: ``visits`` by kind, month and site, at 50, 80 and 95 %.
    """
    try:
        found = _forecast(clinic)
    except NotEnough as reason:
        return no_answer(QUESTION, reason)
    figures = found.figures
    return Answer(
        question=QUESTION,
        headline=_headline(found),
        how_sure="Each range holds 8 months in 10; it is wider for its size than the clinic's, for whose visit is whose is chance too.",
        table=_table(found),
        chart=_chart(found),
        chart_title=_chart_title(found),
        chart_text=_chart_text(found),
        assumptions=_assumptions(found),
        checks=tuple(_checks(found)),
        basis=Basis(
            used=int(found.sites.counts.sum()),
            of_what=f"attended visits of the last {found.sites.months} whole months, for the shares",
            left_out={},
            first_day=figures.demand.months.whole[-found.sites.months].start_time,
            last_day=figures.demand.months.whole[-1].end_time.normalize(),
            method="The clinic's forecast, shared out by kind of visit as the sites' visits were of late.",
        ),
        rows=tuple(_rows(found)),
    )


def _forecast(clinic: Clinic) -> SiteForecast:
    """Share the forecast out."""
    figures = demand_figures(clinic)
    sites = site_visits(clinic.visits, figures.demand.months.whole)
    drawn = drawn_by_site(figures.demand.drawn, sites, np.random.default_rng(SEED + 2))
    return SiteForecast(figures, sites, expected_by_site(figures.demand.expected, sites), drawn)


def _name(found: SiteForecast, site: int) -> str:
    """Say a site."""
    return found.sites.names[site] or REST


def _mean(found: SiteForecast, site: int) -> Estimate:
    """Give a site's visits in an average month ahead."""
    drawn = found.drawn[..., site].sum(axis=2).mean(axis=1)
    low, high = np.quantile(drawn, [0.5 - LEVEL / 2, 0.5 + LEVEL / 2])
    value = float(found.expected[..., site].sum(axis=1).mean())
    return Estimate(value, min(float(low), value), max(float(high), value), LEVEL, len(drawn), METHOD)


def _headline(found: SiteForecast) -> str:
    """Say each site's visits in an average month."""
    months = found.figures.demand.months.ahead
    said = []
    for site in found.shown:
        one = _mean(found, site)
        said.append(f"{words.number(one.value)} to {_name(found, site)} ({words.between(one)})")
    return (
        f"Over {month_name(months[0])} to {month_name(months[-1])}, about {words.joined(said)} are expected to come in an "
        "average month."
    )


def _table(found: SiteForecast) -> pd.DataFrame:
    """List each month's visits at each site."""
    months = found.figures.demand.months.ahead
    rows = []
    for place, month in enumerate(months):
        for site in found.shown:
            columns: dict[str, object] = {"month": month_name(month), "site": _name(found, site)}
            for level in RANGES:
                one = found.estimate(place, site, level)
                columns |= {
                    "value": one.value,
                    f"low_{round(100 * level)}": one.low,
                    f"high_{round(100 * level)}": one.high,
                }
            rows.append(columns)
    return pd.DataFrame(rows)


def _chart(found: SiteForecast) -> go.Figure:
    """Draw each site's months."""
    bars = []
    for place, site in enumerate(found.shown):
        for month, name in enumerate(found.figures.demand.months.ahead):
            one = found.estimate(month, site, LEVEL)
            label = f"{_name(found, site)}, {month_name(name)}"
            bars.append(Bar(label, one.value, one.low, one.high, NAMED[place % len(NAMED)]))
    return range_chart(bars, x_title="visits a month (range: 8 months in 10)", from_zero=True)


def _chart_title(found: SiteForecast) -> str:
    """Name the site with most visits and its share."""
    totals = found.expected.sum(axis=(0, 1))
    most = max(found.shown, key=lambda site: totals[site])
    return f"{_name(found, most)} is expected to have {words.percent(totals[most] / totals.sum())} of the visits"


def _chart_text(found: SiteForecast) -> str:
    """Tell the chart in words."""
    months = found.figures.demand.months.ahead
    told = []
    for site in found.shown:
        each = [
            f"{month_name(month)} {words.number(found.estimate(place, site, LEVEL).value)}"
            for place, month in enumerate(months)
        ]
        told.append(f"{_name(found, site)}: {words.joined(each)}")
    return f"Visits expected by site and month. {'; '.join(told)}."


def _assumptions(found: SiteForecast) -> tuple[str, ...]:
    """Say what would have to be true."""
    return (
        f"Each site goes on having the share of each kind of visit it had in the last {found.sites.months} whole months; no site "
        "opens, closes or changes its days. Tell such a change apart from the log yourself.",
        "The sites add up to the clinic's forecast, in every possible future.",
    )


def _checks(found: SiteForecast) -> Iterable[Check]:
    """Say whether shares were steady, and which sites are too small."""
    if found.sites.moved:
        said = "The sites' shares have changed within the last year by more than chance; only the last six months are taken."
        yield Check("Steady shares", INFORMATION, said)
    else:
        yield Check(
            "Steady shares", PASSED, "The sites' shares have not changed within the last year by more than chance."
        )
    for name, many in found.sites.small.items():
        who = f"{name} has" if name else "No site is noted at"
        visits = words.plural(many, "visit")
        together = (
            "they are in the line of other sites"
            if len(found.shown) == len(found.sites.names)
            else "so the sites shown add up to a little less than the clinic's forecast"
        )
        yield Check(
            "Too few visits",
            INFORMATION,
            f"{who} {visits} in these months, too few for a figure of its own; {together}.",
        )


def _rows(found: SiteForecast) -> Iterable[ResultRow]:
    """Keep every site's months, by kind and of all kinds."""
    shown = [place for place in range(len(KINDS)) if found.expected[:, place].sum(axis=1).max() > LEAST_SHOWN]
    kinds: list[tuple[str, int | None]] = [*((KINDS[place], place) for place in shown), ("all", None)]
    for site in found.shown:
        for name, kind in kinds:
            for place, month in enumerate(found.figures.demand.months.ahead):
                for level in RANGES:
                    one = found.estimate(place, site, level, kind)
                    yield ResultRow.from_estimate(
                        SECTION, "visits", "visits", one, kind=name, month=str(month), site=_name(found, site)
                    )
