"""Real bookings laid out again by another template."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.planning.slot_replay import real_bookings, replay, replayed
from analysis.schema import VISITS, typed_frame
from analysis.settings import SlotsPart

SETTINGS = SlotsPart(session_minutes=60.0, turnaround_minutes=0.0)


def days(*, weeks: int = 12) -> pd.DataFrame:
    """Six bookings a week of one practitioner, 20 minutes each; the last of each week is missed."""
    slot = [
        pd.Timestamp("2026-01-05 09:00") + pd.Timedelta(weeks=week, minutes=20 * place)
        for week in range(weeks)
        for place in range(6)
    ]
    came = np.arange(len(slot)) % 6 < 5
    visits = pd.DataFrame(
        {
            "visit_id": [f"v{number:03}" for number in range(len(slot))],
            "practitioner": "A",
            "slot_start": slot,
            "attendance": np.where(came, "attended", "missed"),
            "minutes": np.where(came, 20.0, np.nan),
            "minutes_quality": np.where(came, "timed", None),
        }
    )
    return typed_frame(VISITS, visits)


def laid(visits: pd.DataFrame) -> pd.DataFrame:
    return real_bookings(visits, pd.Series("new", index=visits["visit_id"]), {"new": 20.0})


def test_slots_that_fit_leave_nobody_waiting():
    found = replay(laid(days()), {"new": 20.0}, SETTINGS)
    assert len(found.week) == 12 * 2 - 1  # the last one is not known to be full
    assert found.wait_minutes.sum() == found.overtime_minutes.sum() == 0
    assert found.seen.sum() == 12 * 5 - 2
    assert found.idle_minutes.sum() == pytest.approx(11 * 20)


def test_shorter_slots_put_the_same_patients_in_fewer_sessions_and_make_them_wait():
    found = replay(laid(days()), {"new": 15.0}, SETTINGS)
    assert len(found.week) == 12 * 6 // 4 - 1
    assert found.wait_minutes[0] == pytest.approx(0 + 5 + 10 + 15)
    assert found.overtime_minutes[0] == pytest.approx(20)
    assert found.late_sessions > 0


def test_a_visit_without_minutes_of_its_own_is_left_out():
    visits = days()
    visits.loc[0, "minutes_quality"] = "filled_from_slot"
    assert len(laid(visits)) == 12 * 6 - 1


def test_each_template_has_its_range_and_the_difference_is_the_seconds_less_the_firsts():
    bookings = laid(days())
    replays = {"today": replay(bookings, {"new": 20.0}, SETTINGS), "other": replay(bookings, {"new": 15.0}, SETTINGS)}
    found = replayed(replays, SETTINGS, level=0.95, rng=np.random.default_rng(1), redraws=50)
    wait = found["difference", "mean_wait_minutes"]
    assert wait.value == pytest.approx(found["other", "mean_wait_minutes"].value)
    assert wait.low <= wait.value <= wait.high
