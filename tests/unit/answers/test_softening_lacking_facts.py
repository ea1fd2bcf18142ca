"""Published trials, worth and a fair test: a log without a fact gets a sentence, never a crash."""

from __future__ import annotations

import pytest

from analysis.answers.softening_evidence import what_trials_say
from analysis.answers.softening_trial import list_for_the_test, plan_fair_test, what_the_test_found
from analysis.answers.softening_worth import is_softening_worth_it
from analysis.clinic import Clinic
from analysis.demo import invented_clinic
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml

RAN = settings_from_toml(
    "[softening_test]\nfirst_day = 2026-01-05\nlast_day = 2026-03-29\n"
    "advised = [2026-01-05, 2026-01-26, 2026-02-02, 2026-02-16, 2026-03-09, 2026-03-23]"
)
ALL = {
    "trials": what_trials_say,
    "worth": is_softening_worth_it,
    "plan": plan_fair_test,
    "list": list_for_the_test,
    "found": what_the_test_found,
}
LACKING = {
    "nothing": ([], [], set()),
    "grades": ([], ["grade", "grade_revised", "percent_blocked"], {"worth", "plan", "list", "found"}),
    "softening": (["softening_advised", "softener", "softening_days"], [], {"worth", "plan", "list"}),
    "agents": (["softener", "softening_days"], [], {"worth"}),
    "outcomes": ([], ["outcome"], {"plan", "list", "found"}),
    "patient numbers": (["patient_key"], [], {"worth"}),
    "end times": (["ended_at", "minutes", "minutes_quality"], [], set()),
    "adverse events": (["adverse_event"], [], set()),
}


@pytest.fixture(scope="module")
def log():
    whole = invented_clinic()
    late = whole.visits[whole.visits["slot_start"] >= "2025-07-01"]
    return late, whole.ears[whole.ears["visit_id"].isin(late["visit_id"])]


@pytest.mark.parametrize("fact", LACKING)
def test_only_what_rests_on_a_lacking_fact_goes_without_a_figure(log, fact):
    of_visits, of_ears, unanswered = LACKING[fact]
    visits, ears = log
    clinic = Clinic(
        typed_frame(VISITS, visits.drop(columns=of_visits)),
        typed_frame(EAR_ROWS, ears.drop(columns=of_ears)),
        settings=RAN,
    )
    answers = {name: ask(clinic) for name, ask in ALL.items()}
    assert {name for name, answer in answers.items() if not answer.answered} == unanswered
    assert all(answer.headline.endswith(".") for answer in answers.values())
