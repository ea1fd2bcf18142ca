"""A session, booking after booking."""

import time

import numpy as np
import pytest

from analysis.planning.session import Bookings, run_sessions, run_template


def column(*values: float) -> np.ndarray:
    return np.array(values)[:, None]


def come(*values: bool) -> np.ndarray:
    return np.array(values, dtype=bool)[:, None]


def test_a_long_visit_makes_the_next_wait_and_a_short_one_leaves_the_room_idle():
    runs = run_sessions(column(0, 20, 40), column(25, 5, 10), come(True, True, True))
    assert runs.wait_minutes.ravel().tolist() == [0, 5, 0]
    assert runs.idle_minutes.item() == 10  # ready at 30, next patient at 40
    assert runs.free_at_minutes.item() == 50


def test_turnaround_passes_before_the_next_is_called():
    runs = run_sessions(column(0, 20), column(19, 5), come(True, True), turnaround_minutes=3)
    assert runs.wait_minutes.ravel().tolist() == [0, 2]
    assert runs.free_at_minutes.item() == 30


def test_whoever_does_not_come_takes_no_time_and_waits_for_nothing():
    runs = run_sessions(column(0, 20, 40), column(35, 99, 10), come(True, False, True), turnaround_minutes=2)
    assert runs.wait_minutes.ravel().tolist() == [0, 0, 0]
    assert runs.free_at_minutes.item() == 52


def test_the_wait_of_someone_late_counts_from_arriving():
    runs = run_sessions(column(0, 20), column(30, 5), come(True, True), column(0, 8))
    assert runs.wait_minutes.ravel().tolist() == [0, 2]


def test_someone_early_may_be_called_early_and_has_not_waited_then():
    runs = run_sessions(column(0, 20), column(10, 5), come(True, True), column(0, -6))
    assert runs.wait_minutes.ravel().tolist() == [0, 0]
    assert runs.free_at_minutes.item() == 19


def test_nobody_is_called_before_the_session_starts():
    runs = run_sessions(column(0), column(10), come(True), column(-15))
    assert runs.free_at_minutes.item() == 10


def template(slots: list[float], minutes: list[float], late: list[float] | None = None, **other: float):
    bookings = Bookings(
        np.zeros((len(minutes), 1), dtype=int),
        column(*minutes),
        come(*[True] * len(minutes)),
        column(*(late or [0] * len(minutes))),
    )
    return run_template(np.array(slots), bookings, **{"session_minutes": 60, "turnaround_minutes": 0, **other})


def test_slots_are_filled_until_the_next_would_end_after_the_session():
    found = template([25.0], [20, 20, 20])
    assert found.patients_per_session == 2
    assert found.idle_minutes == 20  # 5 between the two, 15 at the end
    assert found.overtime_minutes == 0


def test_a_slot_that_ends_with_the_session_still_fits():
    assert template([20.0], [10, 10, 10, 10]).patients_per_session == 3


def test_overtime_is_what_the_room_is_in_use_after_the_session():
    found = template([20.0], [20, 20, 27])
    assert found.overtime_minutes == 7
    assert found.idle_minutes == 0


@pytest.mark.parametrize(("minutes", "share"), [(25.0, 1.0), (25.1, 0.5)])
def test_five_minutes_late_is_still_on_time(minutes, share):
    assert template([20.0], [minutes, 5], session_minutes=40).on_time_share == share


def test_a_session_nobody_comes_to_is_idle_throughout():
    nobody = Bookings(np.zeros((3, 2), dtype=int), np.full((3, 2), 20.0), np.zeros((3, 2), bool), np.zeros((3, 2)))
    found = run_template(np.array([20.0]), nobody, session_minutes=60, turnaround_minutes=2)
    assert (found.patients_per_session, found.mean_wait_minutes, found.idle_minutes) == (0, 0, 60)


def test_twenty_thousand_sessions_of_sixteen_bookings_run_within_a_tenth_of_a_second():
    rng = np.random.default_rng(1)
    minutes, comes = rng.gamma(8, 2.3, (16, 20_000)), rng.random((16, 20_000)) > 0.1
    slots, late = column(*(20.0 * np.arange(16))), rng.normal(-5, 5, (16, 20_000))
    seconds = []
    for _ in range(5):
        begun = time.perf_counter()
        run_sessions(slots, minutes, comes, late, turnaround_minutes=2)
        seconds.append(time.perf_counter() - begun)
    assert min(seconds) < 0.1  # 3 ms on a quiet machine; the best of five shrugs off a busy one
