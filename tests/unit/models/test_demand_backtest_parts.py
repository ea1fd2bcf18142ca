"""The forecast tried by kind of visit and by site: set beside what came, and summed up by hand."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest

from analysis.models.demand_backtest import Backtest, backtest_demand, led_by
from analysis.models.demand_backtest_parts import part_checks
from analysis.models.opening_days import months_of
from analysis.models.site_shares import site_counts
from analysis.models.visit_history import day_number, visit_history
from tests.demand_logs import steady_clinic


@cache
def clinic() -> pd.DataFrame:
    visits = steady_clinic(months=20)
    where = ["hill" if place % 3 else "quay" for place in range(len(visits))]
    return visits.assign(site=pd.Series(where, dtype="str"))


@cache
def trial(*, sites: bool = True) -> Backtest:
    visits = clinic()
    last_day = visits["slot_start"].max().normalize()
    first, last = day_number(visits["slot_start"].min()), day_number(last_day)
    history = visit_history(visits, last_day=last_day)
    whole = months_of(history, first=first, last=last, months_ahead=1).whole
    at = site_counts(visits, whole) if sites else None
    return backtest_demand(history, whole=whole, first=first, rng=np.random.default_rng(1), sites=at)


def test_kinds_and_sites_each_add_up_to_the_clinic() -> None:
    found = trial()
    whole = found.trials.set_index(["made", "ahead"])[["expected", "came"]].sort_index()
    for mine in (found.parts["site"] == "all", found.parts["kind"] == "all"):
        sums = found.parts[mine].groupby(["made", "ahead"])[["expected", "came"]].sum()
        together = whole.loc[sums.index].astype(float)
        assert sums["came"].tolist() == together["came"].tolist()
        np.testing.assert_allclose(sums["expected"], together["expected"])


def test_a_kinds_counts_are_those_of_the_log() -> None:
    rows = trial().parts
    last = rows[(rows["kind"] == "symptoms_return") & (rows["ahead"] == 1)].iloc[-1]
    visits = clinic()
    month = visits["slot_start"].dt.to_period("M")
    of_kind = month[visits["booking_kind"] == "symptoms_return"]
    made = pd.Period(last["made"])
    assert last["came"] == (of_kind == made + 1).sum()
    assert last["year_before"] == (of_kind == made - 11).sum()


def test_the_first_year_has_no_year_before() -> None:
    rows = trial().parts
    early = rows["made"].map(pd.Period) + rows["ahead"] - 12 < pd.Period("2023-01")
    assert rows.loc[early, "year_before"].isna().all()
    assert rows.loc[~early, "year_before"].notna().all()


def test_sites_are_tried_from_when_two_have_fifty_visits_and_change_nothing_else() -> None:
    with_sites, without = trial(), trial(sites=False)
    pd.testing.assert_frame_equal(with_sites.trials, without.trials)
    assert set(with_sites.parts["site"]) == {"all", "hill", "quay"}
    assert set(without.parts["site"]) == {"all"}


def test_ranges_lie_within_each_other_around_the_middle() -> None:
    rows = trial().parts
    for outer, inner in ((95, 80), (80, 50)):
        assert (rows[f"low_{outer}"] <= rows[f"low_{inner}"]).all()
        assert (rows[f"high_{inner}"] <= rows[f"high_{outer}"]).all()


def test_a_simple_methods_totals_lift_every_kind_alike() -> None:
    own = trial()
    led = led_by(own, "exponential_smoothing")
    lift = led.trials.set_index(["made", "ahead"])["expected"] / own.trials.set_index(["made", "ahead"])["expected"]
    before, after = (
        each.parts[each.parts["kind"] == "new"].set_index(["made", "ahead"])["expected"] for each in (own, led)
    )
    np.testing.assert_allclose(after / before, lift.loc[after.index])
    sums = led.parts[led.parts["site"] == "all"].groupby(["made", "ahead"])["expected"].sum()
    np.testing.assert_allclose(sums, led.trials.set_index(["made", "ahead"])["expected"].loc[sums.index])


def made_up(came: list[float], year_before: float | list[float] = np.nan) -> pd.DataFrame:
    """Six forecasts of 10 new patients, three each one and two months ahead, said to lie within 8 and 12."""
    rows = pd.DataFrame({"kind": "new", "site": "all", "ahead": [1, 2] * 3, "expected": 10.0, "came": came})
    ends = {f"{end}_{level}": value for level in (50, 80, 95) for end, value in (("low", 8.0), ("high", 12.0))}
    return rows.assign(year_before=year_before, **ends)


def test_misses_and_coverage_are_counted_by_months_ahead_and_together() -> None:
    rows = made_up([10, 13, 12, 9, 14, 8], year_before=[np.nan, np.nan, 16, 10, 10, 12])
    found = part_checks(rows)["new", "all"]
    assert found.index.tolist() == [0, 1, 2]
    assert found["forecasts"].tolist() == [6, 3, 3]
    assert found["bias"].tolist() == [1.0, 2.0, 0.0]
    assert found["typical_miss"].tolist() == [pytest.approx(12 / 6), 2.0, 2.0]
    assert found["inside_80"].tolist() == [4, 2, 2]
    # of the last four: misses of 2, 1, 4, 2 against 4, 1, 4, 4 by the year before
    assert found.loc[0, "times_year_before"] == pytest.approx(9 / 13)


def test_a_kind_of_few_visits_or_few_forecasts_is_not_judged() -> None:
    assert part_checks(made_up([4.0, 5, 4, 5, 4, 5])) == {}
    assert part_checks(made_up([10.0] * 6).iloc[:5]) == {}
    assert part_checks(made_up([10.0] * 6), least_a_month=11) == {}
