"""Habits planted in a clean log are found and named; a log written as things happened raises no flag."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.answers.trust_orders import do_visits_start_two_at_once, is_anything_out_of_order
from analysis.answers.trust_parts import do_known_patients_look_new, who_records_differently
from analysis.answers.trust_times import are_times_copied_from_the_diary, are_times_rounded
from analysis.clinic import open_clinic
from analysis.demo.mess import FILLED_SHARES, ROUNDER
from analysis.models.log_heaping import ALL, copied_times, rounded_times
from analysis.models.log_orders import coinciding_starts, impossible_orders, visits_with_any
from analysis.models.log_recorders import recording_habits
from analysis.models.log_system_change import first_visits
from analysis.present.answer import FAILED
from analysis.problems import NotEnough
from tests import log_world as world

DEMO = Path(__file__).parents[2] / "demo_clinic"
ASKED = (
    are_times_rounded,
    are_times_copied_from_the_diary,
    is_anything_out_of_order,
    do_visits_start_two_at_once,
    who_records_differently,
    do_known_patients_look_new,
)


@pytest.fixture(scope="module")
def clean():
    return world.clean_clinic(np.random.default_rng(1))


def flags(clinic):
    """Name the questions whose first check fails."""
    return {
        ask.__name__
        for ask in ASKED
        for answer in [ask(clinic)]
        if answer.answered and answer.checks[0].result == FAILED
    }


def raised(clinic):
    """Say what the models find in a log, as the answers' first checks do, without drawing."""
    visits, ears = clinic.visits, clinic.ears
    who, site = visits["practitioner"], visits["site"]
    rounded = rounded_times(visits, who)
    habits = [*recording_habits(visits, ears, who), *recording_habits(visits, ears, site)]
    try:
        jumps = first_visits(visits).jumps
    except NotEnough:
        jumps = ()
    found = {
        "are_times_rounded": [each for each in rounded if each.flagged],
        "are_times_copied_from_the_diary": [each for each in copied_times(visits, who, rounded) if each.flagged],
        "is_anything_out_of_order": visits_with_any(impossible_orders(visits, ears, second_attempt_days=28)),
        "do_visits_start_two_at_once": [each for each in coinciding_starts(visits, who) if each.same_minute],
        "who_records_differently": [habit for habit in habits if habit.differs],
        "do_known_patients_look_new": jumps,
    }
    return {question for question, of_it in found.items() if of_it}


def test_at_least_95_in_100_clean_logs_raise_no_flag():
    # 20 logs of 30 to 60 days and 1 to 4 practitioners. Each question errs once in 100 at most, so one flag among
    # 20 is the most that agrees with 95 in 100.
    flagged = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        clinic = world.clean_clinic(rng, days=int(rng.integers(30, 61)), practitioners=1 + seed % 4)
        flagged += bool(raised(clinic))
    assert flagged <= 1


def test_the_answers_flag_what_the_models_find(clean):
    for log in (clean, world.rounding(clean, "Yew"), world.copying(np.random.default_rng(3), clean, "Oak", 0.4)):
        assert flags(log) == raised(log)


def test_rounding_by_one_practitioner_is_found_with_nobody_else(clean):
    log = world.rounding(clean, "Hazel")
    found = rounded_times(log.visits, log.visits["practitioner"])
    assert {(each.part, each.what) for each in found if each.flagged} == {
        ("Hazel", "ended_at"),
        ("the whole log", "ended_at"),
    }
    hers = next(each for each in found if (each.part, each.what) == ("Hazel", "ended_at"))
    assert hers.rounded.value == 1.0
    assert flags(log) == {"are_times_rounded", "who_records_differently"}


def test_the_share_of_ends_copied_by_one_practitioner_is_told(clean):
    log = world.copying(np.random.default_rng(7), clean, "Hazel", 0.3)
    parts = log.visits["practitioner"]
    found = copied_times(log.visits, parts, rounded_times(log.visits, parts))
    assert {each.part for each in found if each.flagged} == {"Hazel", "the whole log"}
    hers = next(each for each in found if (each.part, each.what) == ("Hazel", "ended_at"))
    # 630 ends, of which 30% were copied: three standard errors of that share are 0.055.
    assert hers.copied == pytest.approx(0.3, abs=0.055)


@pytest.mark.parametrize("month", ["2024-04-01", "2024-06-01"])
def test_numbers_that_start_again_are_found_in_their_month(clean, month):
    log = world.numbers_starting_again(clean, month)
    found = first_visits(log.visits)
    assert [jump.month for jump in found.jumps] == [pd.Timestamp(month)]
    assert found.jumps[0].new_export
    assert flags(log) == {"do_known_patients_look_new"}


def test_the_visits_that_only_look_new_are_about_as_many_as_said(clean):
    log = world.numbers_starting_again(clean, "2024-06-01")
    jump = first_visits(log.visits).jumps[0]
    came = (clean.visits["attendance"] == "attended") & clean.visits["slot_start"].between("2024-06-01", "2024-08-31")
    only_look_new = int((came & (log.visits["booking_kind"] == "new") & (clean.visits["booking_kind"] != "new")).sum())
    assert jump.extra_visits.low <= only_look_new <= jump.extra_visits.high


def test_a_practitioner_who_leaves_a_fact_blank_is_found_and_the_others_are_not(clean):
    log = world.forgetting(clean, "Oak", "softener")
    differing = [habit for habit in recording_habits(log.visits, log.ears, log.visits["practitioner"]) if habit.differs]
    assert [(habit.part, habit.of) for habit in differing] == [("Oak", "softener")]


@pytest.fixture(scope="module")
def demo():
    if not (DEMO / "store" / "intake.json").exists():
        pytest.skip("The demo clinic is not there. Make it with: make demo")
    return open_clinic(DEMO)


def test_the_invented_clinics_rounder_and_copier_are_found(demo):
    planted = tomllib.loads((DEMO / "truth.toml").read_text(encoding="utf-8"))["mess"]["clocks"]
    who = demo.visits["practitioner"]
    rounded = rounded_times(demo.visits, who)
    copied = [each for each in copied_times(demo.visits, who, rounded) if each.what == "ended_at"]
    assert {each.part for each in rounded if each.flagged} - {ALL} == {ROUNDER}
    assert {each.part for each in copied if each.flagged} - {ALL} == {"Rowan"}
    rowan = next(each for each in copied if each.part == "Rowan")
    # Planted in 15% of Rowan's visits; three standard errors of that share of 1,704 ends are 0.026.
    assert rowan.copied == pytest.approx(FILLED_SHARES["Rowan"], abs=0.026)
    everybody = next(each for each in copied if each.part == ALL)
    # With the rounder among them, neighbours are the multiples of five, so the share of the whole log is rough: within a fifth.
    assert everybody.copied * everybody.times == pytest.approx(planted["ends_filled_from_slot"], rel=0.2)


def test_the_invented_clinics_swapped_clocks_are_counted_to_one(demo):
    planted = tomllib.loads((DEMO / "truth.toml").read_text(encoding="utf-8"))["mess"]["clocks"]
    orders = impossible_orders(demo.visits, demo.ears, second_attempt_days=28)
    assert (
        len(next(each for each in orders if each.what == "ended_before_started").visits) == planted["ends_before_start"]
    )
    assert not first_visits(demo.visits).jumps
