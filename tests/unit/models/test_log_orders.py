"""Each order that cannot be, and starts too near each other, counted by hand."""

import pandas as pd
import pytest

from analysis.models.log_orders import coinciding_starts, impossible_orders, visits_with_any
from analysis.schema import EAR_ROWS, VISITS, typed_frame


def at(time: str, day: str = "2026-03-02") -> pd.Timestamp:
    return pd.Timestamp(f"{day} {time}")


def visits(*rows: dict) -> pd.DataFrame:
    return typed_frame(
        VISITS, pd.DataFrame([{"attendance": "attended", "visit_id": f"v{n}"} | row for n, row in enumerate(rows)])
    )


def ears(*rows: dict) -> pd.DataFrame:
    return typed_frame(EAR_ROWS, pd.DataFrame([{"visit_id": "v0", "ear": "left"} | row for row in rows]))


def found(log: pd.DataFrame, of_ears: pd.DataFrame | None = None) -> dict[str, tuple[int, int]]:
    orders = impossible_orders(log, ears() if of_ears is None else of_ears, second_attempt_days=28)
    return {each.what: (len(each.visits), each.of) for each in orders}


@pytest.mark.parametrize(
    ("order", "right", "wrong"),
    [
        ("ended_before_started", {"started_at": at("09:00"), "ended_at": at("09:20")}, {"started_at": at("09:20"), "ended_at": at("09:00")}),
        ("arrived_after_ended", {"arrived_at": at("08:50"), "ended_at": at("09:20")}, {"arrived_at": at("09:30"), "ended_at": at("09:20")}),
        ("started_before_arrived", {"arrived_at": at("09:00"), "started_at": at("09:00")}, {"arrived_at": at("09:01"), "started_at": at("09:00")}),
        ("not_kept_yet_seen", {"attendance": "missed"}, {"attendance": "missed", "ended_at": at("09:20")}),
    ],
)  # fmt: skip
def test_times_that_cannot_be(order, right, wrong):
    assert found(visits(right))[order] == (0, 1)
    assert found(visits(wrong))[order] == (1, 1)
    assert found(visits({}))[order] == (0, 0)


def patient(key: str, day: str, kind: str = "symptoms_return", **more) -> dict:
    return {"patient_key": key, "slot_start": at("09:00", day), "booking_kind": kind} | more


def test_a_second_attempt_needs_a_visit_before_it_once_the_log_reaches_back():
    first, alone = patient("a", "2026-01-05"), patient("b", "2026-03-02", "second_attempt")
    assert found(visits(first, alone))["second_attempt_before_first"] == (1, 1)
    assert found(visits(first, patient("a", "2026-03-02", "second_attempt")))["second_attempt_before_first"] == (0, 1)
    assert found(visits(first, patient("b", "2026-01-20", "second_attempt")))["second_attempt_before_first"] == (0, 0)


def test_what_a_patients_visits_cannot_be():
    younger = visits(patient("a", "2026-01-05", age_band="60_74"), patient("a", "2026-03-02", age_band="40_59"))
    assert found(younger)["younger_than_before"] == (1, 1)
    older = visits(patient("a", "2026-01-05", age_band="40_59"), patient("a", "2026-03-02", age_band="60_74"))
    assert found(older)["younger_than_before"] == (0, 1)
    assert found(visits(patient("a", "2026-01-05"), patient("a", "2026-03-02", "new")))["new_yet_seen_before"] == (1, 1)
    assert found(visits(patient("a", "2026-01-05"), patient("a", "2026-01-05")))["twice_at_once"] == (1, 2)


def test_ears_that_exclude_themselves():
    worked = ears({"grade": "clear", "methods": "fine_suction", "outcome": "clear"})
    assert found(visits({}), worked)["clear_yet_worked_on"] == (1, 1)
    revised = ears({"grade": "clear", "grade_revised": "partly_occluding", "methods": "fine_suction"})
    assert found(visits({}), revised)["clear_yet_worked_on"] == (0, 0)
    nothing = ears({"grade": "non_occluding", "methods": "forceps", "outcome": "nothing_to_remove"})
    assert found(visits({}), nothing)["nothing_to_remove_yet_worked_on"] == (1, 1)
    left = ears({"grade": "clear", "outcome": "occluding_left"})
    assert found(visits({}), left)["clear_yet_left_occluding"] == (1, 1)


def test_a_visit_with_two_wrong_orders_counts_once():
    wrong = visits({"arrived_at": at("09:30"), "started_at": at("09:20"), "ended_at": at("09:00")})
    assert visits_with_any(impossible_orders(wrong, ears(), second_attempt_days=28)) == {"v0"}


def starts(*times: str, who: str = "Ash") -> pd.DataFrame:
    rows = [
        {"practitioner": who, "started_at": at(time), "ended_at": at(time) + pd.Timedelta(minutes=10)} for time in times
    ]
    return visits(*rows)


TWENTY = [f"{hour:02}:{minute:02}" for hour in range(8, 18) for minute in (0, 30)]


def test_two_starts_in_one_minute_and_starts_before_the_last_patient_left():
    log = starts(*TWENTY, "08:00", "09:05")
    (ash,) = coinciding_starts(log, log["practitioner"])
    assert (ash.starts, ash.same_minute, ash.overlapping) == (22, 2, 1)


def test_two_practitioners_may_start_in_one_minute():
    log = pd.concat([starts(*TWENTY), starts(*TWENTY, who="Yew")], ignore_index=True)
    assert [(each.part, each.same_minute) for each in coinciding_starts(log, log["practitioner"])] == [
        ("Ash", 0),
        ("Yew", 0),
    ]


def test_few_starts_or_nobody_named_say_nothing():
    log = starts(*TWENTY[:19])
    assert coinciding_starts(log, log["practitioner"]) == []
    unnamed = visits(*({"started_at": at(time)} for time in TWENTY))
    assert coinciding_starts(unnamed, pd.Series("nobody", index=unnamed.index)) == []
