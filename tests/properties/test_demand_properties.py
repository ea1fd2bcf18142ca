"""What must hold of any forecast: parts add up, order of rows does not matter, ranges nest."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.models.demand import Demand, Draws, forecast_demand
from analysis.models.return_projection import week_chances, week_shares
from analysis.models.return_table import with_recall_uptake
from analysis.models.visit_history import KINDS, day_number, visit_history
from analysis.schema import BOOKING_KINDS, VISITS, typed_frame
from analysis.stats.poisson_binomial import matched_binomial_draws, poisson_binomial_moments

QUICK = Draws(futures=200, rates=20)
START, DAYS = pd.Timestamp("2025-01-01"), 300
ONE_VISIT = st.tuples(
    st.integers(0, DAYS - 1), st.integers(0, 25), st.sampled_from([*BOOKING_KINDS, None]), st.booleans()
)
LOGS = st.lists(ONE_VISIT, min_size=30, max_size=90)
FEW = settings(max_examples=12, deadline=None)


def visits_of(lines: list[tuple[int, int, str | None, bool]]) -> pd.DataFrame:
    """Make a log; patient 0 stands for a missing number. Days are unique to a patient, so that order is plain."""
    frame = pd.DataFrame(lines, columns=["day", "patient", "booking_kind", "hearing_aid"])
    frame = frame.drop_duplicates(["day", "patient"])
    frame["slot_start"] = START + pd.to_timedelta(frame["day"] * 24 * 60 + 540 + frame["patient"], unit="min")
    frame["patient_key"] = [f"p{number}" if number else None for number in frame["patient"]]
    frame["attendance"] = "attended"
    return typed_frame(VISITS, frame)


def forecast(visits: pd.DataFrame) -> Demand:
    last = START + pd.Timedelta(days=DAYS)
    history = visit_history(visits, last_day=last)
    return forecast_demand(
        history,
        first=day_number(START),
        last=day_number(last),
        months_ahead=3,
        rng=np.random.default_rng(1),
        draws=QUICK,
    )


@FEW
@given(LOGS)
def test_parts_kinds_and_drawn_futures_add_up(lines: list) -> None:
    demand = forecast(visits_of(lines))
    np.testing.assert_allclose(demand.parts.sum(axis=1), demand.expected.sum(axis=1), rtol=1e-9)
    assert (demand.expected >= 0).all()
    assert (demand.drawn >= 0).all()
    assert (demand.drawn == np.round(demand.drawn)).all()


@FEW
@given(LOGS, st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(lines: list, shuffler) -> None:
    visits = visits_of(lines)
    order = list(range(len(visits)))
    shuffler.shuffle(order)
    one, other = forecast(visits), forecast(visits.iloc[order].reset_index(drop=True))
    np.testing.assert_allclose(one.expected, other.expected, rtol=1e-9)
    np.testing.assert_array_equal(one.ranges(0.8), other.ranges(0.8))


@FEW
@given(LOGS)
def test_the_narrower_range_lies_within_the_wider(lines: list) -> None:
    demand = forecast(visits_of(lines))
    (low_80, high_80), (low_95, high_95) = demand.ranges(0.8), demand.ranges(0.95)
    assert (low_95 <= low_80).all()
    assert (low_80 <= high_80).all()
    assert (high_80 <= high_95).all()


@given(st.lists(st.floats(0, 1), min_size=1, max_size=40))
def test_a_sum_of_chances_varies_less_than_a_poisson_count(chances: list[float]) -> None:
    mean, variance = poisson_binomial_moments(np.array(chances))
    assert 0 <= variance <= mean + 1e-12
    assert mean <= len(chances)


@given(st.floats(0, 500), st.floats(0.01, 1), st.integers(0, 2**32 - 1))
def test_matched_draws_are_whole_and_never_more_than_everybody(mean: float, ratio: float, seed: int) -> None:
    draws = matched_binomial_draws(np.full(50, mean), np.array(ratio), np.random.default_rng(seed))
    assert (draws == np.round(draws)).all()
    assert (draws >= 0).all()
    if ratio < 1 - 1e-6:
        assert draws.max() <= np.ceil(mean / (1 - ratio)) + 1e-9


@given(st.lists(st.floats(0, 3), min_size=2, max_size=6))
def test_chances_of_a_week_never_exceed_one(rates: list[float]) -> None:
    chances = week_chances(np.array(rates)[:, None])
    assert (chances >= 0).all()
    assert chances.sum() == pytest.approx(1 - np.exp(-sum(rates)))


@given(st.integers(0, 20_000), st.integers(1, 12))
def test_days_of_weeks_make_up_the_months(last: int, months: int) -> None:
    starts = last + 1 + 30 * np.arange(months)
    share = week_shares((starts, starts + 30), last=last)
    np.testing.assert_allclose(7 * share.sum(axis=0), 30.0)
    assert (share.sum(axis=1) <= 1 + 1e-12).all()


@given(st.floats(0, 1), st.integers(1, 24))
def test_uptake_brings_that_share_of_those_called(uptake: float, months: int) -> None:
    recall = KINDS.index("routine_recall")
    rates = with_recall_uptake(np.zeros((1, 4, len(KINDS), 130)), recall_months=months, uptake=uptake, kind=recall)
    assert 1 - np.exp(-rates[0, 0, recall].sum()) == pytest.approx(uptake, abs=1e-6)
