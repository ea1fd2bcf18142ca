"""The what-ifs, as the owner reads them."""

from __future__ import annotations

import json
from dataclasses import asdict

import numpy as np
import pandas as pd
import pytest

from analysis.answers.demand_scenarios import what_if_recalls_or_softening_changed
from analysis.clinic import Clinic
from analysis.demo import invented_clinic
from analysis.present.answer import Answer
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml
from tests.demand_logs import steady_clinic

EARS = typed_frame(EAR_ROWS, pd.DataFrame())


@pytest.fixture(scope="module")
def invented() -> tuple[pd.DataFrame, pd.DataFrame]:
    whole = invented_clinic()
    return typed_frame(VISITS, whole.visits), typed_frame(EAR_ROWS, whole.ears)


@pytest.fixture(scope="module")
def answer(invented) -> Answer:
    return what_if_recalls_or_softening_changed(Clinic(*invented))


def changed(answer: Answer, quantity: str) -> dict[str, tuple[float, float, float]]:
    return {
        row.group["scenario"]: (row.low, row.value, row.high)
        for row in answer.rows
        if row.quantity == f"{quantity}_change_a_month"
    }


def test_recalls_sooner_bring_more_and_later_fewer(answer: Answer) -> None:
    visits = changed(answer, "visits")
    assert visits["recall_sooner_2"][0] > 0
    assert visits["recall_later_2"][2] < 0
    assert visits["as_now"] == (0.0, 0.0, 0.0)


def test_advice_avoids_second_visits_and_later_recalls_do_not(answer: Answer) -> None:
    second = changed(answer, "second_visits")
    assert second["advise_all"][2] < 0
    assert abs(second["recall_later_2"][1]) < abs(second["advise_all"][1])


def test_changes_together_add_up_but_for_what_they_share(answer: Answer) -> None:
    visits = {code: middle for code, (_, middle, _) in changed(answer, "visits").items()}
    apart = visits["recall_later_2"] + visits["advise_all"]
    assert visits["recall_later_2+advise_all"] == pytest.approx(apart, abs=1.5)


def test_recommended_slots_change_sessions_and_no_visit(answer: Answer) -> None:
    assert changed(answer, "visits")["recommended_slots"][1] == 0
    assert changed(answer, "sessions")["recommended_slots"][1] != 0


def test_chances_move_with_the_sessions(answer: Answer) -> None:
    last = {
        row.group["scenario"]: row.value
        for row in answer.rows
        if row.quantity == "chance_outgrown_by_then" and row.group["month"] == "2027-03"
    }
    assert last["recall_later_2"] <= last["as_now"] <= last["recall_sooner_2"]
    assert answer.table is not None
    assert answer.table["chance_outgrown_by_then"].iloc[0] == pytest.approx(last["as_now"])


def test_cautions_of_drops_and_the_limits_of_the_figures_are_said(answer: Answer) -> None:
    said = " ".join(answer.cautions)
    for what in ("grommets", "perforation", "allergy", "local protocol", "hearing aid"):
        assert what.lower() in said.lower()
    assert "first 2 months" in answer.how_sure
    assert json.loads(json.dumps([asdict(row) for row in answer.rows]))


@pytest.fixture(scope="module")
def year_and_a_half(invented) -> tuple[pd.DataFrame, pd.DataFrame]:
    visits, ears = invented
    late = visits[visits["slot_start"] >= "2025-04-01"].reset_index(drop=True)
    return late, ears[ears["visit_id"].isin(late["visit_id"])].reset_index(drop=True)


def test_the_months_moved_are_the_owners_and_no_advice_in_the_log_leaves_recalls_to_be_moved(year_and_a_half) -> None:
    visits, ears = year_and_a_half
    none = visits.assign(softening_advised=pd.Series(pd.NA, index=visits.index, dtype="boolean"))
    settings = settings_from_toml("[demand]\nrecall_moved_months = 1\nmonths_ahead = 2")
    answer = what_if_recalls_or_softening_changed(Clinic(none, ears, settings=settings))
    assert "recalls 1 month sooner" in answer.headline
    assert not any("advise_all" in code for code in changed(answer, "visits"))
    assert any("advising everyone" in check.name.lower() for check in answer.checks)


def test_a_log_without_recalls_says_so_and_moves_none(year_and_a_half) -> None:
    visits, ears = year_and_a_half
    own = visits["booking_kind"].ne("routine_recall").fillna(True)
    answer = what_if_recalls_or_softening_changed(Clinic(visits[own].reset_index(drop=True), ears))
    assert answer.answered
    assert not any("recall" in code.split("+")[0] and "recommended" not in code for code in changed(answer, "visits"))
    assert any("no routine recall" in check.sentence for check in answer.checks)


def test_nothing_to_change_is_no_answer() -> None:
    alone = what_if_recalls_or_softening_changed(Clinic(steady_clinic(months=13), EARS))
    assert not alone.answered
    unkeyed = steady_clinic(months=13).assign(patient_key=None)
    assert not what_if_recalls_or_softening_changed(Clinic(typed_frame(VISITS, unkeyed), EARS)).answered
    no_minutes = steady_clinic(months=13).assign(slot_minutes=np.nan)
    assert not what_if_recalls_or_softening_changed(Clinic(no_minutes, EARS)).answered
