"""The what-ifs, as the owner reads them."""

from __future__ import annotations

import json
from dataclasses import asdict

import numpy as np
import pandas as pd
import pytest

from analysis.answers import demand_scenario_words as say
from analysis.answers.demand_scenarios import Levers, what_if_recalls_or_softening_changed
from analysis.clinic import Clinic
from analysis.demo import invented_clinic
from analysis.present.answer import Answer
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml
from tests.demand_logs import steady_clinic

Log = tuple[pd.DataFrame, pd.DataFrame]
EARS = typed_frame(EAR_ROWS, pd.DataFrame())


@pytest.fixture(scope="module")
def invented() -> Log:
    whole = invented_clinic()
    return typed_frame(VISITS, whole.visits), typed_frame(EAR_ROWS, whole.ears)


@pytest.fixture(scope="module")
def answer(invented: Log) -> Answer:
    return what_if_recalls_or_softening_changed(Clinic(*invented))


def number(value: float | None) -> float:
    assert value is not None
    return value


def changed(answer: Answer, quantity: str) -> dict[str, tuple[float, float, float]]:
    return {
        row.group["scenario"]: (number(row.low), number(row.value), number(row.high))
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
        row.group["scenario"]: number(row.value)
        for row in answer.rows
        if row.quantity == "chance_outgrown_by_then" and row.group["month"] == "2027-03"
    }
    assert last["recall_later_2"] <= last["as_now"] <= last["recall_sooner_2"]
    assert answer.table is not None
    assert answer.table["chance_outgrown_by_then"].iloc[0] == pytest.approx(last["as_now"])


def test_waits_at_the_end_go_with_the_sessions(answer: Answer) -> None:
    wait = {row.group["scenario"]: number(row.value) for row in answer.rows if row.quantity == "wait_weeks_at_end"}
    assert wait["recall_later_2"] < wait["as_now"] < wait["recall_sooner_2"]
    assert answer.table is not None
    assert "(chance " in answer.table["first_outgrown"].iloc[0]


def test_cautions_of_drops_and_the_limits_of_the_figures_are_said(answer: Answer) -> None:
    said = " ".join(answer.cautions)
    for what in ("grommets", "perforation", "allergy", "local protocol", "hearing aid"):
        assert what.lower() in said.lower()
    assert "first 2 months" in answer.how_sure
    assert json.loads(json.dumps([asdict(row) for row in answer.rows]))


def test_the_months_moved_are_named() -> None:
    assert say.name(Levers(-1)) == "recalls 1 month sooner"
    assert say.code(Levers(3, advise=True)) == "recall_later_3+advise_all"
    assert say.name(Levers()) == "as now"


def test_without_recalls_or_advice_in_the_log_only_slots_are_changed_and_the_rest_is_said(invented: Log) -> None:
    visits, ears = invented
    late = visits[(visits["slot_start"] >= "2025-04-01") & visits["booking_kind"].ne("routine_recall").fillna(True)]
    none = late.assign(softening_advised=pd.Series(pd.NA, index=late.index, dtype="boolean")).reset_index(drop=True)
    settings = settings_from_toml("[demand]\nmonths_ahead = 2")
    answer = what_if_recalls_or_softening_changed(
        Clinic(none, ears[ears["visit_id"].isin(none["visit_id"])], settings=settings)
    )
    assert set(changed(answer, "visits")) == {"as_now", "recommended_slots"}
    assert any("advising everyone" in check.name.lower() for check in answer.checks)
    assert any("no routine recall" in check.sentence for check in answer.checks)


def test_nothing_to_change_is_no_answer() -> None:
    alone = what_if_recalls_or_softening_changed(Clinic(steady_clinic(months=13), EARS))
    assert not alone.answered
    unkeyed = steady_clinic(months=13).assign(patient_key=None)
    assert not what_if_recalls_or_softening_changed(Clinic(typed_frame(VISITS, unkeyed), EARS)).answered
    no_minutes = steady_clinic(months=13).assign(slot_minutes=np.nan)
    assert not what_if_recalls_or_softening_changed(Clinic(no_minutes, EARS)).answered


def test_settings_that_make_slots_impossible_leave_out_slots_alone(invented: Log) -> None:
    visits, ears = invented
    late = visits[visits["slot_start"] >= "2025-10-01"].reset_index(drop=True)
    untimed = late.assign(minutes=np.nan)
    settings = settings_from_toml(
        "[demand]\nmonths_ahead = 1\n[slots]\nprice_wait = 0\nprice_idle = 0\nprice_overtime = 0"
    )
    mine = ears[ears["visit_id"].isin(late["visit_id"])]
    for log in (late, untimed):
        answer = what_if_recalls_or_softening_changed(Clinic(log, mine, settings=settings))
        assert not any("slots" in code for code in changed(answer, "visits"))
        assert any(check.name == "Left out: the recommended slots" for check in answer.checks)
    assert answer.table is not None
    assert set(answer.table["chair_hours_change"]) == {"not known"}
    assert not any(row.quantity.startswith("chair_hours") for row in answer.rows)
