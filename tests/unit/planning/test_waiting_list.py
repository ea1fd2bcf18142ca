"""A waiting list carried over from month to month, against hand-worked examples."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.planning.waiting_list import sessions_for_short_waits, waiting_list

FOUR_WEEKS = np.full(3, 4.0)


def test_what_is_left_over_waits_at_the_pace_of_the_next_month() -> None:
    # by hand: 12 - 10 = 2 left, done at 20 / 4 = 5 a week; then 2 + 18 - 20 = 0; then 25 - 10 = 15, at 10 / 4 a week
    line = waiting_list(np.array([[12.0, 18.0, 25.0]]), np.array([10.0, 20.0, 10.0]), FOUR_WEEKS)
    assert line.left_over.tolist() == [[2.0, 0.0, 15.0]]
    assert line.wait_weeks.tolist() == [[0.4, 0.0, 6.0]]


def test_sessions_not_used_are_not_kept_for_later() -> None:
    line = waiting_list(np.array([[0.0, 0.0, 13.0]]), np.full(3, 10.0), FOUR_WEEKS)
    assert line.left_over.tolist() == [[0.0, 0.0, 3.0]]


def test_who_waits_already_comes_first() -> None:
    line = waiting_list(np.array([[10.0, 8.0, 8.0]]), np.full(3, 10.0), FOUR_WEEKS, waiting=3.0)
    assert line.left_over.tolist() == [[3.0, 1.0, 0.0]]
    assert not line.short.any()


def test_the_chance_of_having_been_short_only_grows() -> None:
    line = waiting_list(np.array([[11.0, 9.0, 9.0], [9.0, 9.0, 11.0], [9.0, 9.0, 9.0]]), np.full(3, 10.0), FOUR_WEEKS)
    assert line.short.mean(axis=0) == pytest.approx([1 / 3, 0, 1 / 3])
    assert line.short_by_then == pytest.approx([1 / 3, 1 / 3, 2 / 3])


def enough(needed: np.ndarray, *, longest: float = 0.0, waiting: float = 0.0, sure: float = 0.9) -> float:
    there = np.full(needed.shape[1], 10.0)
    weeks = np.full(needed.shape[1], 4.0)
    return sessions_for_short_waits(needed, there, weeks, waiting=waiting, longest_weeks=longest, sure=sure)


def test_as_many_sessions_are_enough_as_the_busiest_month_needs_if_nobody_may_wait() -> None:
    assert enough(np.array([[8.0, 13.0, 9.0]])) == pytest.approx(1.3, rel=0.002)


def test_a_wait_that_is_allowed_saves_sessions() -> None:
    # by hand, 12 sessions a month and one week allowed: t times 10 a month, 2.5 t a week;
    # after three months 36 - 30 t are left over, and 2.5 t of them are a week's: t = 36 / 32.5
    assert enough(np.full((1, 3), 12.0), longest=1.0) == pytest.approx(36 / 32.5, rel=0.002)


def test_only_so_many_futures_need_be_kept_short() -> None:
    futures = np.array([[10.0]] * 9 + [[20.0]])
    assert enough(futures, sure=0.9) == pytest.approx(1.0, rel=0.002)
    assert enough(futures, sure=0.95) == pytest.approx(2.0, rel=0.002)


def test_who_waits_already_needs_sessions_too() -> None:
    assert enough(np.full((1, 1), 10.0), waiting=5.0) == pytest.approx(1.5, rel=0.002)
