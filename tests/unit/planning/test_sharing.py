"""Practitioners who share a suction unit: many half-days at once against discrete events, and the rules that lead there."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.planning.session import Bookings, Pause, run_sessions
from analysis.planning.session_rules import SessionRules, rules_of, run_rules
from analysis.planning.shared_room import run_shared_room
from analysis.planning.sharing import run_sharing
from analysis.settings import SlotsPart

PARTS = ("wait_minutes", "idle_minutes", "free_at_minutes")


def half_days(seed: int, practitioners: int, days: int) -> list[np.ndarray]:
    """Draw starts, minutes, who comes and lateness."""
    rng, shape = np.random.default_rng(seed), (9, practitioners, days)
    starts = np.broadcast_to(np.arange(9.0)[:, None, None] * 20, shape)
    return [starts, rng.gamma(3, 6, shape), rng.random(shape) > 0.15, rng.normal(-3, 6, shape)]


@pytest.mark.parametrize(("practitioners", "units"), [(2, 1), (3, 2), (4, 1), (2, 2)])
def test_sharing_runs_minute_for_minute_as_the_discrete_events_do(practitioners, units):
    drawn = half_days(5, practitioners, days=6)
    at_once = run_sharing(*drawn, turnaround_minutes=2, units=units)
    for day in range(6):
        one = run_shared_room(*(each[:, :, day] for each in drawn), turnaround_minutes=2, units=units)
        for name in PARTS:
            mine = getattr(at_once, name).reshape(*getattr(one, name).shape, 6)[..., day]
            assert mine == pytest.approx(getattr(one, name), abs=1e-9)


def test_with_a_unit_each_and_a_break_nobody_waits_for_another():
    drawn, pause = half_days(7, 2, days=5), Pause(60, 75)
    together = run_sharing(*drawn, turnaround_minutes=2, units=2, pause=pause)
    alone = run_sessions(*(each.reshape(9, -1) for each in drawn), turnaround_minutes=2, pause=pause)
    for name in PARTS:
        assert getattr(together, name) == pytest.approx(getattr(alone, name), abs=1e-9)


def test_the_owners_rules_reach_the_session():
    settings = SlotsPart(
        break_minutes=15, break_after_minutes=60, first_two_together=True, order="long_first",
        squeezed_in_share=0.5, practitioners_sharing=2, units_shared=1, grid_minutes=10,
    )  # fmt: skip
    assert rules_of(settings, 3) == SessionRules(210, 2, 3, 10, Pause(60, 75), True, "long_first", 2, 1, 0.5)


def test_half_the_sessions_get_one_more_and_sharing_makes_both_wait():
    bookings = Bookings(np.zeros((4, 40), int), np.full((4, 40), 20.0), np.ones((4, 40), bool), np.zeros((4, 40)))
    slots = np.array([20.0])
    plain = run_rules(slots, bookings, SessionRules(60))
    half = run_rules(slots, bookings, SessionRules(60, squeezed_in_share=0.5))
    shared = run_rules(slots, bookings, SessionRules(60, practitioners=2, units=1))
    assert (plain.patients_per_session, half.patients_per_session) == (3, 3.5)
    assert (plain.mean_wait_minutes, shared.patients_per_session) == (0, 3)
    assert shared.mean_wait_minutes == pytest.approx((0 + 20 + 20 + 40 + 40 + 60) / 6)
