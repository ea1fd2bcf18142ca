"""Visits by week, as the owner reads them."""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.answers.demand_figures import demand_figures
from analysis.answers.demand_weeks import how_many_will_come_each_week
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.schema import EAR_ROWS, typed_frame
from tests.demand_logs import steady_clinic

EARS = typed_frame(EAR_ROWS, pd.DataFrame())


@pytest.fixture(scope="module")
def clinic() -> Clinic:
    return Clinic(steady_clinic(months=13), EARS)


@pytest.fixture(scope="module")
def answer(clinic: Clinic) -> Answer:
    return how_many_will_come_each_week(clinic)


def test_the_weeks_add_up_to_the_months(clinic: Clinic, answer: Answer) -> None:
    whole = sum(row.value or 0.0 for row in answer.rows if row.level == 0.8 and row.group["kind"] == "all")
    assert whole == pytest.approx(demand_figures(clinic).total.expected.sum())


def test_a_usual_week_and_its_range_are_said(answer: Answer) -> None:
    assert "visits are expected in an average week" in answer.headline
    assert answer.table is not None
    assert (answer.table["low_95"] <= answer.table["low_80"]).all()
    assert (answer.table["high_80"] <= answer.table["high_95"]).all()
    assert answer.checks[0].name == "Past weeks, given their months"
    assert answer.checks[0].result == "passed"


def with_sites(*names: str) -> Clinic:
    visits = steady_clinic(months=13)
    where = [names[place % len(names)] for place in range(len(visits))]
    return Clinic(visits.assign(site=pd.Series(where, dtype="str")), EARS)


def by_week(answer: Answer, quantity: str, kind: str) -> dict[str, float]:
    sums: dict[str, float] = {}
    for row in answer.rows:
        if row.quantity == quantity and row.level == 0.8 and row.group["kind"] == kind:
            assert row.low is not None
            assert row.value is not None
            assert row.high is not None
            assert row.low <= row.value <= row.high
            sums[row.group["week"]] = sums.get(row.group["week"], 0.0) + row.value
    return sums


@pytest.mark.parametrize("kind", ["all", "new", "symptoms_return"])
def test_the_sites_weeks_add_up_to_the_clinics(kind: str) -> None:
    answer = how_many_will_come_each_week(with_sites("hill", "quay", "hill"))
    assert by_week(answer, "visits_at_site", kind) == pytest.approx(by_week(answer, "visits", kind))


def test_the_table_lists_every_week_by_kind_and_by_site() -> None:
    answer = how_many_will_come_each_week(with_sites("hill", "quay", "hill"))
    assert answer.table is not None
    first = answer.table[answer.table["week_begins"] == answer.table["week_begins"].iloc[0]]
    said = ["all visits", "new patient", "return with symptoms", "hill, all kinds", "quay, all kinds"]
    assert first["forecast_of"].tolist() == said
    assert "hill and quay" in answer.checks[1].sentence


def test_a_site_too_small_has_no_weeks_and_is_named() -> None:
    answer = how_many_will_come_each_week(with_sites(*["hill", "quay"] * 30, "mill"))
    assert {row.group["site"] for row in answer.rows if row.quantity == "visits_at_site"} == {"hill", "quay"}
    assert "Fewer than 50 visits have mill" in answer.checks[1].sentence


def test_without_sites_the_clinics_weeks_stand_and_it_is_said_why_sites_do_not(answer: Answer) -> None:
    assert not [row for row in answer.rows if row.quantity == "visits_at_site"]
    assert answer.checks[1].sentence.startswith("Not shared out between sites. The log does not say at which site")


def test_past_weeks_of_a_few_visits_are_not_drawn() -> None:
    quiet = steady_clinic(months=13, a_day=1)
    chart = how_many_will_come_each_week(
        Clinic(quiet[quiet["booking_kind"] == "new"].iloc[::3].reset_index(drop=True), EARS)
    ).chart
    assert chart is not None
    came = next(trace for trace in chart.data if trace.name == "came")
    assert all(value != value or value == 0 or value >= 5 for value in came.y)


def test_too_young_a_log_has_no_weeks() -> None:
    assert not how_many_will_come_each_week(Clinic(steady_clinic(months=3), EARS)).answered
