"""Visits shared out between sites: whose shares, how sure, and adding up whatever is drawn."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.models.site_shares import drawn_by_site, expected_by_site, shares_by_week, site_visits
from analysis.models.visit_history import KINDS
from analysis.problems import NotEnough
from tests.demand_logs import log

YEAR = pd.period_range("2025-01", "2025-12", freq="M")
NEW = KINDS.index("new")


def year_of(*sites: tuple[str | None, int], months: pd.PeriodIndex = YEAR) -> pd.DataFrame:
    """So many new patients a month at each site."""
    lines, where = [], []
    for month in months:
        for site, many in sites:
            lines += [(None, f"{month}-{day % 28 + 1:02d}", "new") for day in range(many)]
            where += [site] * many
    visits = log(*lines)
    return visits.assign(site=pd.Series(where, dtype="str"))


def test_the_busiest_site_comes_first_with_its_visits_of_the_year() -> None:
    found = site_visits(year_of(("hill", 10), ("quay", 20)), YEAR)
    assert found.names == ("quay", "hill")
    assert found.counts[:, NEW].tolist() == [240, 120]
    assert (found.months, found.moved, found.small) == (12, False, {})
    assert found.spread == 1.0  # alike every month: less than chance


def test_a_small_site_and_visits_without_one_are_kept_together() -> None:
    found = site_visits(year_of(("hill", 10), ("quay", 20), ("mill", 2), (None, 1)), YEAR)
    assert found.names == ("quay", "hill", "")
    assert found.small == {"mill": 24, "": 12}
    assert found.counts[2, NEW] == 36


def test_shares_that_moved_in_the_last_half_year_are_taken_from_it_alone() -> None:
    before, after = (year_of(*sites, months=part) for sites, part in (
        ((("hill", 10), ("quay", 10)), YEAR[:6]), ((("hill", 30), ("quay", 10)), YEAR[6:])
    ))  # fmt: skip
    found = site_visits(pd.concat([before, after], ignore_index=True), YEAR)
    assert found.moved
    assert found.counts[:, NEW].tolist() == [180, 60]


def test_one_site_or_none_is_refused_in_words() -> None:
    with pytest.raises(NotEnough, match="one site only"):
        site_visits(year_of(("hill", 10)), YEAR)
    with pytest.raises(NotEnough, match="does not say at which site"):
        site_visits(year_of((None, 10)), YEAR)
    with pytest.raises(NotEnough, match="Fewer than two sites have 50"):
        site_visits(year_of(("hill", 10), ("quay", 2)), YEAR)


def test_sites_add_up_to_the_clinic_in_what_is_expected_and_in_every_future() -> None:
    sites = site_visits(year_of(("hill", 10), ("quay", 20), ("mill", 2)), YEAR)
    expected = np.full((2, len(KINDS)), 7.5)
    assert expected_by_site(expected, sites).sum(axis=2) == pytest.approx(expected)
    drawn = np.random.default_rng(1).poisson(9.0, (500, 2, len(KINDS))).astype(float)
    assert (drawn_by_site(drawn, sites, np.random.default_rng(2)).sum(axis=3) == drawn).all()


def test_drawn_shares_are_those_of_the_log_and_as_uncertain_as_so_many_visits() -> None:
    sites = site_visits(year_of(("hill", 10), ("quay", 20)), YEAR)
    drawn = np.zeros((4000, 1, len(KINDS)))
    drawn[..., NEW] = 90
    hill = drawn_by_site(drawn, sites, np.random.default_rng(3))[:, 0, NEW, 1]
    assert hill.mean() == pytest.approx(30, abs=0.3)
    # binomial variance 90 * 2/9 = 20, more by (90 - 1) / (360 + 1 + 1) of it for shares that are estimated
    assert hill.var() == pytest.approx(20 * (1 + 89 / 362), rel=0.08)


def test_months_that_varied_beyond_chance_vary_ahead() -> None:
    uneven = pd.concat(
        [year_of(("hill", many), ("quay", 30 - many), months=YEAR[[place]]) for place, many in enumerate([5, 25] * 6)],
        ignore_index=True,
    )
    sites = site_visits(uneven, YEAR)
    assert sites.spread > 5
    drawn = np.full((4000, 1, len(KINDS)), 0.0)
    drawn[..., NEW] = 30
    hill = drawn_by_site(drawn, sites, np.random.default_rng(4))[:, 0, NEW, 0]
    assert hill.var() > 3 * 30 / 4


def test_sites_that_take_turns_by_the_week_vary_more_by_week_than_by_month() -> None:
    days = pd.date_range("2025-01-01", "2025-12-31")
    lines = [(None, f"{day:%Y-%m-%d}", "new") for day in days for _ in range(2)]
    where = [("hill", "quay")[day.isocalendar().week % 2] for day in days for _ in range(2)]
    visits = log(*lines).assign(site=pd.Series(where, dtype="str"))
    months = site_visits(visits, YEAR)
    weeks = shares_by_week(visits, months, YEAR)
    assert (weeks.counts == months.counts).all()
    # 51 weeks from Monday lie within 2025, of 14 visits, each all at one site: Pearson's statistic is 51 x 14, freedom 50
    assert weeks.a_month == 14.0
    assert weeks.spread == pytest.approx(51 * 14 / 50, rel=0.01)
    assert months.spread < weeks.spread


def test_steady_weeks_leave_whose_visit_is_whose_to_chance() -> None:
    visits = year_of(("hill", 28), ("quay", 28))
    weeks = shares_by_week(visits, site_visits(visits, YEAR), YEAR)
    assert weeks.spread == 1.0
