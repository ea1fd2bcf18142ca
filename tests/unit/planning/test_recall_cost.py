"""What a recall interval costs, by hand, by simulation, and as prices change."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.planning.recall_cost import EDGES, MIDDLES, ReturnCosts, cost_curve

MONTHS = np.arange(1, 37)


def weibull(shape: float, scale: float) -> np.ndarray:
    return np.tile(1 - np.exp(-((EDGES / scale) ** shape)), (2, 1))


def costs(
    symptom_day: float, *, look: float = 12.0, late: float = 20.0, waits=((0.7, 2.0), (0.3, 12.0))
) -> ReturnCosts:
    flat = np.full((2, len(MIDDLES)), late)
    return ReturnCosts(np.full(2, look), flat, flat, symptom_day, waits)


def simulated_year(every: float, shape: float, scale: float, price: float, n: int = 200_000) -> float:
    """Follow ears one by one: looked at every so many months, or coming of themselves."""
    rng = np.random.default_rng(5)
    onset = np.minimum(scale * rng.exponential(size=n) ** (1 / shape), 120.0)
    wait = rng.uniform(0, np.where(rng.random(n) < 0.7, 2.0, 12.0))
    looks = np.floor(onset / every)
    until_seen = np.minimum((looks + 1) * every - onset, wait)
    money = looks * 12.0 + 20.0 + until_seen * 30.4375 * price
    return float(money.sum() / (onset + until_seen).sum() * 12)


@pytest.mark.parametrize("every", [4, 9, 18])
def test_the_yearly_cost_is_that_of_ears_followed_one_by_one(every):
    curve = cost_curve(weibull(1.5, 18.0), costs(2.0), MONTHS)
    # 200,000 ears leave about 0.3 % of chance, half-month steps about 1 %
    assert curve.cost[0, every - 1] == pytest.approx(simulated_year(every, 1.5, 18.0, 2.0), rel=0.02)


def test_a_long_interval_comes_near_to_calling_nobody():
    curve = cost_curve(weibull(1.5, 18.0), costs(2.0), np.array([120]))
    assert curve.cost[0, 0] == pytest.approx(curve.without[0], rel=0.01)


def test_the_flat_stretch_holds_the_least_and_grows_with_what_makes_no_difference():
    curve = cost_curve(weibull(1.5, 18.0), costs(2.0), MONTHS)
    best = curve.months[curve.best]
    narrow, wide = curve.flat(0.95, 0.01), curve.flat(0.95, 0.1)
    assert wide[0] <= narrow[0] <= best <= narrow[1] <= wide[1]


def test_where_looks_cost_nothing_the_shortest_interval_is_best():
    curve = cost_curve(weibull(1.5, 18.0), costs(2.0, look=0.0, late=0.0), MONTHS)
    assert curve.months[curve.best] == 1


@settings(max_examples=40, deadline=None)
@given(st.floats(0.9, 2.2), st.floats(8.0, 30.0), st.lists(st.floats(0.0, 10.0), min_size=2, max_size=2, unique=True))
def test_a_higher_price_of_symptoms_never_means_more_days_with_symptoms(shape, scale, prices):
    low, high = (cost_curve(weibull(shape, scale), costs(price), MONTHS) for price in sorted(prices))
    assert high.symptom_days[high.best] <= low.symptom_days[low.best] + 1e-9


@settings(max_examples=40, deadline=None)
@given(st.floats(0.9, 2.2), st.floats(8.0, 30.0), st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_a_higher_price_of_symptoms_never_lengthens_the_interval(shape, scale, price, more):
    low, high = (cost_curve(weibull(shape, scale), costs(each), MONTHS) for each in (price, price + more))
    assert high.best <= low.best


@settings(max_examples=30, deadline=None)
@given(st.floats(0.9, 2.2), st.floats(8.0, 30.0), st.floats(0.1, 5.0), st.floats(1.0, 20.0))
def test_dearer_looks_never_shorten_the_interval(shape, scale, price, more):
    low, high = (cost_curve(weibull(shape, scale), costs(price, look=look), MONTHS) for look in (5.0, 5.0 + more))
    assert high.best >= low.best
