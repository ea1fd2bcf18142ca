"""The frontier, and what changes for the owner in whole numbers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.answers.slots_changes import what_would_change
from analysis.answers.slots_frontier import what_can_waiting_be_traded_for
from analysis.clinic import Clinic
from analysis.present.page_parts import answer_html
from analysis.settings import Settings, SlotsPart
from tests.visit_world import invented_log


@pytest.fixture(scope="module")
def clinic() -> Clinic:
    slots = SlotsPart(today={"new": 45, "routine_recall": 35}, fee_per_visit=50.0, cost_per_overtime_hour=40.0)
    return Clinic(*invented_log(np.random.default_rng(31), visits=700), settings=Settings(slots=slots))


def test_changes_are_readable_numbers_and_money_is_told_where_it_is_set(clinic):
    answer = what_would_change(clinic)
    for row in answer.table.drop(columns="measure").to_dict("records"):
        figures = [float(each.replace(",", "").replace("\N{MINUS SIGN}", "-")) for each in row.values()]
        today, recommended, change = figures[:3]
        assert figures == [round(each, 0 if min(today, recommended) >= 10 else 1) for each in figures]
        assert len({"." in each for each in row.values()}) == 1
        assert abs(recommended - today - change) <= (1 if min(today, recommended) >= 10 else 0.11)
    assert "more patients a week" in answer.headline
    assert answer.table["measure"].iloc[-1].startswith("Money a week")
    assert "What if one more were booked" in " ".join(answer.assumptions)
    assert any("not to recommend it" in each for each in answer.cautions)


def test_without_prices_of_money_there_is_no_money(clinic):
    slots = replace(clinic.settings.slots, fee_per_visit=0.0, cost_per_overtime_hour=0.0)
    answer = what_would_change(replace(clinic, settings=Settings(slots=slots)))
    assert not answer.table["measure"].str.startswith("Money").any()


def test_the_frontier_marks_today_and_recommended_with_their_ranges(clinic):
    answer = what_can_waiting_be_traded_for(clinic)
    assert {"frontier"} < {each.name for each in answer.chart.data}
    assert [each.name.split(":")[0] for each in answer.chart.data[1:]] == ["today", "recommended"]
    assert all(each.error_x.array is not None for each in answer.chart.data[1:])
    assert "nan" not in answer_html(answer).lower()


@pytest.mark.parametrize("ask", [what_would_change, what_can_waiting_be_traded_for])
def test_a_log_without_ends_gives_no_figure_and_says_why(clinic, ask):
    visits = clinic.visits.assign(minutes=np.nan, minutes_quality="missing")
    answer = ask(replace(clinic, visits=visits))
    assert not answer.answered
    assert answer.headline
