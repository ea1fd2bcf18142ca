"""How the minutes of a visit are known: timed, rounded, filled from the slot, implausible, missing."""

import datetime as dt

import narwhals as nw
import pandas as pd
import pytest

from analysis.intake.engines import PandasEngine
from analysis.intake.minutes import habits_of, with_minutes
from analysis.settings import Settings, settings_from_toml

DAY = dt.datetime(2026, 3, 2, 9)


def visits(starts_and_ends, *, slot=20.0, who="Wren", attendance="attended", minutes=None):
    """Make bookings an hour apart that start and end so many minutes after their slot's start."""
    rows = []
    for number, (start, end) in enumerate(starts_and_ends):
        at = DAY + dt.timedelta(hours=number)
        rows.append({
            "visit_id": f"{who}{number}", "system": "s", "practitioner": who, "attendance": attendance, "slot_start": at,
            "slot_minutes": slot, "started_at": None if start is None else at + dt.timedelta(minutes=start),
            "ended_at": None if end is None else at + dt.timedelta(minutes=end), "minutes": minutes, "has_clock": True, "clock_shift": None,
        })  # fmt: skip
    frame = pd.DataFrame(rows)
    texts = dict.fromkeys(("visit_id", "system", "practitioner", "attendance"), "str")
    for moment in ("slot_start", "started_at", "ended_at"):  # the chain counts seconds
        frame[moment] = (pd.to_datetime(frame[moment]) - pd.Timestamp(0)).dt.total_seconds()
    return frame.astype(texts | {"minutes": "float64", "clock_shift": "float64"})


def judged(*frames, settings=None):
    """Judge bookings; give how the minutes of each are known."""
    settings = settings or Settings()
    visits, table = nw.from_native(pd.concat(frames, ignore_index=True)), PandasEngine().table
    made = with_minutes(visits, habits_of([visits], settings, table), settings).to_native()
    return made.set_index("visit_id")


TIMED = [(n % 4, n % 4 + 12 + n % 13) for n in range(60)]
"""Lengths of 12 to 24 minutes, each about as often."""


def test_lengths_that_meet_the_slot_no_more_often_than_others_are_timed():
    assert set(judged(visits(TIMED))["minutes_quality"]) == {"timed"}


def test_the_slots_own_length_far_too_often_is_filled_in():
    made = judged(visits(TIMED + [(3, 23)] * 30))
    assert (made["minutes_quality"].value_counts().to_dict()) == {"timed": 56, "filled_from_slot": 34}
    assert set(made.loc[made["minutes_quality"] == "filled_from_slot", "minutes"]) == {20.0}


def test_the_slots_own_end_far_too_often_is_filled_in_whatever_the_start():
    made = judged(visits([(n % 6 + 1, 12 + n % 17) for n in range(60)] + [(n % 6 + 1, 20) for n in range(30)]))
    assert set(made["minutes_quality"][60:]) == {"filled_from_slot"}


def test_start_and_end_of_the_slot_is_filled_in_where_few_start_on_the_slot():
    made = judged(visits([(1 + n % 3, 13 + n % 13 + n % 3) for n in range(200)] + [(0, 20)] * 10))
    assert set(made["minutes_quality"][200:]) == {"filled_from_slot"}
    assert set(made["minutes_quality"][:200]) == {"timed"}


def test_one_practitioners_habit_is_not_anothers():
    made = judged(visits(TIMED + [(3, 23)] * 30), visits([*TIMED, (3, 23)], who="Heron"))
    assert made.loc["Heron60", "minutes_quality"] == "timed"


def test_too_few_visits_to_judge_a_habit_by_count_as_timed():
    assert set(judged(visits([(0, 20)] * 19))["minutes_quality"]) == {"timed"}


def test_times_that_are_almost_all_multiples_of_five_are_rounded():
    rounded = [(5 * (n % 2), 5 * (n % 2) + 10 + 5 * (n % 5)) for n in range(40)]
    assert set(judged(visits(rounded))["minutes_quality"]) == {"rounded"}
    assert set(judged(visits([*rounded, *TIMED[:20]]))["minutes_quality"]) == {"timed"}


@pytest.mark.parametrize(("end", "quality"), [(1, "implausible"), (2, "timed"), (120, "timed"), (121, "implausible")])
def test_minutes_outside_the_settings_are_implausible_and_the_bounds_are_not(end, quality):
    assert judged(visits([(0, end)]))["minutes_quality"].tolist() == [quality]


def test_the_bounds_are_the_clinics():
    settings = settings_from_toml("[visit_time]\nlongest_minutes = 60")
    assert judged(visits([(0, 61)]), settings=settings)["minutes_quality"].tolist() == ["implausible"]


def test_an_end_before_the_start_is_implausible_and_has_no_minutes():
    made = judged(visits([(20, 0)]))
    assert made["minutes_quality"].tolist() == ["implausible"]
    assert made["minutes"].isna().all()


def test_a_column_of_minutes_stands_in_where_a_start_or_end_lacks():
    made = judged(visits([(0, None), (0, 18)], minutes=25.0))
    assert made["minutes"].tolist() == [25.0, 18.0]


def test_without_any_of_them_minutes_are_missing():
    assert judged(visits([(0, None)]))["minutes_quality"].tolist() == ["missing"]


@pytest.mark.parametrize("attendance", ["missed", "cancelled_late", "cancelled", "moved"])
def test_a_booking_that_was_not_kept_has_no_minutes_and_no_word_on_them(attendance):
    made = judged(visits([(0, 18)], attendance=attendance))
    assert made[["minutes", "minutes_quality"]].isna().all(axis=None)


@pytest.mark.parametrize(
    ("zone", "shift", "quality", "minutes"),
    [("", None, "timed", 20), ("Europe/London", None, "implausible", None), ("Europe/London", 0.0, "timed", 20)],
)
def test_minutes_over_the_hour_that_comes_twice_are_known_only_by_their_offsets(zone, shift, quality, minutes):
    night = visits([(0, 20)])
    for moment in ("slot_start", "started_at", "ended_at"):
        night[moment] += (pd.Timestamp("2026-10-25 00:50") - pd.Timestamp(DAY)).total_seconds()
    night["clock_shift"] = night["clock_shift"].astype("float64") if shift is None else shift
    made = judged(night, settings=settings_from_toml(f'[export]\ntime_zone = "{zone}"'))
    assert made["minutes_quality"].item() == quality
    assert made["minutes"].item() == minutes or (minutes is None and pd.isna(made["minutes"].item()))


def test_minutes_are_those_that_passed_whatever_was_done_to_the_clock():
    night = visits([(0, -30)])  # from 01:50 to 01:20 by the clock, put back by an hour between
    night["clock_shift"] = -60.0
    assert judged(night)["minutes"].item() == 30
