"""A log that lacks part of the facts still gives every answer it can, and says what to record for the rest."""

import pandas as pd
import pytest

from analysis.clinic import Clinic
from analysis.demo import invented_clinic
from analysis.report.questions import ask_all
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import Settings, settings_from_toml

WITH_RULE = settings_from_toml("[recall]\ntoday_months = 12")
ALWAYS = {"can the log be trusted", "what was set aside"}
LACKING = {
    "nothing": ([], [], set()),
    "grades": ([], ["grade", "grade_revised", "percent_blocked"], {"does softening pay", "minutes saved by softening", "when to call back"}),
    "softening": (["softening_advised", "softener", "softening_days"], [], {"does softening pay", "minutes saved by softening"}),
    "end times": (["ended_at", "minutes", "minutes_quality"], [], {"how long to book", "how long visits take", "minutes saved by softening"}),
    "patient numbers": (["patient_key"], [], {"when to call back"}),
    "kinds of booking": (["booking_kind"], [], set()),
    "practitioners": (["practitioner"], [], set()),
    "adverse events": (["adverse_event"], [], {"safety"}),
}  # fmt: skip


@pytest.fixture(scope="module")
def log():
    whole = invented_clinic()
    late = whole.visits[whole.visits["slot_start"] >= "2024-10-01"]
    return late, whole.ears[whole.ears["visit_id"].isin(late["visit_id"])]


def asked(visits: pd.DataFrame, ears: pd.DataFrame, settings: Settings = WITH_RULE):
    answers = ask_all(Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, ears), settings=settings), "2026-Q3")
    for answer in answers.values():
        assert answer.headline.endswith((".", "?")), answer.headline
        assert answer.answered == (not answer.headline.startswith("No figure yet. ")), answer.headline
    return {step for step, answer in answers.items() if not answer.answered}


@pytest.mark.parametrize("fact", LACKING)
def test_only_what_rests_on_a_lacking_fact_goes_without_a_figure(log, fact):
    of_visits, of_ears, unanswered = LACKING[fact]
    visits, ears = log
    assert asked(visits.drop(columns=of_visits), ears.drop(columns=of_ears)) == unanswered


def test_without_a_recall_rule_only_coming_when_due_goes_without_a_figure(log):
    assert asked(*log, Settings()) == {"coming when due"}


def test_a_log_of_one_ear_only_has_every_answer(log):
    visits, ears = log
    assert asked(visits, ears[ears["ear"] == "left"]) == set()


def test_a_log_of_bookings_without_any_ear_still_says_what_it_can(log):
    visits, ears = log
    unanswered = asked(visits, ears.iloc[:0])
    assert "how many will come" not in unanswered
    assert "how long to book" not in unanswered
    assert {"does softening pay", "when to call back", "outcomes"} <= unanswered
