"""Ranges of weeks and of sites hold as many of those that came as they say, on worlds lived on."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest

from analysis.models.demand import Draws, count_range, forecast_demand
from analysis.models.return_table import WEEK
from analysis.models.site_shares import drawn_by_site, shares_by_week, site_visits
from analysis.models.visit_history import day_number, visit_history
from analysis.models.weeks_ahead import drawn_by_week, weeks_ahead
from tests.truth.demand_world import START, invented_visits

WORLDS, AHEAD = 10, 6
CUT = START + pd.DateOffset(months=36) - pd.Timedelta(days=1)
SITES = ("hill", "quay", "quay")


@cache
def lived_on() -> list[dict[str, tuple[np.ndarray, np.ndarray]]]:
    """Draw each world's whole weeks, its sites' months and its sites' weeks, each beside what came."""
    return [one_world(seed) for seed in range(WORLDS)]


def one_world(seed: int) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Forecast one world from its first three years and share the forecast out."""
    rng, visits = np.random.default_rng(seed), invented_visits(np.random.default_rng(3000 + seed))
    # a patient keeps to a site: two in three to one of them
    place = visits["patient_key"].str.slice(1).astype(int) % len(SITES)
    visits = visits.assign(site=pd.Series([SITES[each] for each in place], index=visits.index, dtype="str"))
    first, last = day_number(START), day_number(CUT)
    history = visit_history(visits, last_day=CUT)
    demand = forecast_demand(
        history, first=first, last=last, months_ahead=AHEAD, rng=rng, draws=Draws(futures=1000, rates=60)
    )
    weeks = weeks_ahead(history, demand.months, first=first, last=last)
    whole = weeks.days == WEEK
    days = visit_history(visits, last_day=CUT + pd.DateOffset(months=AHEAD)).day
    by_week = np.array([((days >= begin) & (days < begin + WEEK)).sum() for begin in weeks.begins])
    known = visits[visits["slot_start"] <= CUT + pd.Timedelta(days=1)]
    sites = site_visits(known, demand.months.whole)
    ahead = demand.months.ahead.astype("str")
    month = visits["slot_start"].dt.to_period("M").astype("str")
    by_site = pd.crosstab(month, visits["site"]).reindex(index=ahead, columns=list(sites.names)).to_numpy()
    week = visits["slot_start"].dt.to_period("W").dt.start_time
    begins = pd.to_datetime(weeks.begins[whole], unit="D", origin="unix")
    site_weeks = pd.crosstab(week, visits["site"]).reindex(index=begins, columns=list(sites.names), fill_value=0)
    drawn_weeks, by_weeks = drawn_by_week(demand.drawn, weeks, rng), shares_by_week(known, sites, demand.months.whole)
    return {
        "weeks": (drawn_weeks.sum(axis=2)[:, whole], by_week[whole]),
        "sites": (drawn_by_site(demand.drawn, sites, rng).sum(axis=2), by_site),
        "weeks of sites": (drawn_by_site(drawn_weeks, by_weeks, rng).sum(axis=2)[:, whole], site_weeks.to_numpy()),
    }


def held(level: float, which: str) -> np.ndarray:
    """Say of every week, every site and month, or every site and week, whether its range held what came."""
    found = []
    for world in lived_on():
        drawn, came = world[which]
        low, high = count_range(drawn, level)
        found.append(((came >= low) & (came <= high)).ravel())
    return np.concatenate(found)


@pytest.mark.parametrize(("level", "fewest", "most"), [(0.8, 0.70, 0.92), (0.95, 0.90, 1.0)])
def test_ranges_of_weeks_hold_as_many_as_they_say(level: float, fewest: float, most: float) -> None:
    # 250 weeks, mostly independent given their months: four standard errors are 0.10 and 0.05
    found = held(level, "weeks")
    assert len(found) >= 24 * WORLDS
    assert fewest <= found.mean() <= most


@pytest.mark.parametrize(("level", "fewest", "most"), [(0.8, 0.65, 0.93), (0.95, 0.86, 1.0)])
def test_ranges_of_sites_hold_as_many_as_they_say(level: float, fewest: float, most: float) -> None:
    # 120 months of sites, those of one world going together: about 50 independent ones
    assert fewest <= held(level, "sites").mean() <= most


@pytest.mark.parametrize(("level", "fewest", "most"), [(0.8, 0.72, 0.92), (0.95, 0.91, 1.0)])
def test_ranges_of_weeks_at_a_site_hold_as_many_as_they_say(level: float, fewest: float, most: float) -> None:
    # 500 weeks of sites, about half of them independent: four standard errors are 0.10 and 0.05; whole numbers hold more
    found = held(level, "weeks of sites")
    assert len(found) >= 48 * WORLDS
    assert fewest <= found.mean() <= most
