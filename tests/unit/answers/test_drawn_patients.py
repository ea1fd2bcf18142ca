"""Of a log of more bookings than its fits need, patients are drawn with all their bookings, and the answer says so."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.answers.drawn_patients import of_drawn_patients
from analysis.clinic import Clinic
from analysis.present.answer import Answer, Basis, no_answer
from analysis.problems import NotEnough
from analysis.setting_parts import ClinicPart
from analysis.settings import Settings

BOOKINGS = 25_000


@pytest.fixture(scope="module")
def large() -> Clinic:
    """25,000 bookings: two of each of 10,000 patients, 5,000 of nobody known; both ears looked at each time."""
    numbers = np.arange(BOOKINGS)
    visits = pd.DataFrame(
        {
            "visit_id": [f"v{number}" for number in numbers],
            "patient_key": [f"p{number % 10_000}" if number < 20_000 else None for number in numbers],
            "slot_start": pd.Timestamp("2026-01-01") + pd.to_timedelta(numbers, unit="h"),
            "attendance": "attended",
            "minutes": 10.0 + numbers % 7,
        }
    )
    ears = pd.DataFrame({"visit_id": visits["visit_id"].repeat(2), "ear": ["left", "right"] * BOOKINGS})
    return Clinic(visits, ears.reset_index(drop=True), settings=Settings(clinic=ClinicPart(fitted_bookings=10_000)))


def asked(clinic: Clinic) -> tuple[Answer, list[Clinic]]:
    """Ask for the mean minutes, and keep the clinics the question was put to."""
    met: list[Clinic] = []

    @of_drawn_patients
    def mean_minutes(clinic: Clinic) -> Answer:
        met.append(clinic)
        basis = Basis(len(clinic.visits), "bookings", {}, clinic.first_day, clinic.last_day)
        return Answer("?", f"{clinic.visits['minutes'].mean():.2f}", assumptions=("Clocks are right.",), basis=basis)

    return mean_minutes(clinic), met


def test_a_patient_is_drawn_with_every_booking_and_every_ear_or_not_at_all(large: Clinic) -> None:
    _, (drawn,) = asked(large)
    of_each = drawn.visits["patient_key"].value_counts()
    assert (of_each == 2).all()
    assert set(drawn.ears["visit_id"]) == set(drawn.visits["visit_id"])
    assert len(drawn.ears) == 2 * len(drawn.visits)


def test_about_as_many_bookings_are_drawn_as_set_patients_or_not(large: Clinic) -> None:
    _, (drawn,) = asked(large)
    known = drawn.visits["patient_key"].notna()
    assert known.sum() == pytest.approx(8_000, abs=4 * 2 * np.sqrt(10_000 * 0.4 * 0.6))
    assert (~known).sum() == pytest.approx(2_000, abs=4 * np.sqrt(5_000 * 0.4 * 0.6))


def test_the_answer_says_what_it_rests_on(large: Clinic) -> None:
    answer, (drawn,) = asked(large)
    left_out = BOOKINGS - len(drawn.visits)
    assert f"Left out: {left_out:,} bookings of patients not drawn." in str(answer.basis)
    assert answer.assumptions[0] == "Clocks are right."
    assert f"Of the log's 25,000 bookings these figures rest on the {len(drawn.visits):,}" in answer.assumptions[1]


def test_the_figure_is_that_of_the_log_but_for_chance(large: Clinic) -> None:
    answer, _ = asked(large)
    spread = large.visits["minutes"].std() / np.sqrt(10_000)
    assert float(answer.headline) == pytest.approx(large.visits["minutes"].mean(), abs=4 * spread)


def test_the_log_ends_when_it_ends_whoever_is_drawn(large: Clinic) -> None:
    _, (drawn,) = asked(large)
    assert drawn.last_day == large.last_day


def test_the_same_patients_are_drawn_for_every_question(large: Clinic) -> None:
    (_, (one,)), (_, (other,)) = asked(large), asked(large)
    assert one is other


def test_a_log_as_large_as_set_is_asked_as_it_is(large: Clinic) -> None:
    small = Clinic(large.visits[:10_000], large.ears, settings=large.settings)
    answer, met = asked(small)
    assert met == [small]
    assert not answer.basis.left_out


def test_where_those_drawn_are_too_few_the_whole_log_is_asked(large: Clinic) -> None:
    @of_drawn_patients
    def needs_twenty_thousand(clinic: Clinic) -> Answer:
        if len(clinic.visits) < 20_000:
            return no_answer("?", NotEnough("Too few.", "Record more."))
        return Answer("?", f"{len(clinic.visits)} bookings")

    assert needs_twenty_thousand(large).headline == f"{BOOKINGS} bookings"
