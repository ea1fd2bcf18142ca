"""How many will come, on logs that hold little of what a forecast learns from: plain answers, no figure made up."""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.answers.demand import how_many_will_come
from analysis.answers.demand_capacity import when_is_capacity_outgrown
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.schema import EAR_ROWS, typed_frame
from tests.demand_logs import steady_clinic

EARS = typed_frame(EAR_ROWS, pd.DataFrame())
YEAR = steady_clinic(months=13)
BACK = YEAR["booking_kind"] == "symptoms_return"


def asked(visits: pd.DataFrame) -> Answer:
    return how_many_will_come(Clinic(visits.reset_index(drop=True), EARS))


def a_month(answer: Answer, kind: str) -> list[float]:
    return [
        row.value for row in answer.rows if row.quantity == "visits" and row.level == 0.8 and row.group["kind"] == kind
    ]


def test_one_visit_a_patient_forecasts_no_return() -> None:
    answer = asked(YEAR[~BACK])
    assert answer.answered
    assert not a_month(answer, "symptoms_return")
    assert a_month(answer, "new") == a_month(answer, "all")


def test_all_returns_in_one_month_still_give_a_whole_answer() -> None:
    moved = YEAR.copy()
    moved.loc[BACK, "slot_start"] = pd.Timestamp("2024-01-15 10:00")
    answer = asked(moved.sort_values("slot_start", kind="stable"))
    assert answer.answered
    for row in answer.rows:
        if row.low is not None:
            assert 0 <= row.low <= row.value <= row.high


@pytest.mark.parametrize("ask", [how_many_will_come, when_is_capacity_outgrown])
def test_a_log_without_sites_or_practitioners_is_answered(ask) -> None:
    assert YEAR["site"].isna().all()
    assert ask(Clinic(YEAR, EARS)).answered


def test_a_log_without_any_visit_has_no_answer() -> None:
    assert not asked(YEAR.iloc[:0]).answered
