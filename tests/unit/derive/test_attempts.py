"""Attempts: which ears count, which attempt of an episode, and whether it succeeded."""

from __future__ import annotations

from time import perf_counter

import numpy as np
import pandas as pd
import pytest

from analysis.derive.attempts import attempts
from analysis.schema import ATTEMPTS, EAR_ROWS, VISITS, pandas_dtype, typed_frame

LAST_DAY = pd.Timestamp("2026-09-30")


def visits_of(rows: list[dict]) -> pd.DataFrame:
    """Make visits of short rows; attended at nine unless said otherwise."""
    table = pd.DataFrame([{"attendance": "attended", **row} for row in rows])
    table["slot_start"] = pd.to_datetime(table.pop("day")) + pd.Timedelta(hours=9)
    return typed_frame(VISITS, table)


def ears_of(rows: list[dict]) -> pd.DataFrame:
    """Make ear rows of short rows; the left ear unless said otherwise."""
    return typed_frame(EAR_ROWS, pd.DataFrame([{"ear": "left", **row} for row in rows]))


def listed(visits: pd.DataFrame, ears: pd.DataFrame, days: int = 28) -> pd.DataFrame:
    return attempts(visits, ears, second_attempt_days=days, last_day=LAST_DAY)


def one_patient(*days_and_outcomes: tuple[str, str | None]) -> pd.DataFrame:
    """List the attempts of one patient's left ear, each by irrigation."""
    visits = [
        {"visit_id": f"v{i}", "patient_key": "p", "day": day} for i, (day, _) in enumerate(days_and_outcomes, start=1)
    ]
    ears = [
        {"visit_id": f"v{i}", "methods": "irrigation", "outcome": outcome}
        for i, (_, outcome) in enumerate(days_and_outcomes, start=1)
    ]
    return listed(visits_of(visits), ears_of(ears))


def successes(table: pd.DataFrame) -> list:
    return [None if value is pd.NA else value for value in table["success"]]


def test_columns_and_types_are_those_of_the_table():
    table = one_patient(("2026-03-02", "clear"))
    assert list(table) == ATTEMPTS.names
    for column in ATTEMPTS.columns:
        assert table[column.name].dtype == pandas_dtype(column), column.name


def test_a_visit_that_occurs_twice_is_refused_rather_than_counted_once():
    visits = visits_of([{"visit_id": "v1", "day": "2026-03-02"}, {"visit_id": "v1", "day": "2026-03-03"}])
    with pytest.raises(ValueError, match="more than once"):
        listed(visits, ears_of([{"visit_id": "v1", "methods": "forceps", "outcome": "clear"}]))


def test_another_attempt_on_the_28th_day_undoes_a_success():
    table = one_patient(("2026-03-02", "clear"), ("2026-03-30", "clear"))
    assert table["attempt_number"].tolist() == [1, 2]
    assert successes(table) == [False, True]


def test_another_attempt_on_the_29th_day_starts_a_new_episode():
    table = one_patient(("2026-03-02", "clear"), ("2026-03-31", "clear"))
    assert table["attempt_number"].tolist() == [1, 1]
    assert successes(table) == [True, True]


def test_each_further_attempt_prolongs_the_episode():
    table = one_patient(("2026-03-02", "occluding_left"), ("2026-03-23", "stopped"), ("2026-04-13", "clear"))
    assert table["attempt_number"].tolist() == [1, 2, 3]
    assert successes(table) == [False, False, True]


def test_a_remnant_left_counts_as_success_and_a_referral_does_not():
    assert successes(one_patient(("2026-03-02", "non_occluding_left"))) == [True]
    assert successes(one_patient(("2026-03-02", "referred"))) == [False]


def test_success_waits_for_follow_up_but_a_failure_is_known_at_once():
    assert successes(one_patient(("2026-09-02", "clear"))) == [True]
    assert successes(one_patient(("2026-09-03", "clear"))) == [None]
    assert successes(one_patient(("2026-09-30", "occluding_left"))) == [False]
    assert successes(one_patient(("2026-09-20", "clear"), ("2026-09-28", "clear"))) == [False, None]


def test_without_an_outcome_success_is_not_guessed():
    table = one_patient(("2026-03-02", None), ("2026-03-16", "clear"), ("2026-06-01", None))
    assert table["attempt_number"].tolist() == [1, 2, 1]
    assert successes(table) == [None, True, None]


def test_nothing_to_remove_after_work_is_neither_success_nor_failure():
    assert successes(one_patient(("2026-03-02", "nothing_to_remove"))) == [None]


def test_what_lies_after_the_last_day_is_not_looked_at():
    table = one_patient(("2026-08-20", "clear"), ("2026-10-02", "clear"))
    assert table["visit_id"].tolist() == ["v1"]


def test_only_ears_worked_on_at_attended_visits_are_attempts():
    visits = visits_of(
        [
            {"visit_id": "came", "patient_key": "p", "day": "2026-03-02"},
            {"visit_id": "missed", "patient_key": "q", "day": "2026-03-02", "attendance": "missed"},
        ]
    )
    ears = ears_of(
        [
            {"visit_id": "came", "methods": "fine_suction>hook_or_loop", "outcome": "clear"},
            {"visit_id": "came", "ear": "right", "grade": "fully_occluding", "methods": "", "outcome": "clear"},
            {"visit_id": "missed", "methods": "irrigation"},
        ]
    )
    table = listed(visits, ears)
    assert table[["visit_id", "ear", "first_method", "last_method", "ears_worked"]].to_numpy().tolist() == [
        ["came", "left", "fine_suction", "hook_or_loop", 1]
    ]


def test_an_export_without_methods_goes_by_grade_and_outcome():
    visits = visits_of(
        [
            {"visit_id": "old", "patient_key": "p", "day": "2026-03-02", "source_file": "old.csv"},
            {"visit_id": "new", "patient_key": "q", "day": "2026-03-02", "source_file": "new.xlsx"},
        ]
    )
    ears = ears_of(
        [
            {"visit_id": "old", "ear": "left", "grade": "fully_occluding", "outcome": "occluding_left"},
            {"visit_id": "old", "ear": "right", "grade": "non_occluding", "outcome": "clear"},
            {"visit_id": "new", "ear": "left", "grade": "fully_occluding", "outcome": "occluding_left"},
            {"visit_id": "new", "ear": "right", "grade": "partly_occluding", "outcome": "clear", "methods": "forceps"},
        ]
    )
    table = listed(visits, ears)
    assert table[["visit_id", "ear"]].to_numpy().tolist() == [["new", "right"], ["old", "left"]]
    assert table["ears_worked"].tolist() == [1, 1]
    assert table["first_method"].isna().tolist() == [False, True]


def test_an_occluding_ear_with_nothing_to_remove_is_no_attempt_without_methods():
    visits = visits_of([{"visit_id": "v", "day": "2026-03-02"}])
    ears = ears_of([{"visit_id": "v", "grade": "partly_occluding", "outcome": "nothing_to_remove"}])
    assert listed(visits, ears).empty


def test_without_grades_and_methods_the_outcome_decides():
    visits = visits_of([{"visit_id": "v", "day": "2026-03-02"}])
    ears = ears_of(
        [{"visit_id": "v", "ear": "left", "outcome": "clear"}, {"visit_id": "v", "ear": "right", "outcome": None}]
    )
    assert listed(visits, ears)["ear"].tolist() == ["left"]


def test_without_a_patient_number_each_visit_is_a_patient_of_its_own():
    visits = visits_of([{"visit_id": "a", "day": "2026-03-02"}, {"visit_id": "b", "day": "2026-03-09"}])
    ears = ears_of([{"visit_id": v, "methods": "irrigation", "outcome": "clear"} for v in "ab"])
    table = listed(visits, ears)
    assert table["attempt_number"].tolist() == [1, 1]
    assert successes(table) == [True, True]
    assert table["patient_key"].isna().all()


def test_a_patient_number_like_a_visit_number_does_not_join_strangers():
    visits = visits_of(
        [{"visit_id": "7", "day": "2026-03-02"}, {"visit_id": "8", "patient_key": "7", "day": "2026-03-09"}]
    )
    ears = ears_of([{"visit_id": v, "methods": "irrigation", "outcome": "clear"} for v in "78"])
    assert listed(visits, ears)["attempt_number"].tolist() == [1, 1]


def test_the_other_ear_has_an_episode_of_its_own():
    visits = visits_of(
        [
            {"visit_id": "a", "patient_key": "p", "day": "2026-03-02"},
            {"visit_id": "b", "patient_key": "p", "day": "2026-03-09"},
        ]
    )
    ears = ears_of(
        [
            {"visit_id": "a", "ear": "left", "methods": "irrigation", "outcome": "clear"},
            {"visit_id": "b", "ear": "right", "methods": "irrigation", "outcome": "clear"},
        ]
    )
    assert listed(visits, ears)["attempt_number"].tolist() == [1, 1]


def test_softening_used_comes_from_the_agent_or_else_the_days():
    said = [("olive_oil", None), ("none", 3.0), (None, 3.0), (None, 0.0), (None, None)]
    visits = visits_of(
        [
            {"visit_id": str(i), "day": "2026-03-02", "softener": agent, "softening_days": days}
            for i, (agent, days) in enumerate(said)
        ]
    )
    ears = ears_of([{"visit_id": str(i), "methods": "irrigation", "outcome": "clear"} for i in range(5)])
    used = listed(visits, ears)["softening_used"]
    assert used.to_numpy(dtype=object, na_value=None).tolist() == [True, False, True, False, None]


def test_contraindicated_ears_are_marked_and_silence_stays_silence():
    said = [
        {"canal": "operated"},
        {"middle_ear": "perforation"},
        {"eardrum": "seen_abnormal"},
        {"canal": "narrow", "eardrum": "not_seen"},
        {},
    ]
    visits = visits_of([{"visit_id": str(i), "day": "2026-03-02"} for i in range(5)])
    ears = ears_of([{"visit_id": str(i), "methods": "irrigation", **facts} for i, facts in enumerate(said)])
    marked = listed(visits, ears)["contraindicated"]
    assert marked.to_numpy(dtype=object, na_value=None).tolist() == [True, True, True, False, None]


def test_an_empty_log_gives_an_empty_table():
    empty = listed(typed_frame(VISITS, pd.DataFrame()), typed_frame(EAR_ROWS, pd.DataFrame()))
    assert empty.empty
    assert list(empty) == ATTEMPTS.names


def test_row_order_does_not_matter_and_a_large_log_is_quick():
    rng = np.random.default_rng(5)
    n = 11_000
    visits = typed_frame(
        VISITS,
        pd.DataFrame(
            {
                "visit_id": [f"v{i:05}" for i in range(n)],
                "patient_key": rng.integers(0, 6000, n).astype(str),
                "slot_start": pd.Timestamp("2024-01-01 09:00") + pd.to_timedelta(rng.integers(0, 900, n), unit="D"),
                "attendance": "attended",
            }
        ),
    )
    ears = typed_frame(
        EAR_ROWS,
        pd.DataFrame(
            {
                "visit_id": [f"v{i % n:05}" for i in range(16_000)],
                "ear": ["left"] * n + ["right"] * (16_000 - n),
                "methods": rng.choice(["", "irrigation", "fine_suction>hook_or_loop"], 16_000),
                "outcome": rng.choice(["clear", "occluding_left"], 16_000),
            }
        ),
    )
    started = perf_counter()
    table = listed(visits, ears)
    assert perf_counter() - started < 1.5  # a wide margin over the 0.3 s it should take: machines differ
    shuffled = listed(visits.sample(frac=1, random_state=1), ears.sample(frac=1, random_state=2))
    pd.testing.assert_frame_equal(table, shuffled)
