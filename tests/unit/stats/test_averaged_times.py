"""Times averaged over people: one row is the regression's own, several lie between theirs, ranges are the delta method's."""

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from scipy.stats import norm

from analysis.stats.averaged_times import AveragedTimes
from analysis.stats.censored import TimeRegression
from analysis.stats.time_families import FAMILIES

COVARIANCE = np.array([[0.010, 0.002, 0.001], [0.002, 0.020, 0.000], [0.001, 0.000, 0.005]])
ROWS, SHARES = np.array([[1.0, 0.0], [1.0, 1.0], [1.0, 0.5]]), np.array([0.5, 0.2, 0.3])


def fit(name: str) -> TimeRegression:
    return TimeRegression(np.array([6.0, -0.7]), -0.4, COVARIANCE, 0.0, 100, 0.95, FAMILIES[name])


def averaged(name: str) -> AveragedTimes:
    return AveragedTimes(fit(name), ROWS, SHARES)


def moved(name: str, at: np.ndarray) -> AveragedTimes:
    there = TimeRegression(at[:2], float(at[2]), COVARIANCE, 0.0, 100, 0.95, FAMILIES[name])
    return AveragedTimes(there, ROWS, SHARES)


@pytest.mark.parametrize("name", list(FAMILIES))
def test_one_row_is_the_regressions_own(name):
    alone = AveragedTimes.over(fit(name), np.ones((4, 2)))
    for share in (0.1, 0.3, 0.9):
        ours, own = alone.time_until(share), fit(name).time_until(share, np.ones(2))
        assert (ours.value, ours.low, ours.high) == pytest.approx((own.value, own.low, own.high), rel=1e-12)
    for time in (5.0, 100.0, 800.0):
        ours, own = alone.share_by(time), fit(name).share_by(time, np.ones(2))
        assert (ours.value, ours.low, ours.high) == pytest.approx((own.value, own.low, own.high), rel=1e-9)


@pytest.mark.parametrize("name", list(FAMILIES))
def test_a_share_by_the_time_until_it_is_that_share_and_lies_between_the_rows(name):
    until = averaged(name).time_until(0.3).value
    assert averaged(name).share_by(until).value == pytest.approx(0.3, rel=1e-9)
    each = [fit(name).time_until(0.3, row).value for row in ROWS]
    assert min(each) < until < max(each)
    by_hand = SHARES @ [fit(name).share_by(until, row).value for row in ROWS]
    assert by_hand == pytest.approx(0.3, rel=1e-9)


@pytest.mark.parametrize("name", list(FAMILIES))
def test_ranges_are_the_delta_methods_by_numerical_derivatives(name):
    at, family = np.array([6.0, -0.7, -0.4]), FAMILIES[name]
    until = averaged(name).time_until(0.3)
    slope = approx_fprime(at, lambda place: np.log(moved(name, place).time_until(0.3).value), 1e-6)
    reach = norm.ppf(0.975) * np.sqrt(slope @ COVARIANCE @ slope)
    assert np.log(until.high / until.value) == pytest.approx(reach, rel=1e-4)  # forward differences of 1e-6
    by = averaged(name).share_by(200.0)
    slope = approx_fprime(at, lambda place: family.place(moved(name, place).share_by(200.0).value), 1e-6)
    reach = norm.ppf(0.975) * np.sqrt(slope @ COVARIANCE @ slope)
    assert family.place(by.high) - family.place(by.value) == pytest.approx(reach, rel=1e-4)


def test_draws_spread_as_ranges_say_and_the_first_is_the_best():
    times = np.array([0.0, 100.0, 300.0])
    drawn = averaged("weibull").draws(times, 4000, np.random.default_rng(3))
    assert drawn[:, 0].tolist() == [0.0] * 4000
    for place in (1, 2):
        best = averaged("weibull").share_by(times[place])
        assert drawn[0, place] == pytest.approx(best.value, rel=1e-9)
        low, high = np.quantile(drawn[:, place], [0.025, 0.975])
        assert (low, high) == pytest.approx((best.low, best.high), abs=0.015)  # 4,000 draws: about 0.005 either way


def test_times_far_beyond_the_curve_are_certain_and_early_ones_next_to_nothing():
    found = averaged("weibull")
    assert found.share_by(1e9).value == pytest.approx(1.0)
    assert found.share_by(1e-9).high < 1e-6
