"""Attended visits in order: who was seen before, and when each came next."""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.models.visit_history import KINDS, NEVER, NEW, OTHER, SECOND, day_number, visit_history
from analysis.problems import NotEnough
from tests.demand_logs import history, log


def test_a_patients_visits_are_chained_in_order_of_days() -> None:
    seen = history(
        ("ann", "2026-03-02", "second_attempt"),
        ("ann", "2026-02-16", "new"),
        ("bob", "2026-02-20", "new"),
        last_day="2026-03-31",
    )
    assert [KINDS[kind] for kind in seen.kind] == ["new", "new", "second_attempt"]
    assert seen.linked.tolist() == [False, False, True]
    assert seen.next_day[0] - seen.day[0] == 14
    assert seen.next_kind.tolist() == [SECOND, -1, -1]
    assert (seen.next_day[1:] == NEVER).all()


def test_a_second_attempt_is_no_return_but_a_recall_is() -> None:
    seen = history(
        ("ann", "2025-02-03", "new"),
        ("ann", "2025-02-17", "second_attempt"),
        ("ann", "2026-02-02", "routine_recall"),
        ("cat", "2026-02-03", "routine_recall"),
        last_day="2026-03-31",
    )
    assert seen.returner.tolist() == [False, False, True, True]


def test_missed_bookings_and_bookings_after_the_last_day_are_not_history() -> None:
    visits = log(
        ("ann", "2026-03-02", "new"), ("ann", "2026-03-09", "second_attempt"), ("ann", "2026-05-01", "other"),
        attendance=["attended", "missed", "attended"],
    )  # fmt: skip
    seen = visit_history(visits, last_day=pd.Timestamp("2026-03-31"))
    assert len(seen.day) == 1
    assert seen.next_day[0] == NEVER
    assert len(seen.diary_days) == 2  # the clinic was open for the missed one


def test_visits_without_a_kind_are_new_when_first_seen_and_other_when_not() -> None:
    seen = history(
        ("ann", "2026-03-02", None), ("ann", "2026-03-20", None), (None, "2026-03-21", None), last_day="2026-03-31"
    )
    assert seen.kind.tolist() == [NEW, OTHER, OTHER]
    assert seen.keyed.tolist() == [True, True, False]


def test_a_log_that_never_says_new_counts_first_visits_as_new() -> None:
    seen = history(("ann", "2026-03-02", "other"), ("ann", "2026-03-20", "other"), last_day="2026-03-31")
    assert seen.kind.tolist() == [NEW, OTHER]


def test_patients_without_a_number_are_never_chained() -> None:
    seen = history((None, "2026-03-02", "new"), (None, "2026-03-03", "new"), last_day="2026-03-31")
    assert not seen.linked.any()
    assert (seen.next_day == NEVER).all()


def test_what_was_known_earlier_leaves_out_later_visits() -> None:
    seen = history(("ann", "2026-02-16", "new"), ("ann", "2026-03-02", "other"), last_day="2026-03-31")
    before = seen.until(day_number(pd.Timestamp("2026-03-01")))
    assert len(before.day) == 1
    assert before.next_day[0] == NEVER
    assert before.next_kind[0] == -1


def test_a_log_without_an_attended_visit_says_so() -> None:
    visits = log(("ann", "2026-03-02", "new"), attendance=["missed"])
    with pytest.raises(NotEnough, match="no attended visit"):
        visit_history(visits, last_day=pd.Timestamp("2026-03-31"))


def test_a_log_that_never_notes_attendance_counts_every_visit() -> None:
    visits = log(("ann", "2026-03-02", "new"), ("bob", "2026-03-03", "new"), attendance=[None, None])
    assert len(visit_history(visits, last_day=pd.Timestamp("2026-03-31")).day) == 2
