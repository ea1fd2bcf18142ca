"""The two answers about the log itself: honest when it is good, thin, bad or empty."""

import dataclasses
import json

import pandas as pd
import pytest

from analysis.answers import trust_words as say
from analysis.answers.trust import can_i_trust_my_log, what_was_set_aside
from analysis.clinic import Clinic
from analysis.models.completeness import facts_recorded
from analysis.present import words
from analysis.present.page_parts import answer_html, answer_text
from analysis.schema import EAR_ROWS, SET_ASIDE, VISITS, typed_frame
from analysis.settings import settings_from_toml

VISIT = {
    "patient_key": "p1", "practitioner": "A", "slot_start": pd.Timestamp("2026-03-02 09:00"), "slot_minutes": 30.0,
    "arrived_at": pd.Timestamp("2026-03-02 08:55"), "started_at": pd.Timestamp("2026-03-02 09:00"), "ended_at": pd.Timestamp("2026-03-02 09:21"),
    "attendance": "attended", "booking_kind": "new", "age_band": "60_74", "hearing_aid": False, "cotton_bud": False,
    "softening_advised": True, "softener": "olive_oil", "adverse_event": "none",
    "minutes": 21.0, "minutes_quality": "timed", "onward_referral": False,
}  # fmt: skip
EAR = {
    "ear": "left", "grade": "fully_occluding", "impacted": True, "debris": "hard_wax", "canal": "ordinary",
    "methods": "fine_suction", "outcome": "clear", "eardrum": "seen_intact", "middle_ear": "none",
}  # fmt: skip
REPEAT = ("the same row again", "Nothing; the first of the rows is kept.")
NO_DATE = ("no date", "Fill in the date of the visit; a line of totals may stay out.")


def clinic(visits: int = 4, *, record=None, aside=(), without=(), **changed) -> Clinic:
    """Make a clinic of like visits; ``changed`` gives a column's value visit by visit, ``without`` empties columns."""
    rows = pd.DataFrame([VISIT | {"visit_id": f"v{row}"} for row in range(visits)], columns=["visit_id", *VISIT])
    ears = pd.DataFrame([EAR | {"visit_id": f"v{row}"} for row in range(visits)], columns=["visit_id", *EAR])
    rows = rows.assign(**changed).drop(columns=[name for name in without if name in rows])
    ears = ears.drop(columns=[name for name in without if name in ears])
    put_by = pd.DataFrame([{"source_file": "log.csv", "reason": why, "remedy": what} for why, what in aside])
    return Clinic(
        typed_frame(VISITS, rows), typed_frame(EAR_ROWS, ears), typed_frame(SET_ASIDE, put_by), record=record or {}
    )


def all_shown(log: Clinic) -> Clinic:
    """Let even small counts be shown."""
    return dataclasses.replace(log, settings=settings_from_toml("[clinic]\nhide_below = 1"))


def value(answer, quantity: str, **group) -> float:
    return next(row.value for row in answer.rows if row.quantity == quantity and row.group == group)


def test_a_complete_log_can_be_trusted_for_every_question():
    answer = can_i_trust_my_log(all_shown(clinic(record={"rows_in": 6, "rows_kept": 4, "rows_set_aside": 2})))
    assert answer.headline == (
        "What all 6 questions need is recorded: 4 of 6 rows could be used, and minutes are really timed for 100% of attended visits "
        "(between 51% and 100%), March 2026."
    )
    assert set(answer.table["to_record"]) == {"as now"}
    assert value(answer, "rows_in") == 6
    assert value(answer, "rows_set_aside") == 2


def test_a_log_made_without_intake_speaks_of_bookings_and_of_no_rows():
    answer = can_i_trust_my_log(clinic())
    assert "4 bookings can be used" in answer.headline
    assert not [row for row in answer.rows if row.quantity.startswith("rows_")]


def test_a_log_without_outcomes_and_patients_says_which_questions_it_cannot_answer():
    answer = can_i_trust_my_log(clinic(without=["outcome", "patient_key"]))
    assert answer.headline.startswith("Only for some questions (2 of 6) is what they need recorded: ")
    lacking = {check.name: check.sentence for check in answer.checks}
    assert "outcome" in lacking["Does softening pay"]
    assert "patient's number" in lacking["How many will come"]
    assert answer.table["recorded_share"].tolist()[:2] == [0.0, 0.0]


def test_a_log_of_bare_bookings_is_not_to_be_trusted_yet():
    bare = ["minutes", "minutes_quality", "grade", "outcome", "patient_key", "softener", "softening_advised"]
    assert can_i_trust_my_log(clinic(without=bare)).headline.startswith("Not yet: for none of the 6 questions")


def test_half_of_the_rows_with_a_fact_are_enough_and_fewer_are_not():
    half = clinic(booking_kind=["new", "new", None, None])
    fewer = clinic(booking_kind=["new", None, None, None])
    assert say.standing(facts_recorded(half.visits, half.ears))["how long to book"] == []
    assert say.standing(facts_recorded(fewer.visits, fewer.ears))["how long to book"] == ["booking_kind"]


def test_softening_needs_advice_or_use_not_both():
    log = clinic(without=["softening_advised"])
    assert say.standing(facts_recorded(log.visits, log.ears))["does softening pay"] == []


def test_minutes_copied_from_the_slot_are_not_called_timed():
    answer = can_i_trust_my_log(clinic(minutes_quality=["timed", *["filled_from_slot"] * 3]))
    assert "really timed for 25% of attended visits" in answer.headline
    assert value(answer, "minutes_quality", quality="filled_from_slot") == 0.75
    assert value(answer, "fact_recorded", fact="minutes") == 0.25


def test_ends_on_fives_are_set_beside_one_in_five():
    ends = pd.to_datetime(["2026-03-02 09:20", "2026-03-02 09:25", "2026-03-02 09:30", "2026-03-02 09:31"])
    sentences = [check.sentence for check in can_i_trust_my_log(clinic(ended_at=ends)).checks]
    assert any("75% of 4 ends" in told and "far more" in told for told in sentences)
    assert any("No visit has an end" in c.sentence for c in can_i_trust_my_log(clinic(without=["ended_at"])).checks)


def test_a_log_with_nobody_seen_says_what_to_record():
    for empty in (clinic(0), clinic(attendance="missed")):
        answer = can_i_trust_my_log(empty)
        assert not answer.answered
        assert "whether the patient came" in answer.headline


def test_reasons_stand_with_their_remedy_the_commonest_first():
    log = all_shown(clinic(aside=[NO_DATE, REPEAT, REPEAT], record={"rows_in": 7, "rows_kept": 4}))
    answer = what_was_set_aside(log)
    assert answer.headline.startswith("3 of 7 rows (43%) were set aside, most often: the same row again (2)")
    assert answer.table["reason"].tolist() == ["the same row again", "no date"]
    assert answer.table["remedy"].tolist() == [REPEAT[1], NO_DATE[1]]
    assert value(answer, "rows_set_aside_by_reason", reason="no date") == 1
    assert answer.checks[0].result == "passed"


def test_a_lost_row_fails_the_check():
    log = clinic(aside=[NO_DATE], record={"rows_in": 7, "rows_kept": 4})
    assert what_was_set_aside(log).checks[0].result == "failed"


def test_nothing_set_aside_says_so():
    assert what_was_set_aside(clinic(record={"rows_in": 4, "rows_kept": 4})).headline.startswith(
        "Nothing was set aside: all 4 rows could be used"
    )
    assert what_was_set_aside(clinic()).headline.startswith("Nothing was set aside, March 2026.")


def test_rows_all_set_aside_are_still_told():
    answer = what_was_set_aside(all_shown(clinic(0, aside=[NO_DATE])))
    assert answer.headline == "1 row was set aside, for no date."
    assert not what_was_set_aside(clinic(0)).answered


def test_few_rows_set_aside_are_hidden_and_with_them_those_read_and_kept():
    record = {"rows_in": 103, "rows_kept": 100, "rows_set_aside": 3}
    log = clinic(100, aside=[NO_DATE, REPEAT, REPEAT], record=record)
    told = what_was_set_aside(log)
    assert told.headline == "Fewer than 5 rows were set aside, most often: the same row again, March 2026."
    assert told.table["rows"].isna().all()
    assert told.checks[0].sentence == "All rows read were kept but fewer than 5, which were set aside."
    trust = can_i_trust_my_log(log)
    assert "all rows but fewer than 5 could be used" in trust.headline
    assert [value(trust, name) for name in record] == [None, None, None]


def test_a_small_reason_is_hidden_with_the_one_that_would_give_it_away():
    log = clinic(aside=[NO_DATE] * 3 + [REPEAT] * 9, record={"rows_in": 60, "rows_kept": 48, "rows_set_aside": 12})
    answer = what_was_set_aside(log)
    assert answer.headline.startswith("12 of 60 rows (20%) were set aside, most often: the same row again, March")
    assert answer.table["rows"].isna().all()
    assert [row.value for row in answer.rows] == [0.2, None, None]


@pytest.mark.parametrize("ask", [can_i_trust_my_log, what_was_set_aside])
def test_answers_show_themselves_and_can_be_written(ask):
    answer = ask(clinic(aside=[NO_DATE, REPEAT], without=["debris"]))
    assert answer.headline in answer_html(answer)
    assert answer.headline in answer_text(answer)
    assert all(words.label(name) for name in answer.table)
    json.dumps([dataclasses.asdict(row) for row in answer.rows], allow_nan=False)


def test_the_chart_draws_the_thinnest_facts_and_its_text_tells_them():
    answer = can_i_trust_my_log(clinic(hearing_aid=[True, None, None, None], without=["debris"]))
    assert len(answer.chart.data) == say.MOST_DRAWN
    assert answer.chart.data[0].name.startswith("what was found")
    assert answer.chart_title == "Least recorded are what was found (0%) and wears a hearing aid (25%)"
    assert "wears a hearing aid 25% of 4 attended visits" in answer.chart_text
