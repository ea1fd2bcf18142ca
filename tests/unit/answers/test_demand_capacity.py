"""When capacity is outgrown, as the owner reads it."""

from __future__ import annotations

import json
from dataclasses import asdict

import pandas as pd
import pytest

from analysis.answers.demand_capacity import when_is_capacity_outgrown
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.schema import EAR_ROWS, typed_frame
from analysis.settings import settings_from_toml
from tests.demand_logs import steady_clinic

EARS = typed_frame(EAR_ROWS, pd.DataFrame())


def asked(toml: str = "", visits: pd.DataFrame | None = None) -> Answer:
    visits = steady_clinic(months=13) if visits is None else visits
    return when_is_capacity_outgrown(Clinic(visits, EARS, settings=settings_from_toml(toml)))


def values(answer: Answer, quantity: str) -> list[float]:
    return [row.value for row in answer.rows if row.quantity == quantity]


def test_plenty_of_sessions_leave_nobody_waiting() -> None:
    answer = asked("[demand]\nsessions_a_week = 50")
    assert "should be enough in every month" in answer.headline
    assert "needs more in fewer than 1 of 100 possible futures" in answer.headline
    assert values(answer, "wait_weeks") == [0.0] * 6


def test_too_few_sessions_are_outgrown_at_once_and_the_wait_grows_every_month() -> None:
    answer = asked("[demand]\nsessions_a_week = 1")
    assert answer.headline.startswith("In February 2024, the 4 half-day sessions available are probably outgrown")
    waits = values(answer, "wait_weeks")
    assert waits == sorted(waits)
    assert waits[0] > 4  # four visits of half an hour a weekday and more fill three sessions a week, not one


def test_people_waiting_already_wait_longer() -> None:
    some, none = (asked(f"[demand]\nsessions_a_week = 4\nwaiting_now = {people}") for people in (100, 0))
    assert values(some, "wait_weeks")[0] > values(none, "wait_weeks")[0] + 2
    assert any(said.startswith("100 people are waiting") for said in some.assumptions)


def test_the_logs_own_sessions_are_taken_where_none_are_set() -> None:
    # every weekday's bookings are at nine: one half-day session a weekday
    answer = asked()
    weekdays = len(pd.bdate_range("2024-02-01", "2024-02-29"))
    assert values(answer, "sessions_there")[0] == pytest.approx(weekdays, rel=0.03)
    assert any("as were held in the last year" in said for said in answer.assumptions)


def test_without_lengths_or_too_young_there_is_no_answer() -> None:
    no_minutes = asked(visits=steady_clinic(months=13).assign(slot_minutes=float("nan")))
    assert "sessions cannot be worked out" in no_minutes.headline
    assert not asked(visits=steady_clinic(months=3)).answered


def test_without_methods_no_suction_tips_are_counted() -> None:
    answer = asked()
    assert answer.table is not None
    assert "suction_tips" not in answer.table
    assert not values(answer, "suction_tips")


def test_every_row_can_be_written_down_within_its_range() -> None:
    for row in asked("[demand]\nsessions_a_week = 3").rows:
        json.dumps(asdict(row), allow_nan=False)
        if row.low is not None:
            assert row.low <= row.value <= row.high
