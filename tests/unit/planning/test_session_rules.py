"""Gaps, breaks, order, two together, one squeezed in; several practitioners with one suction unit."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.planning.session import Bookings, Pause, run_sessions, run_template
from analysis.planning.session_rules import LONG_FIRST, SHORT_FIRST, SessionRules, SqueezedIn, laid_out, run_rules
from analysis.planning.shared_room import run_shared_room


def booked(minutes: list[float], category: list[int] | None = None) -> Bookings:
    column = np.array(minutes)[:, None]
    which = np.zeros(column.shape, int) if category is None else np.array(category)[:, None]
    return Bookings(which, column, np.ones(column.shape, bool), np.zeros(column.shape))


def chance(seed: int, bookings: int = 12, sessions: int = 200) -> Bookings:
    rng = np.random.default_rng(seed)
    shape = (bookings, sessions)
    return Bookings(
        rng.integers(0, 2, shape), rng.gamma(6, 3, shape), rng.random(shape) > 0.1, rng.normal(-5, 6, shape).round()
    )


def test_without_rules_it_is_the_plain_template():
    slots, bookings = np.array([15.0, 25.0]), chance(1)
    plain = run_template(slots, bookings, session_minutes=200, turnaround_minutes=2)
    assert run_rules(slots, bookings, SessionRules(200, 2)) == plain


def test_a_catch_up_gap_lets_the_third_patient_wait_less():
    bookings = booked([25.0, 25.0, 20.0])
    without = run_rules(np.array([20.0]), bookings, SessionRules(100))
    gap = run_rules(np.array([20.0]), bookings, SessionRules(100, catch_up_every=2, catch_up_minutes=10))
    assert without.mean_wait_minutes == pytest.approx((0 + 5 + 10) / 3)
    assert gap.mean_wait_minutes == pytest.approx((0 + 5 + 0) / 3)


def test_no_slot_runs_into_the_break_and_the_break_is_not_idle():
    rules = SessionRules(100, pause=Pause(50, 60))
    starts, fits = laid_out(np.full((5, 1), 20.0), rules)
    assert starts.ravel().tolist() == [0, 20, 60, 80, 100]
    assert fits.ravel().tolist() == [True, True, True, True, False]
    assert run_rules(np.array([20.0]), booked([20.0] * 5), rules).idle_minutes == pytest.approx(10)


def test_nobody_is_called_in_the_break():
    early = np.array([[0.0], [-15.0]])
    runs = run_sessions(
        np.array([[0.0], [60.0]]), np.full((2, 1), 20.0), np.ones((2, 1), bool), early, pause=Pause(40, 60)
    )
    assert runs.free_at_minutes.tolist() == [80.0]


def test_a_late_visit_shortens_the_break():
    runs = run_sessions(np.array([[0.0], [60.0]]), np.full((2, 1), 55.0), np.ones((2, 1), bool), pause=Pause(40, 60))
    assert runs.idle_minutes.tolist() == [0.0]


def test_short_or_long_bookings_may_come_first():
    bookings = booked([30.0, 10.0], [1, 0])
    slots = np.array([10.0, 20.0])
    assert run_rules(slots, bookings, SessionRules(60, order=SHORT_FIRST)).mean_wait_minutes == 0.0
    assert run_rules(slots, bookings, SessionRules(60, order=LONG_FIRST)).mean_wait_minutes == 5.0


def test_one_squeezed_in_waits_and_makes_the_next_wait():
    squeezed = SqueezedIn(0, np.array([20.0]), np.array([True]))
    found = run_rules(np.array([20.0]), booked([20.0] * 3), SessionRules(60), squeezed)
    assert (found.patients_per_session, found.overtime_minutes, found.mean_wait_minutes) == (4, 20, 15)


def test_a_slot_of_nought_is_refused():
    with pytest.raises(ValueError, match="longer than nought"):
        run_rules(np.array([0.0]), booked([10.0]), SessionRules(60))


def test_as_many_units_as_practitioners_run_as_the_recursion_says():
    bookings = chance(2, sessions=8)
    starts = np.arange(12)[:, None] * 20.0
    both = [
        each(starts, bookings.minutes, bookings.attends, bookings.late_minutes, turnaround_minutes=2, **more)
        for each, more in ((run_sessions, {}), (run_shared_room, {"units": 8}))
    ]
    for name in ("wait_minutes", "idle_minutes", "free_at_minutes"):
        assert getattr(both[0], name) == pytest.approx(getattr(both[1], name), abs=1e-9)


def test_one_unit_makes_two_practitioners_wait_for_each_other():
    bookings = chance(3, sessions=2)
    starts = np.arange(12)[:, None] * 20.0
    shared = run_shared_room(starts, bookings.minutes, bookings.attends)
    alone = run_shared_room(starts, bookings.minutes, bookings.attends, units=2)
    assert shared.wait_minutes.sum() > alone.wait_minutes.sum()
