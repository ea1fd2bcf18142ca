"""What is said of published trials, with and without a log of one's own."""

from __future__ import annotations

import dataclasses

import pandas as pd
import pytest

from analysis.answers.softening_evidence import what_trials_say
from analysis.clinic import Clinic
from analysis.demo import invented_clinic
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml


@pytest.fixture(scope="module")
def clinic() -> Clinic:
    made = invented_clinic()
    return Clinic(made.visits, made.ears)


def test_it_says_plainly_that_the_evidence_is_thin_and_about_another_method(clinic):
    answer = what_trials_say(clinic)
    assert "no trial here tells whether softening pays before suction" in answer.headline
    assert "Before suction or instruments the evidence is thin" in answer.how_sure
    assert (
        answer.chart_title
        == "Published ratios of success lie on both sides of no difference, with your own beside them"
    )


def test_the_own_ratio_stands_beside_the_published_ones_and_is_not_mixed_unasked(clinic):
    answer = what_trials_say(clinic)
    own = answer.table[answer.table["evidence_question"] == "Your own log"]
    assert own["evidence_study"].tolist() == ["softening advised", "softening used"]
    assert "combined_risk_ratio" not in {row.quantity for row in answer.rows}


def test_combined_it_says_the_discount(clinic):
    settings = settings_from_toml("[softening]\nevidence_weight = 0.25")
    answer = what_trials_say(dataclasses.replace(clinic, settings=settings))
    assert any("at 25% of their weight, which is your setting and no finding" in each for each in answer.assumptions)
    assert "combined_risk_ratio" in {row.quantity for row in answer.rows}


def test_without_a_log_the_published_trials_are_still_shown():
    empty = Clinic(typed_frame(VISITS, pd.DataFrame()), typed_frame(EAR_ROWS, pd.DataFrame()))
    answer = what_trials_say(empty)
    assert answer.answered
    assert "your own" not in answer.chart_title
    assert any("The log shows no attended visit" in check.sentence for check in answer.checks)
