"""Gaps: small clinics written out, and what follows for each ear."""

import numpy as np
import pandas as pd
import pytest

from analysis.derive.gaps import gaps
from analysis.schema import EAR_ROWS, GAPS, VISITS, typed_frame

LAST_DAY = pd.Timestamp("2025-12-31")


def clinic(rows, patient="p1"):
    """One row an ear: (day, kind, ear, grade, outcome, methods)."""
    table = pd.DataFrame(rows, columns=["day", "booking_kind", "ear", "grade", "outcome", "methods"])
    table["visit_id"] = table["day"]
    first = table.drop_duplicates("visit_id")
    visits = first.assign(patient_key=patient, attendance="attended", slot_start=pd.to_datetime(first["day"]))
    return typed_frame(VISITS, visits), typed_frame(EAR_ROWS, table)


def bounds(visits, ears, **settings):
    table = gaps(visits, ears, **{"symptom_window_days": 60, "last_day": LAST_DAY} | settings)
    columns = ["ear", "open_until_days", "occluding_by_days", "watched_days", "returned"]
    return [tuple(None if pd.isna(value) else value for value in row) for row in table[columns].to_numpy(dtype=object)]


CLEARED = ("2025-01-01", "new", "left", "fully_occluding", "clear", "fine_suction")


def test_a_patient_never_seen_again_is_watched_to_the_end_of_the_log():
    assert bounds(*clinic([CLEARED])) == [("left", 0.0, None, 364.0, False)]


def test_an_ear_found_occluding_at_a_recall_became_so_some_time_before():
    recall = ("2025-07-01", "routine_recall", "left", "partly_occluding", "clear", "fine_suction")
    assert bounds(*clinic([CLEARED, recall])) == [
        ("left", 0.0, 181.0, 364.0, True),
        ("left", 0.0, None, 183.0, False),
    ]


def test_an_ear_found_open_and_left_alone_keeps_its_clock():
    recall = ("2025-07-01", "routine_recall", "left", "clear", "nothing_to_remove", "")
    later = ("2025-10-01", "other", "left", "partly_occluding", "occluding_left", "fine_suction")
    assert bounds(*clinic([CLEARED, recall])) == [("left", 181.0, None, 364.0, True)]
    assert bounds(*clinic([CLEARED, recall, later])) == [("left", 181.0, 273.0, 364.0, True)]


def test_an_ear_found_open_and_cleaned_starts_anew():
    recall = ("2025-07-01", "routine_recall", "left", "non_occluding", "clear", "wide_suction")
    assert bounds(*clinic([CLEARED, recall])) == [("left", 181.0, None, 364.0, True), ("left", 0.0, None, 183.0, False)]


@pytest.mark.parametrize(("window", "low"), [(60, 121.0), (181, 0.0), (365, 0.0)])
def test_whoever_returns_with_symptoms_chose_the_day(window, low):
    back = ("2025-07-01", "symptoms_return", "left", "fully_occluding", "referred", "")
    assert bounds(*clinic([CLEARED, back]), symptom_window_days=window) == [("left", low, 181.0, 364.0, True)]


def test_the_symptom_window_never_reaches_behind_the_last_day_known_open():
    recall = ("2025-06-01", "routine_recall", "left", "clear", "nothing_to_remove", "")
    back = ("2025-07-01", "symptoms_return", "left", "fully_occluding", "referred", "")
    assert bounds(*clinic([CLEARED, recall, back])) == [("left", 151.0, 181.0, 364.0, True)]


def test_the_other_ear_of_a_return_with_symptoms_shows_its_state_on_that_day():
    right = ("2025-01-01", "new", "right", "partly_occluding", "clear", "fine_suction")
    full = ("2025-07-01", "symptoms_return", "left", "fully_occluding", "referred", "")
    part = ("2025-07-01", "symptoms_return", "right", "partly_occluding", "referred", "")
    still_open = ("2025-07-01", "symptoms_return", "right", "non_occluding", "nothing_to_remove", "")
    full_too = ("2025-07-01", "symptoms_return", "right", "fully_occluding", "referred", "")
    left = ("left", 121.0, 181.0, 364.0, True)
    assert bounds(*clinic([CLEARED, right, full, part])) == [left, ("right", 0.0, 181.0, 364.0, True)]
    assert bounds(*clinic([CLEARED, right, full, still_open])) == [left, ("right", 181.0, None, 364.0, True)]
    assert bounds(*clinic([CLEARED, right, full, full_too])) == [left, ("right", 121.0, 181.0, 364.0, True)]


@pytest.mark.parametrize(("day", "gaps_seen"), [("2025-01-29", 1), ("2025-01-30", 2)])
def test_a_further_attempt_within_28_days_belongs_to_the_same_episode(day, gaps_seen):
    again = (day, "other", "left", "partly_occluding", "clear", "hook_or_loop")
    found = bounds(*clinic([CLEARED, again]))
    assert len(found) == gaps_seen
    assert found[-1][1:3] == (0.0, None)


@pytest.mark.parametrize("kind", ["symptoms_return", "routine_recall"])
def test_an_ear_that_filled_within_28_days_and_was_booked_as_a_return_is_not_lost(kind):
    soon = ("2025-01-20", kind, "left", "fully_occluding", "clear", "fine_suction")
    assert [row[2] for row in bounds(*clinic([CLEARED, soon]))] == [19.0, None]


def test_a_second_attempt_is_no_return_and_starts_the_clock_where_it_cleared_the_ear():
    failed = ("2025-01-01", "new", "left", "fully_occluding", "occluding_left", "fine_suction")
    other = ("2025-01-01", "new", "right", "fully_occluding", "clear", "fine_suction")
    second = ("2025-02-15", "second_attempt", "left", "fully_occluding", "clear", "irrigation")
    other_seen = ("2025-02-15", "second_attempt", "right", "clear", "nothing_to_remove", "")
    assert bounds(*clinic([failed, other, second, other_seen])) == [
        ("left", 0.0, None, 319.0, False),
        ("right", 45.0, None, 364.0, False),
    ]


def test_an_ear_never_cleared_gives_no_gap():
    failed = ("2025-01-01", "new", "left", "fully_occluding", "occluding_left", "fine_suction")
    looked = ("2025-01-01", "new", "right", "clear", "clear", "")
    assert bounds(*clinic([failed, looked])) == []


def test_the_fuller_view_decides_the_state():
    visits, ears = clinic([CLEARED, ("2025-07-01", "routine_recall", "left", "non_occluding", "referred", "")])
    ears.loc[1, "grade_revised"] = "partly_occluding"
    assert bounds(visits, ears) == [("left", 0.0, 181.0, 364.0, True)]


def test_an_ungraded_return_says_nothing_but_work_ends_the_gap():
    ungraded = ("2025-07-01", "routine_recall", "left", None, "clear", "fine_suction")
    assert bounds(*clinic([CLEARED, ungraded])) == [("left", 0.0, None, 364.0, True), ("left", 0.0, None, 183.0, False)]


def test_what_the_return_found_is_told_with_it():
    back = ("2025-07-01", "symptoms_return", "left", "fully_occluding", "referred", "")
    table = gaps(*clinic([CLEARED, back]), symptom_window_days=60, last_day=LAST_DAY)
    told = table[["return_days", "return_kind", "grade_at_return"]]
    assert told.to_numpy().tolist() == [[181.0, "symptoms_return", "fully_occluding"]]


def test_the_patients_first_return_is_told_beside_the_visit_that_ended_the_gap():
    recall = ("2025-05-01", "routine_recall", "left", "clear", "nothing_to_remove", "")
    back = ("2025-09-01", "symptoms_return", "left", "fully_occluding", "clear", "fine_suction")
    table = gaps(*clinic([CLEARED, recall, back]), symptom_window_days=60, last_day=LAST_DAY)
    told = table[["return_days", "first_return_kind", "return_kind"]].iloc[0]
    assert told.tolist() == [120.0, "routine_recall", "symptoms_return"]


def test_a_second_attempt_that_saw_the_other_ear_last_does_not_name_the_return():
    right = ("2025-01-01", "new", "right", "partly_occluding", "clear", "fine_suction")
    back = ("2025-07-01", "symptoms_return", "left", "fully_occluding", "occluding_left", "fine_suction")
    right_open = ("2025-07-01", "symptoms_return", "right", "clear", "nothing_to_remove", "")
    again = ("2025-07-12", "second_attempt", "left", "fully_occluding", "clear", "irrigation")
    right_again = ("2025-07-12", "second_attempt", "right", "clear", "nothing_to_remove", "")
    table = gaps(
        *clinic([CLEARED, right, back, right_open, again, right_again]), symptom_window_days=60, last_day=LAST_DAY
    )
    kept = table.loc[table["ear"] == "right", ["open_until_days", "return_days", "return_kind"]]
    assert kept.to_numpy().tolist() == [[192.0, 181.0, "symptoms_return"]]


def test_a_return_that_did_not_see_the_ear_is_a_return_without_evidence():
    right = ("2025-07-01", "routine_recall", "right", "fully_occluding", "referred", "")
    table = gaps(*clinic([CLEARED, right]), symptom_window_days=60, last_day=LAST_DAY)
    assert table[["returned", "return_kind"]].to_numpy().tolist() == [[True, "routine_recall"]]
    assert table["open_until_days"].item() == 0
    assert table["grade_at_return"].isna().all()


def test_missed_bookings_unknown_patients_and_days_after_the_last_are_left_out():
    visits, ears = clinic([CLEARED, ("2026-02-01", "routine_recall", "left", "clear", "nothing_to_remove", "")])
    assert bounds(visits, ears) == [("left", 0.0, None, 364.0, False)]
    assert bounds(visits.assign(patient_key=pd.Series([None, None], dtype="str")), ears) == []
    missed = visits.assign(attendance=visits["attendance"].where(visits["visit_id"] != "2025-01-01", "missed"))
    assert bounds(missed, ears) == []


@pytest.mark.parametrize(
    ("kind", "known"),
    [("new", False), ("routine_recall", True), ("symptoms_return", True), ("second_attempt", False), (None, False)],
)
def test_a_patient_whose_first_visit_is_a_return_was_known_before_the_log(kind, known):
    first = ("2025-01-01", kind, "left", "fully_occluding", "clear", "fine_suction")
    again = ("2025-07-01", "routine_recall", "left", "partly_occluding", "clear", "fine_suction")
    visits, ears = clinic([first, again])
    table = gaps(visits, ears, symptom_window_days=60, last_day=LAST_DAY)
    assert table["known_before"].tolist() == [known, known]


def test_an_empty_log_gives_an_empty_table():
    table = gaps(
        typed_frame(VISITS, pd.DataFrame()),
        typed_frame(EAR_ROWS, pd.DataFrame()),
        symptom_window_days=60,
        last_day=LAST_DAY,
    )
    assert table.empty
    assert list(table) == GAPS.names


def test_two_patients_and_any_order_of_rows_give_the_same():
    back = ("2025-07-01", "symptoms_return", "left", "fully_occluding", "clear", "irrigation")
    visits, ears = clinic([CLEARED, back])
    other_visits, other_ears = clinic([CLEARED], patient="p2")
    other_visits["visit_id"], other_ears["visit_id"] = "w1", "w1"
    visits, ears = (
        pd.concat([visits, other_visits], ignore_index=True),
        pd.concat([ears, other_ears], ignore_index=True),
    )
    table = gaps(visits, ears, symptom_window_days=60, last_day=LAST_DAY)
    shuffled = np.random.default_rng(1).permutation(3)
    again = gaps(visits.iloc[shuffled], ears.iloc[shuffled[::-1]], symptom_window_days=60, last_day=LAST_DAY)
    pd.testing.assert_frame_equal(table, again)
    assert table["patient_key"].tolist() == ["p1", "p1", "p2"]


def test_work_on_an_ear_without_a_grade_ends_the_gap_and_is_marked():
    recall = ("2025-07-01", "routine_recall", "left", None, "clear", "wide_suction")
    table = gaps(*clinic([CLEARED, recall]), symptom_window_days=60, last_day=LAST_DAY)
    assert table["ended_ungraded"].tolist() == [True, False]
    assert table["occluding_by_days"].isna().all()


def test_times_found_non_occluding_and_left_are_counted_by_kind_of_visit_and_cleaning_one_ends_the_gap():
    left = ("non_occluding", "nothing_to_remove", "")
    visits, ears = clinic(
        [
            CLEARED,
            ("2025-03-01", "routine_recall", "left", *left),
            ("2025-04-01", "symptoms_return", "left", *left),
            ("2025-05-01", "other", "left", "clear", "nothing_to_remove", ""),
            ("2025-06-01", "other", "left", "non_occluding", "non_occluding_left", ""),
            ("2025-07-01", "routine_recall", "left", "non_occluding", "clear", "wide_suction"),
            ("2025-08-01", "routine_recall", "left", "fully_occluding", "clear", "wide_suction"),
        ]
    )
    table = gaps(visits, ears, symptom_window_days=60, last_day=LAST_DAY)
    columns = ["left_at_calls", "left_otherwise", "cleaned_open"]
    assert table[columns].to_numpy().tolist() == [[1, 2, True], [0, 0, False], [0, 0, False]]
