"""Did past forecasts hold, as the owner reads it."""

from __future__ import annotations

import json
from dataclasses import asdict
from functools import cache

import pandas as pd

from analysis.answers.demand_trial import did_past_forecasts_hold
from analysis.answers.demand_trial_words import hidden_months
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.report.questions import PARTS
from analysis.schema import EAR_ROWS, typed_frame
from analysis.settings import settings_from_toml
from tests.demand_logs import steady_clinic

EARS = typed_frame(EAR_ROWS, pd.DataFrame())


def asked(visits: pd.DataFrame) -> Answer:
    return did_past_forecasts_hold(Clinic(visits, EARS))


@cache
def year() -> Answer:
    return asked(steady_clinic(months=14))


def rows(answer: Answer, quantity: str) -> list:
    return [row for row in answer.rows if row.quantity == quantity]


def test_every_month_from_the_seventh_on_is_forecast_from_each_month_end_before_it() -> None:
    # 14 whole months: 8 month-ends from the sixth to the thirteenth
    table = year().table
    assert table is not None
    whole = table[table["forecast_of"] == "all visits"]
    assert whole["months_ahead"].tolist() == ["1", "2", "3", "4", "5", "6"]
    assert whole["forecasts_tried"].tolist() == [8, 7, 6, 5, 4, 3]


def test_kinds_and_sites_are_tried_too() -> None:
    visits = steady_clinic(months=20)
    where = ["hill" if place % 3 else "quay" for place in range(len(visits))]
    answer = asked(visits.assign(site=pd.Series(where, dtype="str")))
    assert answer.table is not None
    parts = answer.table[answer.table["months_ahead"] == "1 to 6"].set_index("forecast_of").to_dict("index")
    assert list(parts) == ["new patient", "return with symptoms", "hill, all kinds", "quay, all kinds"]
    # 14 month-ends, of which the last five see fewer than six months of the log: 9 x 6 + 5 + 4 + 3 + 2 + 1
    assert parts["new patient"]["forecasts_tried"] == 69
    said = next(check.sentence for check in answer.checks if check.name == "Kinds of visit and sites")
    inside = parts["hill, all kinds"]["inside_80_share"]
    assert f"{100 * inside:.0f}% (hill)" in said
    row = next(
        row
        for row in rows(answer, "part_coverage")
        if row.group == {"kind": "all", "site": "hill", "months_ahead": "all", "level": 0.8}
    )
    assert row.value == inside


def test_kinds_below_the_clinics_own_bound_of_small_counts_are_left_out() -> None:
    settings = settings_from_toml("[clinic]\nhide_below = 50")
    answer = did_past_forecasts_hold(Clinic(steady_clinic(months=14), EARS, settings=settings))
    assert answer.table is not None
    assert set(answer.table["forecast_of"]) == {"all visits", "new patient"}


def test_the_headline_counts_the_months_the_rows_count() -> None:
    answer = year()
    inside = next(row for row in rows(answer, "coverage") if row.group == {"level": 0.8, "months_ahead": 1})
    assert answer.headline.startswith(f"Of the last 8 months {round(inside.value * 8)} came within the range")


def test_the_chart_shows_what_came_and_tells_it_in_words() -> None:
    answer = year()
    assert answer.chart is not None
    came = [row.value for row in rows(answer, "came")]
    assert list(answer.chart.data[-1].y) == came
    assert answer.chart.layout.title.text is None
    assert all(f"{value:.0f} (expected" in answer.chart_text for value in came)


def test_ranges_are_called_by_what_they_should_hold() -> None:
    inside = {
        row.group["level"]: round(row.value * 8) for row in rows(year(), "coverage") if row.group["months_ahead"] == 1
    }
    outside = 8 - inside[0.95]
    assert year().chart_title == (
        f"{inside[0.8]} of 8 months came within the range that should hold 8 in 10; {outside or 'none'} lay outside that for 19 in 20"
    )
    assert [check.name for check in year().checks if check.name[0].islower()] == []


def test_rows_can_be_written_down_and_lie_within_their_ranges() -> None:
    for row in year().rows:
        json.dumps(asdict(row), allow_nan=False)
        if row.low is not None:
            assert row.low <= row.value <= row.high


def test_the_rule_for_a_simple_method_is_said() -> None:
    assert any("tried on at least 12 months" in said and "5% or more" in said for said in year().assumptions)
    assert any("Fewer than 12 months to judge by" in check.sentence for check in year().checks)


def test_younger_than_a_year_there_is_no_season_and_too_little_to_judge_by() -> None:
    answer = asked(steady_clinic(months=9))
    assert any("younger than a year: it holds no season" in caution for caution in answer.cautions)
    assert "too few to set it beside simple methods" in answer.how_sure
    assert "too high" not in answer.how_sure
    assert "too low" not in answer.how_sure


def test_older_logs_say_how_little_the_earliest_forecasts_knew() -> None:
    assert any("made from 6 months of log" in caution for caution in year().cautions)


def test_one_month_to_try_is_told_as_one() -> None:
    answer = asked(steady_clinic(months=7))
    assert answer.headline.startswith("The last month came ")
    assert "One month says next to nothing" in answer.how_sure


def test_too_young_a_log_has_no_answer_and_says_from_when() -> None:
    answer = asked(steady_clinic(months=6))
    assert not answer.answered
    assert "a forecast can be tried out from 7" in answer.headline


def test_it_stands_in_the_report_right_after_the_forecast() -> None:
    steps = [step for _, questions in PARTS for step, _ in questions]
    assert steps[steps.index("how many will come") + 1] == "whether past forecasts held"


def test_a_small_month_does_not_follow_from_its_quarter() -> None:
    months = pd.DataFrame({"month": ["2026-04", "2026-05", "2026-06", "2026-07"], "came": [30.0, 3.0, 20.0, 25.0]})
    assert hidden_months(months, 5).tolist() == [False, True, True, False]
    assert not hidden_months(months.assign(came=[30, 0, 20, 25]), 5).any()
