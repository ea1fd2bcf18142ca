"""Bookings, minutes and sessions that coming visits fill."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.models.visit_history import KINDS
from analysis.planning.capacity import booking_ends, chair_sessions, minutes_by_kind, other_bookings, sessions_needed
from analysis.problems import NotEnough
from tests.demand_logs import log

LAST = pd.Timestamp("2026-06-30")
NEW = KINDS.index("new")


def bookings(number: int, **columns: object) -> pd.DataFrame:
    return log(*((f"p{n}", "2026-06-01", "new") for n in range(number)), **columns)


def ends(kept: int, lost: int, freed: int = 0) -> pd.DataFrame:
    return pd.DataFrame({"kept": kept, "lost": lost, "freed": freed}, index=list(KINDS))


def attended(visits: float, futures: int = 2000) -> np.ndarray:
    drawn = np.zeros((futures, 1, len(KINDS)))
    drawn[:, :, NEW] = visits
    return drawn


def test_bookings_are_counted_by_how_they_ended() -> None:
    visits = bookings(60, attendance=["attended"] * 50 + ["missed"] * 5 + ["cancelled_late"] * 2 + ["moved"] * 3)
    counted = booking_ends(visits, last_day=LAST)
    assert counted.loc["new"].tolist() == [50, 7, 3]
    assert counted.loc["routine_recall"].tolist() == [50, 7, 3]  # none of its own: those of all kinds


def test_bookings_of_more_than_a_year_ago_do_not_count() -> None:
    assert booking_ends(bookings(60), last_day=LAST + pd.Timedelta(days=400))["kept"].sum() == 0


def test_so_many_bookings_are_lost_beside_the_attended_ones() -> None:
    drawn = other_bookings(attended(90.0), ends(9000, 1000), "lost", np.random.default_rng(1))
    assert drawn[:, 0, NEW].mean() == pytest.approx(10, rel=0.03)
    assert drawn[:, 0, NEW].var() == pytest.approx(10 / 0.9, rel=0.1)  # negative binomial, kept share 0.9
    assert drawn.sum() == drawn[:, 0, NEW].sum()


def test_none_lost_in_the_log_means_none_lost_ahead() -> None:
    assert other_bookings(attended(90.0), ends(100, 0), "lost", np.random.default_rng(1)).sum() == 0


def test_minutes_count_only_where_they_were_timed() -> None:
    quality = ["timed"] * 6 + ["filled_from_slot"] * 6
    visits = bookings(12, minutes=[18.0] * 6 + [30.0] * 6, minutes_quality=quality, slot_minutes=30.0)
    table = minutes_by_kind(visits, last_day=LAST, turnaround_minutes=2.0)
    assert table.loc["new", ["chair", "chair_n", "slot", "slot_n"]].tolist() == [20.0, 6, 30.0, 12]


def test_a_log_without_slots_and_minutes_says_what_to_record() -> None:
    with pytest.raises(NotEnough, match="Record the length of each slot"):
        minutes_by_kind(bookings(12), last_day=LAST, turnaround_minutes=2.0)


def test_a_session_of_210_minutes_holds_seven_half_hour_slots() -> None:
    visits = bookings(12, slot_minutes=30.0)
    table = minutes_by_kind(visits, last_day=LAST, turnaround_minutes=2.0)
    needed = sessions_needed(attended(70.0), attended(0.0), table, session_minutes=210.0, rng=np.random.default_rng(2))
    assert needed == pytest.approx(10.0)


def test_a_lost_booking_still_fills_its_slot() -> None:
    table = minutes_by_kind(bookings(12, slot_minutes=30.0), last_day=LAST, turnaround_minutes=2.0)
    rng = np.random.default_rng(2)
    assert sessions_needed(attended(63.0), attended(7.0), table, session_minutes=210.0, rng=rng) == pytest.approx(10.0)


def test_visits_that_run_longer_than_their_slots_count_by_their_minutes() -> None:
    visits = bookings(400, minutes=[33.0, 45.0] * 200, minutes_quality="timed", slot_minutes=30.0)
    table = minutes_by_kind(visits, last_day=LAST, turnaround_minutes=3.0)
    needed = sessions_needed(attended(70.0), attended(0.0), table, session_minutes=210.0, rng=np.random.default_rng(3))
    assert needed.mean() == pytest.approx(70 * 42 / 210, rel=0.005)
    # 70 visits' own spread, and what 400 visits leave unknown of their mean
    assert needed.std() == pytest.approx(np.sqrt(70 * 6**2 + (70 * 6 / 20) ** 2) / 210, rel=0.1)


def test_chair_time_alone_asks_for_fewer_sessions_than_slots() -> None:
    visits = bookings(12, minutes=18.0, minutes_quality="timed", slot_minutes=30.0)
    table = minutes_by_kind(visits, last_day=LAST, turnaround_minutes=2.0)
    chair = chair_sessions(attended(70.0), table, session_minutes=210.0, rng=np.random.default_rng(4))
    assert chair is not None
    assert chair == pytest.approx(70 * 20 / 210)


def test_a_log_that_times_no_visit_has_no_chair_time() -> None:
    table = minutes_by_kind(bookings(12, slot_minutes=30.0), last_day=LAST, turnaround_minutes=2.0)
    assert chair_sessions(attended(7.0), table, session_minutes=210.0, rng=np.random.default_rng(5)) is None
