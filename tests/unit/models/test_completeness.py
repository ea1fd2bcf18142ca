"""How complete a log is, on tables small enough to count by hand."""

import pandas as pd

from analysis.models.completeness import ends_on_fives, facts_recorded, minutes_known
from analysis.schema import EAR_ROWS, VISITS, typed_frame


def visits(**columns) -> pd.DataFrame:
    return typed_frame(VISITS, pd.DataFrame(columns))


def ears(**columns) -> pd.DataFrame:
    return typed_frame(EAR_ROWS, pd.DataFrame(columns))


def test_facts_of_the_visit_are_counted_among_attended_visits_only():
    log = visits(
        attendance=["attended", "attended", "missed", None],
        hearing_aid=[True, None, True, True],
        booking_kind=["new", None, "new", "new"],
    )
    facts = facts_recorded(log, ears())
    assert (facts["hearing_aid"].recorded, facts["hearing_aid"].of) == (1, 2)
    assert (facts["booking_kind"].recorded, facts["booking_kind"].of) == (3, 4)
    assert facts["attendance"].share == 0.75


def test_minutes_copied_from_the_slot_are_not_recorded_minutes():
    log = visits(
        attendance=["attended"] * 4,
        minutes=[18.0, 20.0, 30.0, None],
        minutes_quality=["timed", "rounded", "filled_from_slot", "missing"],
    )
    assert facts_recorded(log, ears())["minutes"].share == 0.5


def test_an_ear_with_nothing_to_remove_needs_no_method():
    log = ears(
        visit_id=["v1", "v1", "v2"],
        outcome=["clear", "nothing_to_remove", None],
        methods=["fine_suction", "", None],
        grade=["fully_occluding", "clear", None],
    )
    facts = facts_recorded(visits(), log)
    assert (facts["methods"].recorded, facts["methods"].of) == (1, 2)
    assert (facts["grade"].recorded, facts["grade"].of) == (2, 3)


def test_an_empty_log_has_shares_of_nought():
    assert {fact.share for fact in facts_recorded(visits(), ears()).values()} == {0.0}


def test_the_kinds_of_minutes_add_up_to_the_attended_visits():
    log = visits(
        attendance=["attended"] * 5 + ["missed"],
        minutes=[18.0, 20.0, None, None, 400.0, None],
        minutes_quality=["timed", "filled_from_slot", "timed", None, "implausible", None],
    )
    assert minutes_known(log) == {"timed": 1, "filled_from_slot": 1, "rounded": 0, "missing": 2, "implausible": 1}


def test_ends_on_fives_are_whole_multiples_of_the_clock():
    log = visits(
        attendance=["attended"] * 5 + ["missed"],
        ended_at=pd.to_datetime(
            [
                "2026-03-02 09:20",
                "2026-03-02 09:41",
                "2026-03-02 10:05:30",
                "2026-03-02 11:00",
                None,
                "2026-03-02 12:00",
            ],
            format="ISO8601",
        ),
    )
    assert ends_on_fives(log) == (2, 4)
