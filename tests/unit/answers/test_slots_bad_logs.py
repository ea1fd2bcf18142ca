"""Slots asked of logs that hold only part: a plain answer each, never a crash or an invented figure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.answers.slots import how_long_to_book
from analysis.answers.slots_changes import what_would_change
from analysis.answers.slots_frontier import what_can_waiting_be_traded_for
from analysis.answers.slots_replay import would_the_slots_have_done_better
from analysis.answers.slots_rules import what_would_other_rules_do
from analysis.answers.slots_what_if import what_if_other_slots
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.present.page_parts import answer_text
from analysis.problems import DataProblem
from analysis.settings import Settings, SlotsPart, settings_from_toml
from tests.visit_world import invented_log

QUESTIONS = [
    how_long_to_book,
    what_can_waiting_be_traded_for,
    would_the_slots_have_done_better,
    what_would_change,
    what_if_other_slots,
    what_would_other_rules_do,
]


@pytest.fixture(scope="module")
def clinic() -> Clinic:
    return Clinic(*invented_log(np.random.default_rng(41), visits=700))


def told(ask, clinic: Clinic) -> Answer:
    found = ask(clinic)
    answer = found if isinstance(found, Answer) else found.answer
    assert "nan" not in answer_text(answer).lower()
    return answer


@pytest.mark.parametrize("ask", QUESTIONS)
def test_without_end_times_there_is_no_figure_and_what_to_record_is_said(clinic, ask):
    visits = clinic.visits.assign(minutes=np.nan, minutes_quality="missing", ended_at=pd.NaT)
    answer = told(ask, replace(clinic, visits=visits))
    assert not answer.answered
    assert answer.headline.startswith("No figure yet.")


@pytest.mark.parametrize("ask", QUESTIONS)
def test_minutes_that_are_all_the_slots_are_no_minutes(clinic, ask):
    visits = clinic.visits.assign(minutes=clinic.visits["slot_minutes"], minutes_quality="filled_from_slot")
    assert not told(ask, replace(clinic, visits=visits)).answered


@pytest.mark.parametrize("ask", [how_long_to_book, would_the_slots_have_done_better])
def test_without_grades_or_ears_slots_follow_from_kind_and_minutes(clinic, ask):
    answer = told(ask, replace(clinic, ears=clinic.ears.iloc[:0]))
    assert answer.answered
    assert "new patient" in answer.headline


@pytest.mark.parametrize("ask", [how_long_to_book, what_would_change, what_would_other_rules_do])
def test_one_practitioner_is_enough(clinic, ask):
    assert told(ask, replace(clinic, visits=clinic.visits.assign(practitioner="A"))).answered


@pytest.mark.parametrize("ask", [how_long_to_book, would_the_slots_have_done_better, what_would_other_rules_do])
def test_one_month_is_answered_or_said_to_be_too_little(clinic, ask):
    visits = clinic.visits[clinic.visits["slot_start"] < "2025-02-06"]
    answer = told(ask, replace(clinic, visits=visits))
    assert answer.answered or answer.headline.startswith("No figure yet.")


def test_slots_of_nought_in_the_log_are_not_todays_slots(clinic):
    answer = told(how_long_to_book, replace(clinic, visits=clinic.visits.assign(slot_minutes=0.0)))
    assert "today's slots are not known" in answer.headline


@pytest.mark.parametrize("line", ["price_wait = -1", "today = { new = 0 }", "grid_minutes = 0", "grid_minutes = 7"])
def test_a_setting_that_makes_no_sense_is_refused_in_words(line):
    with pytest.raises(DataProblem, match="cannot be used"):
        settings_from_toml(f"[slots]\n{line}")


def test_a_grid_that_does_not_divide_the_session_leaves_the_rest_unbooked(clinic):
    settings = Settings(slots=SlotsPart(grid_minutes=10, session_minutes=205.0))
    answer = told(how_long_to_book, replace(clinic, settings=settings))
    slots = [
        row.value for row in answer.rows if row.quantity == "slot_minutes" and row.group["policy"] == "recommended"
    ]
    assert slots
    assert all(slot % 10 == 0 for slot in slots)
