"""Half-day sessions, booking by booking."""

import pandas as pd

from analysis.derive.sessions import sessions
from analysis.schema import SESSIONS, VISITS, typed_frame


def log(*rows: tuple) -> pd.DataFrame:
    columns = ["visit_id", "site", "practitioner", "slot_start", "attendance"]
    frame = pd.DataFrame(rows, columns=columns)
    return typed_frame(VISITS, frame.assign(slot_start=pd.to_datetime(frame["slot_start"])))


def test_a_half_day_is_one_practitioners_bookings_in_order():
    found = sessions(
        log(
            ("v3", "Harbour", "A", "2026-03-02 09:40", "attended"),
            ("v1", "Harbour", "A", "2026-03-02 09:00", "attended"),
            ("v2", "Harbour", "B", "2026-03-02 09:20", "missed"),
        )
    )
    assert list(found.columns) == SESSIONS.names
    assert found[["session_id", "position", "visit_id"]].to_numpy().tolist() == [
        ["2026-03-02 morning 1", 1, "v1"],
        ["2026-03-02 morning 1", 2, "v3"],
        ["2026-03-02 morning 2", 1, "v2"],
    ]


def test_the_afternoon_begins_at_one():
    found = sessions(
        log(("v1", "H", "A", "2026-03-02 12:59", "attended"), ("v2", "H", "A", "2026-03-02 13:00", "attended"))
    )
    assert found["half"].tolist() == ["morning", "afternoon"]
    assert found["position"].tolist() == [1, 1]


def test_bookings_that_gave_their_slot_up_or_have_none_are_not_listed():
    found = sessions(
        log(
            ("v1", "H", "A", "2026-03-02 09:00", "cancelled"),
            ("v2", "H", "A", "2026-03-02 09:20", "moved"),
            ("v3", "H", "A", "2026-03-02 09:40", "cancelled_late"),
            ("v4", "H", "A", None, "attended"),
        )
    )
    assert found["visit_id"].tolist() == ["v3"]
    assert found["position"].tolist() == [1]


def test_without_practitioner_and_site_a_half_day_is_one_session():
    found = sessions(
        log(("v1", None, None, "2026-03-02 09:00", "attended"), ("v2", None, None, "2026-03-02 09:20", "missed"))
    )
    assert found["session_id"].tolist() == ["2026-03-02 morning 1"] * 2
    assert found["position"].tolist() == [1, 2]


def test_lateness_is_counted_from_the_slot_and_blank_where_nobody_noted_it():
    visits = log(("v1", "H", "A", "2026-03-02 09:00", "attended"), ("v2", "H", "A", "2026-03-02 09:20", "attended"))
    visits["arrived_at"] = pd.to_datetime(["2026-03-02 08:53", None])
    late = sessions(visits)["late_minutes"]
    assert late.iloc[0] == -7.0
    assert late.isna().tolist() == [False, True]


def test_no_visits_make_no_sessions():
    found = sessions(log())
    assert list(found.columns) == SESSIONS.names
    assert found.empty
