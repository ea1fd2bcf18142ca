"""Curves without a shape, worked by hand."""

import numpy as np
import pytest

from analysis.stats import turnbull as module
from analysis.stats.turnbull import NotAtRest, turnbull

INF = np.inf


def test_chance_lies_only_where_a_lower_limit_is_followed_by_an_upper_one():
    """Between 1 and 3, and between 2 and 5: the two overlap from 2 to 3, where one event explains both."""
    curve = turnbull(np.array([1.0, 2.0]), np.array([3.0, 5.0]))
    assert (curve.left.tolist(), curve.right.tolist(), curve.mass.tolist()) == ([2.0], [3.0], [[1.0]])
    assert curve.share_by(np.array([1.0, 2.0, 2.5, 3.0, 9.0])).tolist() == [[0.0, 0.0, 0.5, 1.0, 1.0]]


def test_an_interval_that_ends_where_another_begins_does_not_meet_it():
    curve = turnbull(np.array([0.0, 2.0]), np.array([2.0, 4.0]))
    assert curve.left.tolist() == [0.0, 2.0]
    assert curve.mass[0] == pytest.approx([0.5, 0.5])


def test_an_exact_time_may_end_an_interval():
    curve = turnbull(np.array([2.0, 0.0, 2.0]), np.array([2.0, 2.0, INF]))
    assert curve.share_by(np.array([2.0]))[0, 0] == pytest.approx(2 / 3, abs=1e-3)


def test_beyond_the_last_upper_limit_nothing_is_known():
    curve = turnbull(np.array([0.0, 4.0]), np.array([2.0, INF]))
    shares = curve.share_by(np.array([2.0, 4.0, 5.0]))[0]
    assert shares[:2] == pytest.approx([0.5, 0.5])
    assert np.isnan(shares[2])


def test_counts_stand_for_rows_and_each_row_of_counts_has_its_curve():
    low, high = np.array([0.0, 1.0, 0.0, 2.0]), np.array([1.0, INF, 2.0, INF])
    both = turnbull(low, high, np.array([[4, 6, 7, 3], [5, 5, 5, 5]]), close=1e-9)
    repeated = turnbull(np.repeat(low, [4, 6, 7, 3]), np.repeat(high, [4, 6, 7, 3]), close=1e-9)
    times = np.array([1.0, 2.0])
    assert both.share_by(times)[0] == pytest.approx(repeated.share_by(times)[0], abs=1e-6)
    assert both.share_by(times)[1] == pytest.approx([0.5, 0.5], abs=1e-5)  # an interval left empty on the very edge


def test_what_is_missing_is_a_bound_on_the_likelihood():
    rng = np.random.default_rng(3)
    low = rng.integers(0, 20, 60).astype(float)
    high = low + rng.integers(1, 9, 60)
    rough, fine = turnbull(low, high, close=0.5), turnbull(low, high, close=1e-8)
    assert rough.missing[0] < 0.5
    assert 0 <= fine.log_likelihood[0] - rough.log_likelihood[0] <= rough.missing[0] + 1e-8


def test_a_search_that_does_not_come_to_rest_is_told(monkeypatch):
    monkeypatch.setattr(module, "STEPS", 2)
    rng = np.random.default_rng(3)
    low = rng.integers(0, 20, 60).astype(float)
    with pytest.raises(NotAtRest):
        turnbull(low, low + rng.integers(1, 9, 60), close=1e-9)
