"""Every result row of the invented clinic is described in the data dictionary, and none described is never made."""

import importlib
from pathlib import Path

import pandas as pd
import pytest

import analysis.answers
from analysis.clinic import Clinic
from analysis.demo import invented_clinic
from analysis.report.results import with_every_figure
from analysis.result_rows import QUANTITIES
from analysis.schema import SET_ASIDE, typed_frame
from analysis.settings import settings_from_toml

ASKED = {
    "visit_time": ["how_long_do_visits_take"],
    "visit_time_candidates": ["which_way_foretells_best"],
    "visit_time_held": ["do_foretold_minutes_hold"],
    "visit_time_added": ["what_makes_visits_long"],
    "visit_time_practitioners": ["who_needs_longer_slots"],
    "visit_time_sequence": ["what_follows_fine_suction"],
    "visit_time_clearing": ["how_long_until_clear"],
    "visit_time_rounded": ["are_minutes_rounded"],
    "slots": ["how_long_to_book"],
    "softening": ["does_softening_pay", "does_softening_save_minutes"],
    "softening_estimates": ["softening_side_by_side"],
    "softening_per_100": ["softening_per_100_patients"],
    "softening_groups": ["softening_by_group"],
    "softening_agents": ["softening_by_agent"],
    "softening_days": ["softening_by_days"],
    "softening_honesty": ["are_the_groups_alike", "how_many_ears_are_needed"],
    "softening_ground": ["do_the_groups_share_ground"],
    "softening_hidden": ["could_something_hidden_explain_it"],
    "softening_evidence": ["what_trials_say"],
    "softening_worth": ["is_softening_worth_it"],
    "softening_trial": ["plan_fair_test", "what_the_test_found"],
    "recall": ["when_to_call_back"],
    "recall_models": ["does_the_curve_fit"],
    "recall_models_facts": ["what_goes_with_filling_sooner"],
    "recall_models_groups": ["how_soon_by_group"],
    "recall_models_scores": ["which_curve_foretells_best"],
    "recall_models_windows": ["what_hangs_on_windows"],
    "recall_cost": ["which_interval_costs_least"],
    "recall_prices": ["do_the_prices_decide"],
    "recall_grades": ["how_full_at_return"],
    "demand": ["how_many_will_come"],
    "demand_trial": ["did_past_forecasts_hold"],
    "demand_weeks": ["how_many_will_come_each_week"],
    "demand_sites": ["how_many_will_come_to_each_site"],
    "demand_capacity": ["when_is_capacity_outgrown"],
    "demand_waiting": ["how_long_would_people_wait"],
    "demand_needs": ["what_will_the_coming_visits_take"],
    "demand_scenarios": ["what_if_recalls_or_softening_changed"],
    "quarter": ["activity", "outcomes", "safety"],
    "case_mix": ["what_we_saw"],
    "punctuality": ["did_we_keep_to_time"],
    "monitoring": ["what_changed"],
    "within_chance": ["within_chance"],
    "suction_noise": ["suction_noise"],
    "recall_uptake": ["did_people_come_when_due"],
    "income": ["what_a_session_brings"],
    "trust": ["can_i_trust_my_log", "what_was_set_aside"],
}
QUARTER = "2026-Q3"
OF_A_QUARTER = (
    "quarter",
    "case_mix",
    "punctuality",
    "monitoring",
    "within_chance",
    "suction_noise",
    "recall_uptake",
    "income",
)
SET = """
[demand]
supplies = { specula = 2 }
[recall]
today_months = 12
[softening]
evidence_weight = 0.25
[monitoring]
wide_suction_level = 88.0
fine_suction_level = 82.0
wide_suction_minutes = 3.0
fine_suction_minutes = 4.0
[softening_test]
first_day = 2026-01-05
last_day = 2026-03-29
advised = [2026-01-05, 2026-01-26, 2026-02-02, 2026-02-16, 2026-03-09, 2026-03-23]
"""
"""Some rows are made only where a setting asks for them."""
THERE = [
    (file, name)
    for file, names in ASKED.items()
    for name in names
    if (Path(analysis.answers.__file__).parent / f"{file}.py").exists()
]
DESCRIBED = {(each.section, each.name): each for each in QUANTITIES}


@pytest.fixture(scope="module")
def rows() -> dict[tuple[str, str], list]:
    made = invented_clinic()
    aside = typed_frame(SET_ASIDE, pd.DataFrame({"reason": ["no date"] * 9, "remedy": "Fill in the date."}))
    record = {"rows_in": len(made.visits) + 9, "rows_kept": len(made.visits), "rows_set_aside": 9}
    clinic = Clinic(made.visits, made.ears, aside, settings_from_toml(SET), record)
    found = {}
    for file, name in THERE:
        ask = getattr(importlib.import_module(f"analysis.answers.{file}"), name)
        answer = ask(clinic, *([QUARTER] if file in OF_A_QUARTER else []))
        found[file, name] = list(with_every_figure(answer).rows)
    return found


@pytest.mark.parametrize(("file", "name"), THERE)
def test_every_row_of_the_answer_is_described_with_its_keys_and_unit(rows, file, name):
    assert rows[file, name]
    for row in rows[file, name]:
        described = DESCRIBED.get((row.section, row.quantity))
        assert described, f"describe {row.section} {row.quantity} {sorted(row.group)} in analysis/result_rows.py"
        assert (tuple(sorted(row.group)), row.unit) == (described.keys, described.unit), row


def test_every_described_quantity_is_made(rows):
    made = {(row.section, row.quantity) for each in rows.values() for row in each}
    assert sorted(set(DESCRIBED) - made) == []
