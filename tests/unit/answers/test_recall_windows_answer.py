"""The answer on symptom windows and never-returners, and the share of new patients back."""

from functools import cache

import pandas as pd
import pytest

from analysis.answers.recall_models_windows import what_hangs_on_windows
from analysis.clinic import Clinic
from analysis.models.recall_back import new_patients_back
from analysis.present.answer import Answer
from analysis.present.tables import spoken_columns
from analysis.problems import NotEnough
from analysis.schema import GAPS, VISITS, typed_frame
from analysis.settings import settings_from_toml
from tests.truth.recall_world import World


@cache
def logged() -> tuple[pd.DataFrame, pd.DataFrame]:
    return World(patients=1200).log(11)


@cache
def answer() -> Answer:
    visits, ears = logged()
    return what_hangs_on_windows(Clinic(visits, ears, settings=settings_from_toml("")))


def months(**group) -> float:
    return next(row.value for row in answer().rows if row.group == {"share": 0.3, "group": "everyone"} | group)


def test_every_window_is_shown_both_ways_with_ranges():
    keys = {(row.group["window_days"], row.group["never"]) for row in answer().rows}
    assert keys == {(window, way) for window in (7, 14, 28, 56, 60) for way in ("estimated", "all_return")}
    assert all(row.low < row.value < row.high for row in answer().rows)
    assert {"months_all_return", "months_until", "return_share_shown"} <= set(answer().table.columns)
    assert "symptom window, days" in [column.heading for column in spoken_columns(answer().table)]


def test_a_shorter_window_and_everyone_returning_make_it_later():
    assert months(never="estimated", window_days=7) > months(never="estimated", window_days=56)
    for window in (7, 28, 60):
        assert months(never="all_return", window_days=window) > months(never="estimated", window_days=window)


def test_the_headline_gives_both_spans():
    assert "with symptom windows from 7 to 60 days, and by" in answer().headline
    assert "were everybody taken as returning" in answer().headline


def test_new_patients_back_are_told_beside_the_trial():
    check = next(check for check in answer().checks if check.name == "New patients back within two years")
    assert "Coppin 2011" in check.sentence


def test_where_all_were_called_the_window_says_nothing():
    visits, ears = logged()
    called = visits.assign(booking_kind=visits["booking_kind"].replace({"symptoms_return": "routine_recall"}))
    found = what_hangs_on_windows(Clinic(called, ears, settings=settings_from_toml("")))
    assert not found.answered
    assert "No return in the log was with symptoms" in found.headline


def returns(back_after: list[float | None]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """New patients cleared on one day, back after some days or not at all."""
    who = [f"p{place}" for place in range(len(back_after))]
    gaps = typed_frame(
        GAPS,
        pd.DataFrame(
            {
                "patient_key": who, "ear": "left", "cleared_on": pd.Timestamp("2023-01-02"), "watched_days": 900.0,
                "open_until_days": 0.0, "returned": [each is not None for each in back_after], "return_days": back_after,
            }
        ),
    )  # fmt: skip
    visits = pd.DataFrame({"visit_id": who, "patient_key": who, "attendance": "attended", "booking_kind": "new"})
    return gaps, typed_frame(VISITS, visits.assign(slot_start=pd.Timestamp("2023-01-02")))


LAST = pd.Timestamp("2025-06-20")


def test_the_share_back_is_counted_by_hand():
    gaps, visits = returns([100.0] * 20 + [800.0] * 10 + [None] * 30)
    assert new_patients_back(gaps, visits, last_day=LAST, days=730).value == pytest.approx(20 / 60)


def test_patients_known_before_are_left_out():
    gaps, visits = returns([100.0] * 20 + [None] * 30)
    visits.loc[:9, "booking_kind"] = "symptoms_return"
    found = new_patients_back(gaps, visits, last_day=LAST, days=730)
    assert (found.value, found.n) == (pytest.approx(10 / 40), 40)


def test_without_new_patients_or_long_watching_there_is_no_share():
    gaps, visits = returns([100.0] * 20 + [None] * 30)
    unnoted = visits.assign(booking_kind=pd.Series([None] * 50, dtype=visits["booking_kind"].dtype))
    with pytest.raises(NotEnough, match="no new patient"):
        new_patients_back(gaps, unnoted, last_day=LAST, days=730)
    with pytest.raises(NotEnough, match="watched for 36 months"):
        new_patients_back(gaps, visits, last_day=LAST, days=1096)
