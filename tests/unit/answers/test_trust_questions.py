"""Every question on the log: plainly answered, small counts hidden, nobody named, whatever the log lacks."""

import dataclasses
import json

import numpy as np
import pandas as pd
import pytest

from analysis.answers.record_sheet import record_sheet
from analysis.answers.trust import can_i_trust_my_log, what_was_set_aside
from analysis.answers.trust_fields import what_to_mend_first, which_facts_are_missing
from analysis.answers.trust_orders import do_visits_start_two_at_once, is_anything_out_of_order
from analysis.answers.trust_parts import do_known_patients_look_new, who_records_differently
from analysis.answers.trust_times import are_times_copied_from_the_diary, are_times_rounded
from analysis.clinic import Clinic
from analysis.present import words
from analysis.present.answer import FAILED, PASSED
from analysis.present.page_parts import answer_html, answer_text
from analysis.schema import EAR_ROWS, SET_ASIDE, VISITS, typed_frame
from analysis.settings import settings_from_toml
from tests import log_world as world

ASKED = (
    what_to_mend_first,
    which_facts_are_missing,
    are_times_rounded,
    are_times_copied_from_the_diary,
    is_anything_out_of_order,
    do_visits_start_two_at_once,
    who_records_differently,
    do_known_patients_look_new,
)


@pytest.fixture(scope="module")
def clean():
    return world.clean_clinic(np.random.default_rng(5), days=60)


@pytest.fixture(scope="module")
def spoilt(clean):
    """A log with a habit of each kind."""
    log = world.rounding(clean, "Elm")
    log = world.copying(np.random.default_rng(2), log, "Hazel", 0.4)
    return world.forgetting(log, "Oak", "softener")


def first_rows(clinic, rows):
    """Keep the first so many bookings."""
    visits = clinic.visits.iloc[:rows]
    return Clinic(visits, clinic.ears[clinic.ears["visit_id"].isin(visits["visit_id"])])


def without(clinic, columns):
    """Empty some columns of the visits and the ears."""
    visits = clinic.visits.drop(columns=[name for name in columns if name in clinic.visits])
    ears = clinic.ears.drop(columns=[name for name in columns if name in clinic.ears])
    return Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, ears), settings=clinic.settings)


def shows_itself(answer):
    """Check that an answer can be shown, told and kept, and never says what is not a number."""
    text = answer_text(answer)
    assert answer.headline in text
    assert answer_html(answer)
    assert not {"nan", "inf", "<NA>", "NaT"} & set(text.replace("(", " ").replace(")", " ").replace(",", " ").split())
    if answer.answered:
        assert all(words.label(str(name)) for name in answer.table)
        assert answer.basis is not None
        assert answer.assumptions
        assert answer.how_sure
        assert (answer.chart is None) == (answer.chart_text == "")
    json.dumps([dataclasses.asdict(row) for row in answer.rows], allow_nan=False)


@pytest.mark.parametrize("ask", ASKED)
def test_each_question_shows_itself_of_a_clean_and_of_a_spoilt_log(ask, clean, spoilt):
    for log in (clean, spoilt):
        shows_itself(ask(log))


READ_BY_NAME = (
    *("patient_key", "site", "practitioner", "slot_start", "slot_minutes", "arrived_at", "started_at", "ended_at"),
    *("attendance", "booking_kind", "age_band", "minutes", "minutes_quality", "source_file"),
    *("ear", "grade", "grade_revised", "methods", "outcome"),
)
"""Columns the answers on the log do something of their own with; the others are only counted."""


@pytest.mark.parametrize("column", READ_BY_NAME)
def test_a_log_without_any_one_column_never_crashes(column, spoilt):
    lacking = without(first_rows(spoilt, 75), [column])
    for ask in (*ASKED, can_i_trust_my_log, what_was_set_aside):
        assert ask(lacking).headline
    assert record_sheet(lacking).habits


@pytest.mark.parametrize("ask", ASKED)
@pytest.mark.parametrize("rows", [0, 1, 25])
def test_few_visits_give_no_figure_or_a_plain_one(ask, rows, clean):
    few = first_rows(clean, rows)
    answer = ask(few)
    shows_itself(answer)
    if rows == 0:
        assert answer.headline.startswith("No figure yet.")


@pytest.mark.parametrize("ask", ASKED)
def test_one_practitioner_and_one_month_are_enough_not_to_crash(ask):
    shows_itself(ask(world.clean_clinic(np.random.default_rng(9), days=20, practitioners=1)))


def test_nobody_is_named_unless_the_clinic_wants_it(spoilt):
    named = Clinic(spoilt.visits, spoilt.ears, settings=settings_from_toml("[clinic]\nshow_practitioner_names = true"))
    told = " ".join(answer_text(ask(spoilt)) for ask in ASKED)
    assert not [name for name in world.PRACTITIONERS if name in told]
    assert "practitioner Elm" in answer_text(are_times_rounded(named))


def test_what_a_habit_does_and_what_to_record_is_said_everywhere(spoilt):
    for ask in ASKED[2:-1]:
        names = [check.name for check in ask(spoilt).checks]
        assert names[-2:] == ["What it does to the later answers", "What to record from now on"]


def test_a_differing_pen_is_told_as_record_keeping(spoilt):
    answer = who_records_differently(spoilt)
    assert answer.checks[0].result == FAILED
    assert "ranks nobody" in answer.cautions[0]
    assert "softening agent used recorded" in answer.table["habit"].tolist()


def test_small_counts_of_grades_are_not_shown(clean):
    ears = clean.ears.assign(grade=clean.ears["grade"].where(clean.ears["visit_id"] != "none"))
    elm = clean.visits.loc[clean.visits["practitioner"] == "Elm", "visit_id"]
    keep = set(elm.iloc[:3])
    ears.loc[ears["visit_id"].isin(elm), "grade"] = "clear"
    ears.loc[ears["visit_id"].isin(keep), "grade"] = "fully_occluding"
    answer = who_records_differently(Clinic(clean.visits, ears))
    row = answer.table[
        (answer.table["part"] == "practitioner 1") & (answer.table["habit"] == "fuller ear graded fully occluding")
    ]
    row = row if len(row) else answer.table[answer.table["habit"] == "fuller ear graded fully occluding"]
    hidden = row["habit_share"].isna()
    assert hidden.any()
    assert row.loc[hidden, ["more_points", "more_points_low", "more_points_high"]].isna().all(axis=None)


def test_a_hidden_count_of_coinciding_starts_cannot_be_worked_out(clean):
    visits = clean.visits.copy()
    elm = visits.index[(visits["practitioner"] == "Elm") & visits["started_at"].notna()]
    visits.loc[elm[1], "started_at"] = visits.loc[elm[0], "started_at"]
    answer = do_visits_start_two_at_once(Clinic(visits, clean.ears))
    assert answer.headline.startswith("2 of ")
    assert answer.checks[0].result == FAILED
    assert answer.table["same_minute"].isna().any()


def test_an_order_that_cannot_be_is_counted_with_its_remedy(clean):
    visits = clean.visits.copy()
    row = visits.index[visits["ended_at"].notna()][0]
    visits.loc[row, "ended_at"] = visits.loc[row, "started_at"] - pd.Timedelta(minutes=1)
    answer = is_anything_out_of_order(Clinic(visits, clean.ears))
    assert answer.headline.startswith("1 visit (")
    assert "shows an order that cannot be, most often: ended before it started (1)" in answer.headline
    assert answer.table["impossible_order"].iloc[0] == "ended before it started"
    assert is_anything_out_of_order(clean).checks[0].result == PASSED


RECORD = {
    "rows_in": 500,
    "files": [{"rows": 400, "headings": {"unknown": {"Tray": None}}}],
    "words": {"grade": {"understood": 300, "unknown": {"hm": {"count": 9}, "as before": {"count": 3}}}},
    "unreadable": {"date": {"31/02/26": {"count": 7}}, "ended_at": {"25:70": {"count": 2}}},
}


def test_what_touches_most_rows_is_to_be_mended_first(clean):
    aside = typed_frame(
        SET_ASIDE,
        pd.DataFrame(
            [{"reason": "impossible date", "remedy": "Correct the date."}] * 7
            + [{"reason": "the same row again", "remedy": "Nothing; the first of the rows is kept."}] * 30
        ),
    )
    answer = what_to_mend_first(Clinic(clean.visits, clean.ears, aside, record=RECORD))
    assert list(zip(answer.table["to_mend"], answer.table["rows"], strict=True)) == [
        ("the column Tray was not read", 400),
        ("occlusion grade: 2 words not known", 12),
        ("rows set aside: impossible date", 7),
        ("end of the visit: cannot be read", 2),
    ]
    assert "There are 4 things to mend in 500 rows" in answer.headline
    assert answer.checks[0].sentence.startswith("30 rows set aside need no mending")


def test_no_more_than_ten_remedies_are_told(clean):
    words_of_many = {"grade": RECORD["words"]["grade"]}
    files = [{"rows": 10 + at, "headings": {"unknown": {f"Column {at}": None}}} for at in range(12)]
    answer = what_to_mend_first(Clinic(clean.visits, clean.ears, record={"files": files, "words": words_of_many}))
    assert len(answer.table) == 10
    assert answer.checks[-1].sentence.startswith("3 more")


def test_nothing_to_mend_says_so(clean):
    assert what_to_mend_first(clean).headline.startswith("Nothing needs mending in ")


def test_a_fact_that_stops_being_recorded_is_seen_in_its_month(clean):
    visits = clean.visits.assign(
        slot_minutes=clean.visits["slot_minutes"].where(clean.visits["slot_start"] < "2024-02-01")
    )
    answer = which_facts_are_missing(Clinic(visits, clean.ears))
    assert answer.chart_title == "Most uneven: minutes booked, 0% in February 2024 and 100% in January 2024"
    assert answer.table.set_index("month")["slot_minutes"].tolist() == ["100%", "0%"]
