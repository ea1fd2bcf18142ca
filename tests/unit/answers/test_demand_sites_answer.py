"""Visits by site, as the owner reads them."""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.answers.demand import how_many_will_come
from analysis.answers.demand_sites import how_many_will_come_to_each_site
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.schema import EAR_ROWS, typed_frame
from tests.demand_logs import steady_clinic

EARS = typed_frame(EAR_ROWS, pd.DataFrame())


def with_sites(*names: str) -> Clinic:
    visits = steady_clinic(months=13)
    where = [names[place % len(names)] for place in range(len(visits))]
    return Clinic(visits.assign(site=pd.Series(where, dtype="str")), EARS)


@pytest.fixture(scope="module")
def clinic() -> Clinic:
    return with_sites("hill", "quay", "hill")


@pytest.fixture(scope="module")
def answer(clinic: Clinic) -> Answer:
    return how_many_will_come_to_each_site(clinic)


def by_month(answer: Answer, kind: str) -> dict[str, float]:
    sums: dict[str, float] = {}
    for row in answer.rows:
        if row.quantity == "visits" and row.level == 0.8 and row.group["kind"] == kind:
            assert row.value is not None
            sums[row.group["month"]] = sums.get(row.group["month"], 0.0) + row.value
    return sums


@pytest.mark.parametrize("kind", ["all", "new"])
def test_the_sites_add_up_to_the_clinics_forecast(clinic: Clinic, answer: Answer, kind: str) -> None:
    assert by_month(answer, kind) == pytest.approx(by_month(how_many_will_come(clinic), kind))


def test_the_headline_names_each_site_with_its_range(answer: Answer) -> None:
    assert "to hill (between" in answer.headline
    assert "to quay (between" in answer.headline
    assert answer.table is not None
    assert len(answer.table) == 12
    assert (answer.table["low_95"] <= answer.table["low_50"]).all()


def test_one_site_or_no_site_is_no_answer() -> None:
    assert "one site only" in how_many_will_come_to_each_site(with_sites("hill")).headline
    none = how_many_will_come_to_each_site(Clinic(steady_clinic(months=13), EARS))
    assert "does not say at which site" in none.headline


def test_a_site_too_small_is_named_and_has_no_figure() -> None:
    answer = how_many_will_come_to_each_site(with_sites(*["hill", "quay"] * 30, "mill"))
    assert answer.table is not None
    assert set(answer.table["site"]) == {"hill", "quay"}
    assert any(check.sentence.startswith("mill has") for check in answer.checks)
