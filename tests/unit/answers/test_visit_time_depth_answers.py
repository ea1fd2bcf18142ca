"""The deeper questions of visit time, asked of logs that hold all, or only part."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.answers.visit_time_added import what_makes_visits_long
from analysis.answers.visit_time_candidates import which_way_foretells_best
from analysis.answers.visit_time_clearing import how_long_until_clear
from analysis.answers.visit_time_held import do_foretold_minutes_hold
from analysis.answers.visit_time_practitioners import who_needs_longer_slots
from analysis.answers.visit_time_rounded import are_minutes_rounded
from analysis.answers.visit_time_sequence import what_follows_fine_suction
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.present.page_parts import answer_html, answer_text
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import ClinicPart, Settings
from tests.visit_world import invented_log

QUESTIONS = [
    which_way_foretells_best,
    do_foretold_minutes_hold,
    what_makes_visits_long,
    who_needs_longer_slots,
    what_follows_fine_suction,
    how_long_until_clear,
    are_minutes_rounded,
]


@pytest.fixture(scope="module")
def clinic() -> Clinic:
    rng = np.random.default_rng(31)
    visits, ears = invented_log(rng, visits=800)
    goes_on = (ears["methods"] == "fine_suction") & (rng.random(len(ears)) < 0.2)
    ends = np.where(rng.random(len(ears)) < 0.15, "occluding_left", "clear")
    ears = ears.assign(methods=ears["methods"].mask(goes_on, "fine_suction>hook_or_loop"), outcome=ends)
    return Clinic(visits, typed_frame(EAR_ROWS, ears))


def lacking(clinic: Clinic, *columns: str) -> Clinic:
    visits = typed_frame(VISITS, clinic.visits.drop(columns=[name for name in columns if name in clinic.visits]))
    ears = typed_frame(EAR_ROWS, clinic.ears.drop(columns=[name for name in columns if name in clinic.ears]))
    return replace(clinic, visits=visits, ears=ears)


def shows(answer: Answer) -> None:
    """Whatever is answered can be shown, as a page and as plain text, and says something whole."""
    assert answer.headline in answer_text(answer)
    assert not re.search(r"\bnan\b", answer_html(answer).lower())
    assert answer.headline.endswith(".")
    assert answer.chart is None or answer.chart_text
    if answer.answered:
        assert answer.rows
        assert answer.cautions


BAD: dict[str, Callable[[Clinic], Clinic]] = {
    "no grades": lambda clinic: lacking(clinic, "grade"),
    "no methods": lambda clinic: lacking(clinic, "methods"),
    "no outcomes": lambda clinic: lacking(clinic, "outcome"),
    "no ears at all": lambda clinic: replace(clinic, ears=clinic.ears.iloc[:0]),
    "no kind, practitioner or patient": lambda clinic: lacking(clinic, "booking_kind", "practitioner", "patient_key"),
    "no end times": lambda clinic: lacking(clinic, "minutes", "minutes_quality"),
    "one practitioner": lambda clinic: replace(clinic, visits=clinic.visits.assign(practitioner="A")),
    "one month": lambda clinic: replace(clinic, visits=clinic.visits[clinic.visits["slot_start"] < "2025-02-06"]),
    "every visit exactly the slot": lambda clinic: replace(
        clinic,
        visits=clinic.visits.assign(minutes=clinic.visits["slot_minutes"].where(clinic.visits["minutes"].notna())),
    ),
    "no practitioner and one way of working": lambda clinic: replace(
        lacking(clinic, "practitioner"),
        ears=clinic.ears.assign(grade="fully_occluding", methods="fine_suction").astype(clinic.ears.dtypes),
    ),
    "all minutes alike": lambda clinic: replace(
        clinic,
        visits=clinic.visits.assign(minutes=clinic.visits["minutes"].where(clinic.visits["minutes"].isna(), 15.0)),
    ),
    "few visits": lambda clinic: replace(clinic, visits=clinic.visits.iloc[:130]),
    "nothing": lambda clinic: replace(clinic, visits=clinic.visits.iloc[:0], ears=clinic.ears.iloc[:0]),
}


@pytest.mark.parametrize("ask", QUESTIONS, ids=lambda ask: ask.__name__)
@pytest.mark.parametrize("bad", BAD)
def test_a_log_that_lacks_something_gets_a_plain_answer(clinic, ask, bad):
    shows(ask(BAD[bad](clinic)))


@pytest.mark.parametrize("ask", QUESTIONS, ids=lambda ask: ask.__name__)
@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ("no end times", "no start and end"),
        ("every visit exactly the slot", "exactly their slot"),
        ("nothing", "0 attended visits"),
        ("all minutes alike", "last 15 minutes"),
    ],
)
def test_minutes_that_are_not_the_visits_own_give_no_figure_and_say_why(clinic, ask, bad, said):
    answer = ask(BAD[bad](clinic))
    assert not answer.answered
    assert answer.headline.startswith("No figure yet. ")
    assert said in answer.headline
    assert "Record" in answer.headline or "Add" in answer.headline
    assert answer.rows == ()


@pytest.mark.parametrize("ask", QUESTIONS, ids=lambda ask: ask.__name__)
def test_a_question_has_a_figure_a_range_and_a_chart_where_the_log_has_all(clinic, ask):
    answer = ask(clinic)
    assert answer.answered
    assert answer.chart is not None
    assert answer.chart_title
    shows(answer)


def test_the_plain_way_is_said_to_win_where_ears_tell_nothing():
    rng = np.random.default_rng(3)
    visits, ears = invented_log(rng, visits=1200)
    visits["minutes"] = pd.Series(rng.gamma(9, 2.0, len(visits))).where(visits["minutes"].notna())
    answer = which_way_foretells_best(Clinic(visits, ears))
    assert answer.headline.startswith("The plain way wins: ")
    assert answer.table["kept"].tolist()[0]
    shows(answer)


def test_the_losses_are_listed_for_each_way_with_and_without_practitioners(clinic):
    answer = which_way_foretells_best(clinic)
    assert len(answer.table) == 7
    assert answer.table["kept"].sum() == 1
    assert len(answer.rows) == 7


def test_practitioners_stand_by_label_unnamed_and_never_by_size(clinic):
    renamed = clinic.visits.assign(practitioner=clinic.visits["practitioner"].map({"A": "Zoe", "B": "Ann"}))
    answer = who_needs_longer_slots(replace(clinic, visits=renamed))
    assert answer.table["practitioner"].tolist() == ["practitioner 1", "practitioner 2"]
    assert "Zoe" not in answer_html(answer)
    assert any("no measure of skill" in caution for caution in answer.cautions)
    named = Settings(clinic=ClinicPart(show_practitioner_names=True))
    shown = who_needs_longer_slots(replace(clinic, visits=renamed, settings=named))
    assert shown.table["practitioner"].tolist() == ["practitioner Ann", "practitioner Zoe"]


def test_nothing_is_shown_of_a_practitioner_under_thirty_visits(clinic):
    came = clinic.visits.index[clinic.visits["minutes"].notna()]
    for many, there in ((29, False), (30, True)):
        who = clinic.visits["practitioner"].astype("object").copy()
        who[came[:many]] = "C"
        answer = who_needs_longer_slots(replace(clinic, visits=clinic.visits.assign(practitioner=who.astype("str"))))
        assert len(answer.table) == 2 + there
        assert (30 in answer.table["visits"].tolist()) == there


def test_with_one_practitioner_nobody_is_compared(clinic):
    answer = who_needs_longer_slots(BAD["one practitioner"](clinic))
    assert not answer.answered
    assert "names one practitioner, so there is nobody to compare" in answer.headline
    unnamed = who_needs_longer_slots(lacking(clinic, "practitioner"))
    assert "Fewer than two practitioners" in unnamed.headline


def test_without_grades_practitioners_are_not_said_to_be_compared_on_the_same_ears(clinic):
    answer = who_needs_longer_slots(BAD["no grades"](clinic))
    assert "the same kind of booking (the log grades too few ears)" in answer.headline
    assert "same ears" not in answer.headline


def test_a_log_without_grades_says_what_to_record(clinic):
    answer = what_makes_visits_long(BAD["no grades"](clinic))
    assert answer.headline.startswith("No figure yet. The log grades too few worked ears")


def test_a_finding_is_told_only_from_twenty_visits(clinic):
    for many, there in ((19, False), (20, True)):
        visits = clinic.ears["visit_id"].unique()[:many]
        ears = clinic.ears.assign(impacted=clinic.ears["visit_id"].isin(visits).astype("boolean"))
        answer = what_makes_visits_long(replace(clinic, ears=ears))
        assert ("an impacted ear" in answer.table["measure"].tolist()) == there


def test_what_is_used_first_is_never_said_to_be_the_reason(clinic):
    answer = what_makes_visits_long(clinic)
    assert any("neither is a reason for the minutes" in each for each in answer.assumptions)
    said = " ".join([answer.headline, answer.chart_title, answer.chart_text]).lower()
    assert not {"faster", "slower", "quicker"} & set(said.split())


def test_the_share_that_goes_on_and_both_paths_minutes_are_said(clinic):
    answer = what_follows_fine_suction(clinic)
    assert re.match(r"Of [\d,]+ ears begun with fine-end suction \d+% \(between", answer.headline)
    assert "went on to a hook or loop; those harder ears added about" in answer.headline
    assert "the hook's minutes" not in answer_text(answer)
    assert any("never the second method's" in each for each in answer.assumptions)


@pytest.mark.parametrize(
    ("methods", "said"),
    [("wide_suction", "0 graded ears begun with this method"), ("fine_suction", "never lists a second method")],
)
def test_a_log_without_a_sequence_says_what_to_record(clinic, methods, said):
    answer = what_follows_fine_suction(replace(clinic, ears=clinic.ears.assign(methods=methods)))
    assert said in answer.headline
    assert "in order" in answer.headline


def test_time_to_clear_and_time_in_the_chair_are_named_apart(clinic):
    answer = how_long_until_clear(clinic)
    assert "half would have cleared it within" in answer.headline or "cleared them within" in answer.headline
    assert "half are out of the chair within" in answer.headline
    assert (answer.table["clear_minutes"] > answer.table["chair_minutes"]).all()
    assert any("no reason to go on" in caution for caution in answer.cautions)


def test_where_every_visit_cleared_its_ears_both_times_are_the_same(clinic):
    answer = how_long_until_clear(replace(clinic, ears=clinic.ears.assign(outcome="clear").astype(clinic.ears.dtypes)))
    assert answer.table["clear_minutes"].tolist() == pytest.approx(answer.table["chair_minutes"].tolist())
    assert answer.chart_title == "Every visit cleared its ears, so both times are the same"


def test_a_log_without_outcomes_says_what_to_record(clinic):
    answer = how_long_until_clear(BAD["no outcomes"](clinic))
    assert not answer.answered
    assert "outcome" in answer.headline


def rounded(clinic: Clinic, who: str) -> Clinic:
    minutes = clinic.visits["minutes"]
    fives = (5 * (minutes / 5).round()).clip(lower=5)
    return replace(
        clinic, visits=clinic.visits.assign(minutes=fives.where(clinic.visits["practitioner"] == who, minutes.round()))
    )


def test_whose_minutes_are_rounded_is_said_by_number_and_what_it_changes(clinic):
    answer = are_minutes_rounded(rounded(clinic, "A"))
    strong = answer.table.set_index("part")["strongly_rounded"]
    assert strong["all visits"]
    assert strong.filter(like="practitioner").sum() == 1
    assert "rounded minutes as intervals, 8 in 10 visits stay within" in answer.headline
    assert any("The largest change is" in check.sentence for check in answer.checks)
    indices = [
        row.value for row in answer.rows if row.quantity == "heaping_index" and row.group["by"] == "practitioner"
    ]
    assert max(indices) == 5.0
    assert min(indices) == pytest.approx(1.0, abs=0.25)


def test_minutes_without_a_habit_are_taken_as_written(clinic):
    answer = are_minutes_rounded(rounded(clinic, "nobody"))
    assert "nowhere strongly, so minutes are taken as written; no ends were found copied" in answer.headline
    ways = {row.group["taken"] for row in answer.rows if row.quantity == "minutes_as_recorded"}
    assert ways == {"as_written"}
    shows(answer)


def test_ends_copied_from_the_slot_are_counted_and_left_out(clinic):
    came = clinic.visits.index[clinic.visits["minutes"].notna()][:40]
    quality = clinic.visits["minutes_quality"].astype("object").copy()
    quality[came] = "filled_from_slot"
    log = typed_frame(VISITS, clinic.visits.assign(minutes_quality=quality))
    answer = are_minutes_rounded(replace(clinic, visits=log))
    assert "40 ends copied from the slot are left out" in answer.headline
    assert (
        sum(row.value for row in answer.rows if row.quantity == "filled_visits" and row.group["by"] == "practitioner")
        == 40
    )


@pytest.mark.parametrize("ask", QUESTIONS, ids=lambda ask: ask.__name__)
def test_a_log_that_times_each_ear_gets_an_answer_too(ask):
    visits, ears = invented_log(np.random.default_rng(32), visits=600, split=True)
    shows(ask(Clinic(visits, ears)))


def test_stops_for_dizziness_are_told_of_where_there_are_twenty(clinic):
    seen = clinic.ears["visit_id"].unique()[:25]
    hurt = pd.Series(np.where(clinic.visits["visit_id"].isin(seen), "dizziness", "none"), index=clinic.visits.index)
    visits = typed_frame(VISITS, clinic.visits.assign(adverse_event=hurt))
    outcome = clinic.ears["outcome"].astype("object").where(~clinic.ears["visit_id"].isin(seen), "stopped")
    ears = typed_frame(EAR_ROWS, clinic.ears.assign(outcome=outcome))
    told = what_makes_visits_long(replace(clinic, visits=visits, ears=ears))
    assert told.table.set_index("measure").loc["a stop for dizziness", "visits"] == 25
    untold = what_makes_visits_long(replace(clinic, visits=visits))
    assert "a stop for dizziness" not in untold.table["measure"].tolist()
