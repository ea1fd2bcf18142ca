"""Who is due a recall, and when."""

import pandas as pd

from analysis.planning.recall_list import recall_list
from analysis.schema import GAPS, VISITS, typed_frame

LAST_DAY = pd.Timestamp("2026-09-30")
MONTHS = {"hearing_aid": 6, "no_hearing_aid": 12, "everyone": 9}


def cleared(*rows):
    columns = ["patient_key", "cleared_on", "hearing_aid"]
    frame = pd.DataFrame(rows, columns=columns).astype({"cleared_on": "datetime64[us]"})
    return typed_frame(GAPS, frame)


def booked(*rows):
    columns = ["patient_key", "slot_start", "attendance"]
    return typed_frame(VISITS, pd.DataFrame(rows, columns=columns).astype({"slot_start": "datetime64[us]"}))


def listed(gaps, visits=None):
    found = recall_list(gaps, booked() if visits is None else visits, MONTHS, last_day=LAST_DAY)
    return found, {one["patient_key"]: one for one in found.due.to_dict("records")}


def test_the_month_is_that_of_the_group():
    found, due = listed(
        cleared(("aid", "2026-03-15", True), ("none", "2025-10-02", False), ("unsaid", "2026-01-31", None))
    )
    assert {who: f"{one['due_month']:%Y-%m}" for who, one in due.items()} == {
        "aid": "2026-09", "none": "2026-10", "unsaid": "2026-10",
    }  # fmt: skip
    assert found.later == 0


def test_the_last_clearance_counts_and_the_longest_overdue_come_first():
    _, due = listed(cleared(("a", "2024-01-05", True), ("a", "2026-04-05", True), ("b", "2025-12-24", True)))
    assert list(due) == ["b", "a"]
    assert [one["months_overdue"] for one in due.values()] == [3, 0]


def test_whoever_came_since_is_called_the_same_months_after():
    visits = booked(("a", "2026-05-20 09:00", "attended"), ("b", "2026-05-20 09:00", "missed"))
    _, due = listed(cleared(("a", "2025-11-05", True), ("b", "2025-11-05", True)), visits)
    assert f"{due['a']['due_month']:%Y-%m}" == "2026-11"
    assert f"{due['b']['due_month']:%Y-%m}" == "2026-05"


def test_the_booked_and_those_due_later_are_left_out_and_counted():
    visits = booked(("booked", "2026-10-12 09:00", None), ("cancelled", "2026-10-12 09:00", "cancelled"))
    found, due = listed(
        cleared(("booked", "2026-01-05", True), ("cancelled", "2026-01-05", True), ("later", "2026-09-01", True)),
        visits,
    )
    assert list(due) == ["cancelled"]
    assert (found.booked, found.later) == (1, 1)


def test_of_two_ears_in_two_groups_the_sooner_counts_and_facts_noted_last_hold():
    gaps = typed_frame(
        GAPS,
        pd.DataFrame(
            {
                "patient_key": ["a", "a", "b", "b"],
                "ear": ["left", "right", "left", "left"],
                "cleared_on": pd.to_datetime(["2026-01-05", "2026-01-05", "2025-06-02", "2026-01-05"]),
                "canal": ["ordinary", "narrow", "ordinary", "ordinary"],
                "hearing_aid": [False, False, True, False],
            }
        ),
    )
    months = {"canal:yes": 6, "canal:no": 11, "everyone": 9}
    by_canal = recall_list(gaps, booked(), months, last_day=LAST_DAY, facts=("canal",)).due.set_index("patient_key")
    assert by_canal["recall_group"].to_dict() == {"a": "canal:yes", "b": "canal:no"}
    assert {who: f"{month:%Y-%m}" for who, month in by_canal["due_month"].items()} == {"a": "2026-07", "b": "2026-12"}
    soon = {"hearing_aid": 3, "no_hearing_aid": 11, "everyone": 9}
    by_aid = recall_list(gaps, booked(), soon, last_day=LAST_DAY).due
    assert by_aid["recall_group"].tolist() == ["no_hearing_aid", "no_hearing_aid"]  # b's aid was noted before, not last
