"""Slots chosen beforehand and replayed on real days."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.answers.slots_replay import would_the_slots_have_done_better
from analysis.clinic import Clinic
from analysis.present.page_parts import answer_html
from analysis.settings import Settings, SlotsPart
from tests.visit_world import invented_log


@pytest.fixture(scope="module")
def log():
    return invented_log(np.random.default_rng(31), visits=1500)


def test_it_says_what_real_days_would_have_been(log):
    answer = would_the_slots_have_done_better(Clinic(*log))
    assert answer.answered
    assert "instead of" in answer.headline
    assert answer.chart is not None
    assert "nan" not in answer_html(answer).lower()


def test_it_says_so_where_todays_slots_are_not_known(log):
    visits, ears = log
    visits = visits.assign(slot_minutes=np.nan)
    answer = would_the_slots_have_done_better(Clinic(visits, ears))
    assert not answer.answered
    assert "slots.today" in answer.headline + answer.how_sure


def test_too_few_days_give_no_figure(log):
    visits, ears = log
    answer = would_the_slots_have_done_better(Clinic(visits.iloc[:150], ears))
    assert not answer.answered


def test_a_grid_that_does_not_divide_the_session_still_has_an_answer(log):
    settings = Settings(slots=SlotsPart(grid_minutes=10, session_minutes=205.0))
    assert would_the_slots_have_done_better(Clinic(*log, settings=settings)).answered
