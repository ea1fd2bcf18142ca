"""Other rules of a session, gaps searched with the slots, and work done once a clinic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.answers.slot_material import slot_material
from analysis.answers.slots import how_long_to_book
from analysis.answers.slots_frontier import what_can_waiting_be_traded_for
from analysis.answers.slots_rules import NAMES, what_would_other_rules_do
from analysis.clinic import Clinic
from analysis.settings import Settings, SlotsPart
from tests.visit_world import invented_log


@pytest.fixture(scope="module")
def clinic() -> Clinic:
    return Clinic(*invented_log(np.random.default_rng(31), visits=700))


def with_slots(clinic: Clinic, **changed) -> Clinic:
    return replace(clinic, settings=Settings(slots=SlotsPart(**changed)))


def test_a_plan_is_made_once_a_clinic(clinic):
    assert slot_material(clinic) is slot_material(clinic)
    assert slot_material(replace(clinic)) is not slot_material(clinic)


def test_each_rule_has_its_line_and_its_cost(clinic):
    answer = what_would_other_rules_do(clinic)
    assert set(answer.table["rule"]) == set(NAMES.values()) - {NAMES["no_gap"]}
    squeezed = answer.table.set_index("rule").loc[NAMES["one_squeezed_in"]]
    assert not squeezed["change_in_wait"].startswith("\u2212")
    assert "never shortens what a patient is due" in " ".join(answer.cautions)


def test_the_title_names_a_rule_that_is_drawn(clinic):
    answer = what_would_other_rules_do(clinic)
    drawn = " ".join(str(label) for line in answer.chart.data if line.y is not None for label in line.y)
    assert NAMES["two_share_one_unit"] not in answer.chart_title + drawn


def test_a_rule_the_clinic_has_is_part_of_every_answer_and_tried_no_more(clinic):
    own = with_slots(clinic, first_two_together=True, break_minutes=15)
    answer = what_would_other_rules_do(own)
    assert NAMES["first_two_together"] not in set(answer.table["rule"])
    assert NAMES["break_in_the_middle"] not in set(answer.table["rule"])
    said = "Sessions run by your own rules: a break of 15 minutes after 105 and the first two patients booked for the start."
    assert said in answer.assumptions
    assert said in how_long_to_book(own).assumptions


def test_gaps_come_with_the_slots_where_waiting_is_dear_and_the_grid_is_coarse(clinic):
    dear = with_slots(clinic, price_wait=3.0, grid_minutes=10)
    plan = slot_material(dear).plan
    headline = how_long_to_book(dear).headline
    assert ("catch-up gap" in headline) == (plan.catch_up_every > 0)
    assert not slot_material(with_slots(clinic, price_wait=0.0)).plan.catch_up_every  # nobody waits dearly, no gap


def test_every_template_of_the_frontier_has_its_ranges(clinic):
    answer = what_can_waiting_be_traded_for(clinic)
    assert 2 <= len(answer.table) <= 12
    for column in ("wait_minutes", "idle_and_over_minutes", "seen"):
        assert answer.table[column].str.contains("between").all()
