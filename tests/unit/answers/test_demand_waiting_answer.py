"""Waits by month, as the owner reads them."""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.answers.demand_waiting import how_long_would_people_wait
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.schema import EAR_ROWS, typed_frame
from analysis.settings import settings_from_toml
from tests.demand_logs import steady_clinic

EARS = typed_frame(EAR_ROWS, pd.DataFrame())
YEAR = steady_clinic(months=13)


def asked(toml: str = "") -> Answer:
    return how_long_would_people_wait(Clinic(YEAR, EARS, settings=settings_from_toml(toml)))


def enough(answer: Answer) -> float:
    return next(row.value or 0.0 for row in answer.rows if row.quantity == "sessions_a_week_enough")


def people(answer: Answer) -> list[float]:
    return [row.value or 0.0 for row in answer.rows if row.quantity == "people_waiting"]


def test_plenty_of_sessions_leave_nobody_waiting() -> None:
    answer = asked("[demand]\nsessions_a_week = 50")
    assert "nobody would wait" in answer.headline
    assert "in 9 of 10 possible futures no month's wait passes 2 weeks" in answer.headline
    assert answer.chart_title == "Nobody is expected to wait for want of sessions"


def test_too_few_sessions_say_how_many_would_do_whatever_there_are() -> None:
    one, two = (asked(f"[demand]\nsessions_a_week = {many}") for many in (1, 2))
    assert "To keep the wait within 2 weeks in 9 of 10 possible futures takes about" in one.headline
    assert enough(one) == pytest.approx(enough(two), rel=0.01)
    assert people(one) == sorted(people(one))


def test_the_sessions_said_to_be_enough_are() -> None:
    needed = enough(asked("[demand]\nsessions_a_week = 1"))
    held = asked(f"[demand]\nsessions_a_week = {needed * 1.01}")
    assert "no month's wait passes 2 weeks" in held.headline
    chances = [row.value or 0.0 for row in held.rows if row.quantity == "chance_of_long_wait"]
    assert max(chances) <= 0.1


def test_people_waiting_already_are_counted_and_a_longer_wait_allowed_saves_sessions() -> None:
    some = asked("[demand]\nsessions_a_week = 4\nwaiting_now = 60")
    assert any("60 people waiting" in said for said in some.assumptions)
    assert people(some)[0] > 20
    patient = asked("[demand]\nsessions_a_week = 4\nwaiting_now = 60\nlongest_wait_weeks = 8")
    assert enough(patient) < enough(some)


def test_too_young_a_log_has_no_answer() -> None:
    assert not how_long_would_people_wait(Clinic(steady_clinic(months=3), EARS)).answered
