"""What the coming visits take, as the owner reads it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.answers.demand_needs import what_will_the_coming_visits_take
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.problems import DataProblem
from analysis.schema import EAR_ROWS, typed_frame
from analysis.settings import settings_from_toml
from tests.demand_logs import steady_clinic

GRADES = ["non_occluding", "partly_occluding", "fully_occluding"]


def graded() -> tuple[pd.DataFrame, pd.DataFrame]:
    visits = steady_clinic(months=13)
    place = np.arange(len(visits)) % 3
    ears = pd.DataFrame({"visit_id": visits["visit_id"], "ear": "left", "grade": np.array(GRADES)[place]})
    timed = pd.Categorical(["timed"] * len(visits), visits["minutes_quality"].cat.categories)
    return visits.assign(minutes=18.0 + 4.0 * place, minutes_quality=timed), typed_frame(EAR_ROWS, ears)


def asked(toml: str = "", **changed: float) -> Answer:
    visits, ears = graded()
    return what_will_the_coming_visits_take(Clinic(visits.assign(**changed), ears, settings=settings_from_toml(toml)))


@pytest.fixture(scope="module")
def answer() -> Answer:
    return asked()


def test_hours_are_visits_times_their_minutes(answer: Answer) -> None:
    visit = [row.value for row in answer.rows if row.quantity == "minutes_a_visit"]
    assert visit == pytest.approx([24.0] * 6, abs=0.3)  # 18, 22 or 26, and two between patients
    assert "hours in the chair" in answer.headline
    full = [row.value for row in answer.rows if row.quantity == "fully_occluding_share"]
    assert full == pytest.approx([1 / 3] * 6, abs=0.02)


def test_every_figure_but_a_certain_one_has_a_range(answer: Answer) -> None:
    for row in answer.rows:
        assert row.low is not None
        assert row.high is not None
        assert row.value is not None
        assert row.low <= row.value <= row.high


def test_supplies_are_said_to_be_unset_and_counted_once_set(answer: Answer) -> None:
    assert answer.table is not None
    assert set(answer.table["supplies"]) == {"not set"}
    assert any("is not set" in said for said in answer.assumptions)
    set_ = asked("[demand]\nsupplies = { specula = 2, gloves = 1.5 }")
    assert set_.table is not None
    assert set_.table["supplies"].iloc[0].startswith("specula: ")
    used = {row.group["supply"]: row.value or 0.0 for row in set_.rows if row.quantity == "supplies"}
    assert used["gloves"] == pytest.approx(0.75 * used["specula"])


@pytest.mark.parametrize("wrong", ['specula = "two"', "specula = -1", "specula = true", "specula = inf"])
def test_supplies_must_be_amounts(wrong: str) -> None:
    with pytest.raises(DataProblem):
        settings_from_toml(f"[demand]\nsupplies = {{ {wrong} }}")


def test_visits_longer_than_their_slot_take_their_own_minutes() -> None:
    short, plenty = (asked(slot_minutes=minutes) for minutes in (10.0, 24.0))
    assert short.table is not None
    assert plenty.table is not None
    # twenty-four minutes a visit fill sessions whether ten or twenty-four are booked
    first, second = (
        float(each.table["sessions_needed_range"].iloc[0].split()[0])
        for each in (short, plenty)
        if each.table is not None
    )
    assert first == pytest.approx(second, abs=1.0)


def test_without_minutes_slots_still_give_sessions_and_the_answer_says_what_is_left_out() -> None:
    answer = asked(minutes=np.nan)
    assert answer.answered
    assert "hours in the chair" not in answer.headline
    assert any("minutes of their own" in check.sentence for check in answer.checks)
    assert not asked(minutes=np.nan, slot_minutes=np.nan).answered
