"""Every deeper answer on what will come, on logs that hold little: plain answers, no figure made up."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pandas as pd
import pytest

from analysis.answers.demand_needs import what_will_the_coming_visits_take
from analysis.answers.demand_scenarios import what_if_recalls_or_softening_changed
from analysis.answers.demand_sites import how_many_will_come_to_each_site
from analysis.answers.demand_waiting import how_long_would_people_wait
from analysis.answers.demand_weeks import how_many_will_come_each_week
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from tests.demand_logs import steady_clinic

Ask = Callable[[Clinic], Answer]
ALWAYS: tuple[Ask, ...] = (
    how_many_will_come_each_week,
    what_will_the_coming_visits_take,
    how_long_would_people_wait,
)
MAYBE: tuple[Ask, ...] = (how_many_will_come_to_each_site, what_if_recalls_or_softening_changed)
EARS = typed_frame(EAR_ROWS, pd.DataFrame())
YEAR = steady_clinic(months=13)
BACK = YEAR["booking_kind"] == "symptoms_return"


def one_month() -> pd.DataFrame:
    """All returns in one month."""
    moved = YEAR.copy()
    moved.loc[BACK, "slot_start"] = pd.Timestamp("2024-01-15 10:00")
    return moved.sort_values("slot_start", kind="stable")


STRAY = YEAR.tail(5).assign(
    visit_id=[f"stray{number}" for number in range(5)], slot_start=pd.Timestamp("2031-05-06 10:00")
)
LOGS = {
    "nobody has returned yet": YEAR[~BACK],
    "all returns in one month": one_month(),
    "younger than a year": steady_clinic(months=8),
    "no patient numbers": YEAR.assign(patient_key=None),
    "no kinds of booking": YEAR.assign(booking_kind=None),
    "a few bookings in the future": pd.concat([YEAR, STRAY]),
}


@cache
def logged(name: str) -> Clinic:
    """Make the clinic of a log once: its questions stand on one forecast."""
    return clinic_of(LOGS[name])


def clinic_of(visits: pd.DataFrame) -> Clinic:
    return Clinic(typed_frame(VISITS, visits.reset_index(drop=True)), EARS)


def asked(ask: Ask, clinic: Clinic) -> Answer:
    answer = ask(clinic)
    for row in answer.rows:
        if row.low is not None and row.high is not None:
            assert row.value is not None
            assert row.low <= row.value <= row.high
    assert answer.headline.endswith((".", "?"))
    return answer


@pytest.mark.parametrize("ask", ALWAYS)
@pytest.mark.parametrize("name", LOGS)
def test_what_rests_on_dates_alone_is_answered(ask: Ask, name: str) -> None:
    assert asked(ask, logged(name)).answered


@pytest.mark.parametrize("ask", MAYBE)
@pytest.mark.parametrize("name", LOGS)
def test_what_rests_on_more_says_why_it_cannot_be_had(ask: Ask, name: str) -> None:
    answer = asked(ask, logged(name))
    assert answer.answered or answer.headline.startswith("No figure yet. ")
    assert answer.answered or not answer.rows


def test_where_sessions_held_cannot_be_seen_waits_are_not_known_but_needs_are() -> None:
    unmarked = clinic_of(YEAR.assign(attendance=None))
    waits = asked(how_long_would_people_wait, unmarked)
    assert not waits.answered
    assert "sessions_a_week" in waits.headline
    assert asked(what_will_the_coming_visits_take, unmarked).answered


@pytest.mark.parametrize("ask", [*ALWAYS, *MAYBE])
def test_an_empty_log_and_one_of_two_months_have_no_answer(ask: Ask) -> None:
    for visits in (YEAR.iloc[:0], steady_clinic(months=2)):
        answer = asked(ask, clinic_of(visits))
        assert not answer.answered
        assert not answer.rows
