"""How many will come, on logs that hold little of what a forecast learns from: plain answers, no figure made up."""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.answers.demand import how_many_will_come
from analysis.answers.demand_capacity import when_is_capacity_outgrown
from analysis.answers.demand_trial import did_past_forecasts_hold
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.schema import EAR_ROWS, typed_frame
from tests.demand_logs import log, steady_clinic

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


@pytest.mark.parametrize("months", [6, 8, 11])
def test_a_clinic_younger_than_a_year_hears_that_there_is_no_season_to_learn(months: int) -> None:
    answer = asked(steady_clinic(months=months))
    assert answer.answered
    assert "younger than a year and so holds no season to learn" in answer.how_sure
    assert any(
        f"covers {months} whole months" in said and "the level so far stands" in said for said in answer.cautions
    )


def test_half_a_years_ranges_allow_for_a_season_not_seen() -> None:
    # the same clinic: what is not known yet widens the range beyond what half as long a log would
    widths = []
    for months in (8, 30):
        rows = [row for row in asked(steady_clinic(months=months)).rows if row.quantity == "visits"]
        widths.append(
            max((row.high - row.low) / row.value for row in rows if row.level == 0.8 and row.group["kind"] == "new")
        )
    assert widths[0] > 1.3 * widths[1]


@pytest.mark.parametrize("months", [0, 1, 5])
def test_below_half_a_year_there_is_no_figure(months: int) -> None:
    visits = steady_clinic(months=7)
    young = visits[visits["slot_start"] < pd.Timestamp("2023-01-01") + pd.DateOffset(months=months)]
    assert not asked(young).answered


def test_a_few_dates_years_ahead_are_taken_for_slips_unless_the_last_day_is_set() -> None:
    stray = YEAR.tail(5).assign(visit_id=list("abcde"), slot_start=pd.Timestamp("2031-05-06 10:00"))
    answer = asked(pd.concat([YEAR, stray]))
    assert a_month(answer, "all") == a_month(asked(YEAR), "all")
    assert answer.basis is not None
    assert answer.basis.left_out["dated more than three months after all others, taken for slips of the date"] == 5


HARD = {
    "one visit a patient": YEAR[~BACK],
    "no patient numbers": YEAR.assign(patient_key=pd.Series(None, index=YEAR.index, dtype="str")),
    "all returns in one month": YEAR.assign(
        slot_start=YEAR["slot_start"].mask(BACK, pd.Timestamp("2023-12-15 10:00"))
    ).sort_values("slot_start", kind="stable"),
    "a date far ahead": YEAR.assign(
        slot_start=YEAR["slot_start"].mask(YEAR.index == YEAR.index[-1], pd.Timestamp("2031-05-05 10:00"))
    ),
    "hardly any visit": YEAR.iloc[::40],
}


@pytest.mark.parametrize("name", HARD)
def test_past_forecasts_are_tried_on_hard_logs_too(name: str) -> None:
    answer = did_past_forecasts_hold(Clinic(HARD[name].reset_index(drop=True), EARS))
    assert answer.answered
    for row in answer.rows:
        if row.low is not None and row.value is not None:
            assert 0 <= row.low <= row.value <= row.high


def test_a_month_like_every_other_is_left_to_the_simple_method_that_never_missed() -> None:
    months = pd.period_range("2023-01", periods=26, freq="M")
    days = [month.start_time + pd.Timedelta(days=day) for month in months for day in (3, 10, 17, 24)]
    visits = log(*((f"p{number}", str(day.date()), "new") for number, day in enumerate(days)))
    answer = asked(visits)
    assert answer.answered
    every = [row.value for row in answer.rows if row.quantity == "visits" and row.group["kind"] == "all"]
    assert every == pytest.approx([4.0] * len(every), rel=0.3)
    assert "nan" not in answer.how_sure
    assert "inf" not in answer.how_sure.replace("information", "")
