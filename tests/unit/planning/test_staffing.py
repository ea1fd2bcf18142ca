"""Sessions held, practitioner days, rooms and suction tips, on small tables."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.planning.staffing import days_and_rooms, sessions_run, suctioned_ears_a_visit
from analysis.problems import NotEnough

MARCH = pd.period_range("2026-03", periods=1, freq="M")


def held(*days: str) -> pd.DataFrame:
    return pd.DataFrame({"session_id": [f"s{n}" for n in range(len(days))], "day": pd.to_datetime(list(days))})


def test_sessions_held_are_counted_once_and_only_in_the_months_asked_for() -> None:
    table = pd.concat([held("2026-03-02", "2026-03-03", "2026-04-01"), held("2026-03-02")])  # s0 has two bookings
    assert sessions_run(table, MARCH, np.array([4.0])) == 0.5


def test_no_session_in_the_last_months_is_no_answer() -> None:
    with pytest.raises(NotEnough):
        sessions_run(held("2025-01-01"), MARCH, np.array([20.0]))


def test_half_a_session_takes_a_whole_one_and_rooms_are_whole() -> None:
    days, rooms = days_and_rooms(np.array([40.0, 40.5, 84.5]), np.array([20.0, 20.0, 21.0]))
    assert days.tolist() == [20.0, 20.5, 42.5]
    assert rooms.tolist() == [1.0, 2.0, 3.0]


def test_only_ears_treated_by_suction_take_a_tip() -> None:
    ears = pd.DataFrame(
        {
            "visit_id": ["a", "a", "b", "c"],
            "methods": ["fine_suction>forceps", "irrigation", "wide_suction", "wide_suction"],
        }
    )
    assert suctioned_ears_a_visit(ears, pd.Series(["a", "b"])) == 1.0


def test_without_methods_nothing_is_said_of_tips() -> None:
    ears = pd.DataFrame({"visit_id": ["a"], "methods": pd.Series([None], dtype="str")})
    assert suctioned_ears_a_visit(ears, pd.Series(["a"])) is None
