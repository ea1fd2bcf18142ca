"""How long visits take and how long to book, told from logs that hold all, or only part."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.answers.slots import how_long_to_book
from analysis.answers.visit_time import how_long_do_visits_take
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.present.page_parts import answer_html, answer_text
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import Settings, SlotsPart
from tests.visit_world import invented_log

QUESTIONS = [how_long_do_visits_take, how_long_to_book]


@pytest.fixture(scope="module")
def clinic() -> Clinic:
    visits, ears = invented_log(np.random.default_rng(31), visits=900)
    return Clinic(visits, ears)


def lacking(clinic: Clinic, *columns: str) -> Clinic:
    visits = typed_frame(VISITS, clinic.visits.drop(columns=[name for name in columns if name in clinic.visits]))
    ears = typed_frame(EAR_ROWS, clinic.ears.drop(columns=[name for name in columns if name in clinic.ears]))
    return replace(clinic, visits=visits, ears=ears)


def with_slots(clinic: Clinic, **slots: object) -> Clinic:
    return replace(clinic, settings=Settings(slots=SlotsPart(**slots)))


def values(answer: Answer, quantity: str) -> list[float | None]:
    return [row.value for row in answer.rows if row.quantity == quantity]


def shows(answer: Answer) -> None:
    """Whatever is answered can be shown, as a page and as plain text."""
    assert answer.headline in answer_text(answer)
    assert "nan" not in answer_html(answer).lower().replace("finance", "")
    assert answer.chart is None or answer.chart_text


def test_the_headline_says_overhead_and_ear_with_range_and_period(clinic):
    answer = how_long_do_visits_take(clinic)
    assert answer.headline.startswith("A visit takes about ")
    assert "before any ear is worked on, and a fully occluding ear adds about " in answer.headline
    assert "from January 2025 to April 2025" in answer.headline
    assert answer.headline.count("between") == 2
    assert answer.headline.endswith(".")
    shows(answer)


def test_the_rows_are_the_tables_figures_in_full(clinic):
    answer = how_long_do_visits_take(clinic)
    assert values(answer, "added_minutes") == answer.table["added_minutes"].tolist()
    assert len(values(answer, "overhead_minutes")) == 1
    assert {(row.group["booking"], row.group["q"]) for row in answer.rows if row.quantity == "minutes_quantile"} == {
        (kind, share) for kind in ("new", "routine_recall") for share in (0.5, 0.8, 0.9)
    }
    assert [row.group["q"] for row in answer.rows if row.quantity == "coverage_held_out"] == [0.5, 0.8, 0.9]


def test_a_rare_ear_has_a_row_without_a_figure(clinic):
    ears = clinic.ears.copy()
    ears.loc[ears.index[:3], "methods"] = "forceps"
    answer = how_long_do_visits_take(replace(clinic, ears=ears))
    rare = [row for row in answer.rows if row.quantity == "added_minutes" and row.group["method"] == "forceps"]
    assert {row.value for row in rare} == {None}
    assert sum(row.n for row in rare) == 3
    assert "forceps" not in answer.chart_text
    shows(answer)


def test_first_methods_are_never_said_to_be_faster_or_slower(clinic):
    answer = how_long_do_visits_take(clinic)
    assert any("chosen by the practitioner for the ear" in caution for caution in answer.cautions)
    said = " ".join([answer.headline, answer.chart_title, answer.chart_text]).lower()
    assert not {"faster", "slower", "quicker"} & set(said.split())


def test_the_slots_are_said_against_todays_and_what_changes(clinic):
    answer = how_long_to_book(with_slots(clinic, today={"new": 45, "routine_recall": 45}))
    assert answer.headline.startswith("Book ")
    assert "for a new patient (today 45)" in answer.headline
    assert "for a routine recall (today 45)" in answer.headline
    assert "; today " in answer.headline.partition("a full session sees")[2]
    assert values(answer, "slot_minutes")[:2] == [45.0, 45.0]
    assert len(values(answer, "patients_per_session")) == 2
    assert re.search(
        r"a session is worth \d+ more \(between \d+ and \d+\) in your money with the recommended", answer.how_sure
    )
    assert any("of overtime 2 in your money" in each for each in answer.assumptions)
    shows(answer)


def test_a_slot_is_never_for_hurrying_a_patient(clinic):
    answer = how_long_to_book(clinic)
    assert "never for hurrying a patient" in answer.cautions[0]
    assert "local protocol and licensed practice decide" in answer.cautions[0]


@pytest.mark.parametrize(("protected", "said"), [(3.0, True), (30.0, False)])
def test_visits_that_take_more_than_the_protected_minutes_before_any_ear_are_spoken_of(clinic, protected, said):
    answer = how_long_to_book(with_slots(clinic, protected_minutes=protected))
    assert any("if care needs them all" in each for each in answer.assumptions) == said


def test_the_best_slots_on_the_grid_are_kept(clinic):
    best = how_long_to_book(clinic).table.set_index("booking")["recommended_minutes"].astype(int)
    today = dict(zip(["new", "routine_recall"], best.tolist(), strict=True))
    answer = how_long_to_book(with_slots(clinic, today=today))
    assert answer.headline.startswith("Keep today's slots, ")
    shows(answer)


def test_protected_minutes_that_decide_are_said_and_todays_that_cut_them(clinic):
    answer = how_long_to_book(with_slots(clinic, protected_minutes=35.0, today={"new": 30, "routine_recall": 30}))
    assert "since today's slots cut the protected minutes" in answer.headline
    said = " ".join(answer.cautions)
    assert "the protected minutes decide the slot" in said
    assert "Today's slot for a new patient and a routine recall leaves less than the protected minutes" in said
    shows(answer)


def test_slots_that_cannot_be_told_apart_are_said_to_be():
    """A hundred visits cannot tell the best template from one that swaps five minutes between its kinds."""
    clinic = Clinic(*invented_log(np.random.default_rng(32), visits=110))
    best = how_long_to_book(clinic).table["recommended_minutes"].astype(int).tolist()
    answer = how_long_to_book(with_slots(clinic, today={"new": best[0] + 5, "routine_recall": best[1] - 5}))
    assert answer.headline.startswith("The log cannot tell the best slots found from today's")
    assert answer.how_sure.endswith("At the prices set the difference may as well be nothing.")


def test_the_same_log_gives_the_same_answer(clinic):
    first, second = how_long_to_book(clinic), how_long_to_book(clinic)
    assert first.rows == second.rows
    assert first.headline == second.headline


@pytest.mark.parametrize(
    "columns",
    [
        ["grade"],
        ["methods"],
        ["ear", "grade", "methods", "outcome"],
        ["booking_kind"],
        ["practitioner"],
        ["patient_key"],
        ["arrived_at"],
        ["slot_minutes"],
        ["practitioner", "booking_kind", "patient_key", "arrived_at", "slot_minutes"],
    ],
)
@pytest.mark.parametrize("question", QUESTIONS)
def test_a_log_that_lacks_a_fact_still_gives_what_it_can(clinic, question, columns):
    answer = question(lacking(clinic, *columns))
    assert answer.answered
    shows(answer)


def test_without_grades_visit_time_is_told_by_kind_and_what_to_record(clinic):
    answer = how_long_do_visits_take(lacking(clinic, "grade"))
    assert answer.headline.startswith("8 in 10 visits stay within ")
    assert "the log has too few graded ears to say what an ear adds" in answer.headline
    assert any("record each worked ear's grade" in each for each in answer.assumptions)
    assert answer.table["booking"].tolist() == ["new patient", "routine recall"]


def test_without_slot_lengths_todays_are_not_known_and_not_compared(clinic):
    answer = how_long_to_book(lacking(clinic, "slot_minutes"))
    assert "today's slots are not known, so they are not compared" in answer.headline
    assert {row.group.get("policy") for row in answer.rows} == {"recommended"}


def test_one_side_only_is_said_to_hide_the_other(clinic):
    answer = how_long_do_visits_take(replace(clinic, ears=clinic.ears[clinic.ears["ear"] == "left"]))
    assert any("nothing but the left ear" in each for each in answer.assumptions)


def test_one_practitioner_is_enough(clinic):
    visits = clinic.visits.assign(practitioner="A")
    for question in QUESTIONS:
        assert question(replace(clinic, visits=visits)).answered


@pytest.mark.parametrize("question", QUESTIONS)
def test_without_end_times_there_is_no_figure_but_what_to_record(clinic, question):
    answer = question(lacking(clinic, "minutes", "minutes_quality"))
    assert not answer.answered
    assert "Record when each visit starts and ends" in answer.headline
    shows(answer)


@pytest.mark.parametrize("question", QUESTIONS)
def test_visits_that_last_their_slot_give_no_figure(clinic, question):
    minutes = clinic.visits["slot_minutes"].where(clinic.visits["attendance"] == "attended")
    answer = question(replace(clinic, visits=clinic.visits.assign(minutes=minutes)))
    assert not answer.answered
    assert "Record when each visit really ends" in answer.headline


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("many", [0, 30])
def test_too_few_visits_give_no_figure(clinic, question, many):
    answer = question(replace(clinic, visits=clinic.visits.iloc[:many]))
    assert not answer.answered
    assert "50 are needed" in answer.headline


def test_visits_after_the_last_day_do_not_count(clinic):
    last = pd.Timestamp("2025-03-31").date()
    earlier = replace(clinic, settings=Settings(clinic=replace(Settings().clinic, last_day=last)))
    basis = how_long_do_visits_take(earlier).basis
    assert basis.last_day.date() == last
    assert basis.used < how_long_do_visits_take(clinic).basis.used


def test_left_out_visits_are_counted_by_reason(clinic):
    quality = clinic.visits["minutes_quality"].copy()
    quality[quality.notna().cumsum().between(1, 7)] = "filled_from_slot"
    basis = how_long_do_visits_take(replace(clinic, visits=clinic.visits.assign(minutes_quality=quality))).basis
    assert basis.left_out == {"visits whose end was copied from the slot": 7}
