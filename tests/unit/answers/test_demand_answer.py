"""How many will come, as the owner reads it, on whole and on lacking logs."""

from __future__ import annotations

import json
from dataclasses import asdict
from functools import cache
from math import ceil

import pandas as pd
import pytest

from analysis.answers.demand import how_many_will_come
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.schema import EAR_ROWS, typed_frame
from analysis.settings import settings_from_toml
from tests.demand_logs import log, steady_clinic

EARS = typed_frame(EAR_ROWS, pd.DataFrame())


def asked(visits: pd.DataFrame, toml: str = "") -> Answer:
    return how_many_will_come(Clinic(visits, EARS, settings=settings_from_toml(toml)))


@cache
def whole() -> Answer:
    return asked(steady_clinic())


@cache
def year() -> Answer:
    return asked(steady_clinic(months=13))


def values(answer: Answer, quantity: str, **group: str) -> list[float]:
    """Expected values of a quantity, one a month, at the narrower range."""
    return [
        row.value
        for row in answer.rows
        if row.quantity == quantity and row.level == 0.8 and {**row.group, **group} == row.group
    ]


def test_the_headline_says_the_rows_own_figures() -> None:
    answer = whole()
    mean = sum(values(answer, "visits", kind="all")) / 6
    sessions = ceil(sum(values(answer, "sessions_needed")) / 6)
    assert answer.headline.startswith(f"Expect about {mean:.0f} visits a month to December 2025, between ")
    assert answer.headline.endswith(f"that is about {sessions} half-day sessions a month.")


def test_a_steady_clinic_is_expected_to_go_on() -> None:
    # 4 new patients a weekday and a third of them back once, 5/7 of whose dates are weekdays moved forward
    months = sum(values(whole(), "visits", kind="all"))
    weekdays = len(pd.bdate_range("2025-07-01", "2025-12-31"))
    assert months == pytest.approx(weekdays * 4 * 4 / 3, rel=0.05)


def test_kinds_add_up_to_all_visits_in_every_month() -> None:
    answer = whole()
    kinds = {row.group["kind"] for row in answer.rows if row.quantity == "visits"} - {"all"}
    by_kind = [values(answer, "visits", kind=kind) for kind in kinds]
    assert [sum(month) for month in zip(*by_kind, strict=True)] == pytest.approx(values(answer, "visits", kind="all"))


def test_every_row_lies_within_its_range_and_can_be_written_down() -> None:
    for row in whole().rows:
        json.dumps(asdict(row), allow_nan=False)
        if row.low is not None:
            assert row.low <= row.value <= row.high


def test_the_same_log_gives_the_same_answer() -> None:
    assert asked(steady_clinic(months=13)).rows == year().rows


def test_chart_and_table_show_the_same_months() -> None:
    answer = whole()
    assert answer.table is not None
    assert answer.chart is not None
    assert list(dict.fromkeys(answer.table["month"])) == [
        f"{m:%B %Y}" for m in pd.date_range("2025-07-01", periods=6, freq="MS")
    ]
    assert answer.chart.data[-1].x == tuple(f"2025-{month:02d}-01" for month in range(7, 13))
    assert answer.chart.layout.title.text is None


def test_months_ahead_is_the_owners() -> None:
    answer = asked(steady_clinic(months=13), "[demand]\nmonths_ahead = 2")
    assert len(values(answer, "visits", kind="all")) == 2


def test_a_young_log_has_no_answer_and_says_when() -> None:
    answer = asked(steady_clinic(months=4))
    assert not answer.answered
    assert answer.headline == (
        "No figure yet. The log covers 4 whole months; a forecast needs at least 6. Ask again when it covers more."
    )


def test_a_log_of_a_year_says_that_no_season_was_learnt() -> None:
    answer = year()
    assert answer.answered
    assert any("growth and season of new patients can be learnt from 24" in caution for caution in answer.cautions)
    assert "may be too narrow" in answer.how_sure


def test_without_patient_numbers_each_kind_is_forecast_from_its_counts() -> None:
    answer = asked(steady_clinic().assign(patient_key=pd.Series(None, index=range(len(steady_clinic())), dtype="str")))
    assert answer.answered
    assert any("record a patient number" in caution for caution in answer.cautions)
    assert sum(values(answer, "visits", kind="all")) == pytest.approx(
        sum(values(whole(), "visits", kind="all")), rel=0.1
    )


def test_without_kinds_or_hearing_aids_there_is_still_an_answer() -> None:
    visits = steady_clinic(months=13)
    answer = asked(visits.assign(booking_kind=visits["booking_kind"].where(visits.index < 0)))
    assert {row.group["kind"] for row in answer.rows if row.quantity == "visits"} == {"new", "other", "all"}


def test_without_slots_and_minutes_visits_are_still_forecast() -> None:
    answer = asked(steady_clinic(months=13).assign(slot_minutes=float("nan")))
    assert answer.headline.endswith("in a typical month.")
    assert any("record how long each slot is" in caution for caution in answer.cautions)


def test_bookings_after_the_last_day_are_told_but_are_no_history() -> None:
    visits = steady_clinic(months=13)
    coming = log(("p1", "2025-02-03", "routine_recall"), attendance=[None])
    answer = asked(pd.concat([visits, coming], ignore_index=True))
    assert answer.basis is not None
    assert "1 dated after the last day of the log" in str(answer.basis)
    assert answer.headline == year().headline


def test_one_misdated_row_does_not_stretch_the_log() -> None:
    visits = steady_clinic(months=13)
    visits.loc[0, "slot_start"] = pd.Timestamp("1999-03-01 10:00")
    answer = asked(visits)
    assert answer.basis is not None
    assert answer.basis.first_day == pd.Timestamp("2023-01-02")
    assert sum(values(answer, "visits", kind="all")) == pytest.approx(
        sum(values(year(), "visits", kind="all")), rel=0.02
    )


def test_recall_uptake_replaces_the_logs_own_recalls() -> None:
    recalled = asked(steady_clinic(), "[demand]\nrecall_uptake = 0.5\n[recall]\ntoday_months = 12")
    assert not values(whole(), "visits", kind="routine_recall")
    assert min(values(recalled, "visits", kind="routine_recall")) > 5
    assert any("50% of patients come when called back 12 months" in said for said in recalled.assumptions)


def test_bookings_made_exceed_visits_where_some_are_missed() -> None:
    visits = steady_clinic(months=13)
    visits.loc[visits.index % 10 == 3, "attendance"] = "missed"
    answer = asked(visits)
    ratio = sum(values(answer, "bookings")) / sum(values(answer, "visits", kind="all"))
    assert ratio == pytest.approx(10 / 9, rel=0.01)


def test_the_trial_on_the_past_is_told_and_kept() -> None:
    answer = whole()
    covered = [row for row in answer.rows if row.quantity == "backtest_coverage"]
    assert {row.group["level"] for row in covered} == {0.5, 0.8, 0.95}
    assert all(row.n == 12 and 0 <= row.low <= row.value <= row.high <= 1 for row in covered)
    assert {row.group["against"] for row in answer.rows if row.quantity == "backtest_scaled_error"} == {
        "seasonal_naive",
        "same_months",
        "exponential_smoothing",
    }
    inside = {row.group["level"]: round(row.value * 12) for row in covered}
    assert (
        f"Tried on the last 12 months, each a month ahead: {inside[0.8]} of 12 came within the range that should hold 8 in 10 and "
        f"{inside[0.95]} of 12 came within that for 19 in 20."
    ) in answer.how_sure


def test_names_of_checks_begin_as_headings_do() -> None:
    assert [check.name for check in whole().checks if check.name[0].islower()] == []


@pytest.mark.parametrize(
    ("visits", "why"),
    [
        (steady_clinic().head(0), "no dated visit"),
        (steady_clinic().assign(attendance="missed"), "no attended visit"),
        (log(*((f"p{n}", "2026-03-02", "new") for n in range(40))), "covers 0 whole months"),
    ],
)
def test_logs_that_hold_too_little_say_so(visits: pd.DataFrame, why: str) -> None:
    answer = asked(visits)
    assert not answer.answered
    assert why in answer.headline
