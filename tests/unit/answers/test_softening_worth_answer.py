"""The sentence the owner can act on, and what it leaves unsaid."""

from __future__ import annotations

import dataclasses

import pandas as pd
import pytest

from analysis.answers.softening_worth import is_softening_worth_it
from analysis.clinic import Clinic
from analysis.demo import invented_clinic
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml


@pytest.fixture(scope="module")
def clinic() -> Clinic:
    made = invented_clinic()
    return Clinic(made.visits, made.ears)


@pytest.mark.parametrize(
    ("prices", "said"),
    [
        ("price_visit = 200.0", "At your prices, advise softening"),
        ("price_agent = 12.0", "advising softening costs more than it is worth"),
        ("", "it is not clear that advising softening pays"),
    ],
)
def test_the_sentence_follows_the_prices(clinic, prices, said):
    settings = settings_from_toml(f"[softening_worth]\n{prices}")
    answer = is_softening_worth_it(dataclasses.replace(clinic, settings=settings))
    assert said in answer.headline
    assert "the chance leave out what nobody wrote down" in answer.how_sure
    assert any("against suction" in each for each in answer.cautions)


def test_without_minutes_or_events_the_rest_is_answered_and_said(clinic):
    poor = clinic.visits.assign(
        minutes=float("nan"), minutes_quality="missing", adverse_event=None, softening_days=float("nan")
    )
    answer = is_softening_worth_it(Clinic(typed_frame(VISITS, poor), clinic.ears))
    assert answer.answered
    assert len(answer.checks) == 3
    assert "minutes" not in {row.group.get("item") for row in answer.rows}


def test_without_patient_numbers_there_is_no_figure(clinic):
    answer = is_softening_worth_it(Clinic(typed_frame(VISITS, clinic.visits.assign(patient_key=pd.NA)), clinic.ears))
    assert not answer.answered
    assert "patient numbers" in answer.headline


def test_an_empty_log_is_no_error():
    assert not is_softening_worth_it(
        Clinic(typed_frame(VISITS, pd.DataFrame()), typed_frame(EAR_ROWS, pd.DataFrame()))
    ).answered
