"""Did we keep to time: counted by hand, slots beside minutes, lacking columns left out."""

import pandas as pd
import pytest

from analysis.answers.punctuality import did_we_keep_to_time
from analysis.clinic import Clinic
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml


def clinic(late: list[int], minutes: list[float], *, quality: str = "timed", **columns) -> Clinic:
    """Make a visit a day in summer 2026, so many minutes late and so many long, in slots of 30."""
    visits = pd.DataFrame(
        {"minutes": minutes, "minutes_quality": quality, "slot_minutes": 30.0, "attendance": "attended"}
    )
    visits["slot_start"] = pd.date_range("2026-07-01 09:00", periods=len(visits), freq="D")
    visits["started_at"] = visits["slot_start"] + pd.to_timedelta(late, unit="m")
    visits["booking_kind"] = ["new", "symptoms_return"] * (len(visits) // 2)
    visits["visit_id"] = [f"v{row}" for row in visits.index]
    toml = "[clinic]\nhide_below = 1\nlast_day = 2026-09-30"
    return Clinic(
        typed_frame(VISITS, visits.assign(**columns)),
        typed_frame(EAR_ROWS, pd.DataFrame()),
        settings=settings_from_toml(toml),
    )


def share(answer, measure: str, part: str) -> float:
    table = answer.table.set_index(["measure", "part"])
    return table.loc[(measure, part), "quarter_share"]


LATE, LONG = [0, 5, 6, 20] * 10, [20.0, 30.0, 31.0, 45.0] * 10


def test_five_minutes_late_is_on_time_and_thirty_minutes_fill_a_slot_of_thirty():
    answer = did_we_keep_to_time(clinic(LATE, LONG), "2026-Q3")
    assert share(answer, "started within 5 minutes of the slot", "whole clinic") == 0.5
    assert share(answer, "longer than the slot", "whole clinic") == 0.5
    assert "half took no more than 30 minutes, and half of the slots were no longer than 30" in answer.headline


def test_kinds_of_booking_are_told_apart_with_their_minutes():
    answer = did_we_keep_to_time(clinic(LATE, LONG), "2026-Q3")
    rows = answer.table[answer.table["measure"] == "longer than the slot"].set_index("part")
    assert rows.loc["new patient", ["half_within_minutes", "slot_minutes"]].tolist() == [25.5, 30]


def test_copied_ends_count_neither_as_on_time_nor_as_within_the_slot():
    assert not did_we_keep_to_time(clinic(LATE, LONG, quality="filled_from_slot"), "2026-Q3").answered


@pytest.mark.parametrize(
    "column", ["minutes", "minutes_quality", "slot_minutes", "started_at", "booking_kind", "practitioner"]
)
def test_each_column_may_be_lacking(column):
    whole = clinic(LATE, LONG)
    visits = typed_frame(VISITS, whole.visits.drop(columns=column))
    assert did_we_keep_to_time(Clinic(visits, whole.ears, settings=whole.settings), "2026-Q3").headline


def test_a_log_with_one_time_a_visit_says_nothing_of_starts_on_time():
    answer = did_we_keep_to_time(clinic([0] * 40, LONG), "2026-Q3")
    assert not any("started within" in measure for measure in answer.table["measure"])
    assert "longer than the slot" in set(answer.table["measure"])
