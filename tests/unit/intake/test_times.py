"""Dates, times of day and durations."""

import pytest

from analysis.intake.clock_changes import clock_changes, zone_of
from analysis.intake.times import afternoon_unmarked, read_clock, read_date, read_minutes
from analysis.problems import DataProblem


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-01", "2026/3/1", "20260301", "01/03/2026", "1/3/26", "01.03.2026", "1-Mar-2026", "1 Mar 26", "1st March 2026",
        "March 1, 2026", "Sun 1 Mar 2026", "46082", "2026-03-01T09:05:00", "2026-03-01 00:00:00", "2026-03-01T09:05:00+00:00",
    ],
)  # fmt: skip
def test_one_day_in_many_styles(text):
    assert read_date(text).day == "2026-03-01"


def test_month_first_where_the_settings_say_so():
    assert read_date("03/04/2026", day_first=False).day == "2026-03-04"
    assert read_date("03/04/2026").day == "2026-04-03"


@pytest.mark.parametrize(
    "text", ["31/02/2026", "2026-13-01", "29/02/2026", "32 Jan 2026", "0206-03-01", "01/03/2026 25:00"]
)
def test_a_date_that_never_was_is_impossible_not_another_day(text):
    moment = read_date(text)
    assert (moment.day, moment.impossible) == (None, True)


@pytest.mark.parametrize("text", ["soon", "1/3", "12", "99999", "1 foo 2026", "Total"])
def test_what_is_no_date_is_not_called_impossible(text):
    moment = read_date(text)
    assert (moment.day, moment.impossible) == (None, False)


def test_a_date_that_only_fits_the_other_order_is_marked():
    moment = read_date("03/25/2026")
    assert (moment.impossible, moment.either_way) == (True, True)


@pytest.mark.parametrize(
    "text",
    [
        "9:05",
        "09:05",
        "09.05",
        "9.05",
        "0905",
        "905",
        "9:05 am",
        "9:05AM",
        "09:05:00",
        "9h05",
        "1899-12-31 09:05:00",
        "0.378472",
    ],
)
def test_one_time_in_many_styles(text):
    assert read_clock(text).clock == "09:05:00"


def test_noon_and_midnight_on_a_twelve_hour_clock():
    assert [read_clock(text).clock for text in ("12:10 am", "12:10 pm", "1 pm")] == ["00:10:00", "12:10:00", "13:00:00"]


@pytest.mark.parametrize("text", ["25:70", "24:00", "10:75", "13:00 am"])
def test_a_time_no_clock_shows(text):
    assert (read_clock(text).clock, read_clock(text).impossible) == (None, True)


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("25", 25), ("25 min", 25), ("25m", 25), ("25 mins.", 25), ("0:25", 25), ("00:25:00", 25), ("25:00", 25), ("1:05", 65),
        ("1h 5m", 65), ("1 hour", 60), ("1.5h", 90), ("25,5", 25.5), ("0.0173611", 25),
    ],
)  # fmt: skip
def test_durations(text, minutes):
    assert read_minutes(text) == minutes


@pytest.mark.parametrize("text", ["soon", "about 20", "20-25", "-5", "0:75", ""])
def test_what_is_no_duration(text):
    assert read_minutes(text) is None


def test_one_early_time_may_be_a_slip_two_are_a_twelve_hour_clock():
    read = {text: read_clock(text) for text in ("9:00", "11:30", "2:15", "3:45", "15:10")}
    assert not afternoon_unmarked([read["9:00"], read["2:15"]])
    assert afternoon_unmarked([read["9:00"], read["2:15"], read["3:45"]])
    assert not afternoon_unmarked(list(read.values()))


@pytest.mark.parametrize(
    ("text", "zone", "day", "clock", "offset"),
    [
        ("2026-07-01T09:05:00+01:00", "", "2026-07-01", "09:05:00", 60),
        ("2026-07-01T08:05:00Z", "", "2026-07-01", "08:05:00", 0),
        ("2026-07-01T08:05:00Z", "Europe/London", "2026-07-01", "09:05:00", 60),
        ("2026-01-01T08:05:00Z", "Europe/London", "2026-01-01", "08:05:00", 0),
        ("2026-06-30T23:35:00Z", "Australia/Brisbane", "2026-07-01", "09:35:00", 600),
        ("01/07/2026 09:05", "Europe/London", "2026-07-01", "09:05:00", None),
    ],
)
def test_a_time_with_its_offset_is_the_wall_clock_as_written_or_of_the_clinics_zone(text, zone, day, clock, offset):
    moment = read_date(text, zone=zone)
    assert (moment.day, moment.clock, moment.offset_minutes) == (day, clock, offset)


def test_a_time_alone_keeps_its_clock_because_an_offset_depends_on_the_day():
    moment = read_clock("09:05+01:00", zone="Europe/London")
    assert (moment.clock, moment.offset_minutes) == ("09:05:00", 60)


def test_a_time_zone_that_is_not_there_is_refused():
    with pytest.raises(DataProblem, match="There is no such time zone"):
        zone_of("Europe/Nowhere")


def test_days_of_clock_changes_are_those_of_the_law():
    """Last Sundays of March and October at 01:00 universal time, EU directive 2000/84/EC; Arizona has none."""
    changes = clock_changes("Europe/Paris")
    assert (changes["2026-03-29"], changes["2026-10-25"]) == (("02:00:00", "03:00:00"), ("02:00:00", "03:00:00"))
    assert "2026-10-24" not in changes
    assert clock_changes("America/Phoenix") == {}


@pytest.mark.parametrize("text", ["0:25", "25m", "25 min", "25 minutes", "25", "25.0", "25,0", "00:25:00", "25'"])
def test_one_length_in_many_styles(text):
    assert read_minutes(text) == 25


@pytest.mark.parametrize("text", ["1h05", "1 h 5 min", "1:05", "65 mins", "1hr 5m", "1 hour 5 minutes"])
def test_an_hour_and_five_minutes_in_many_styles(text):
    assert read_minutes(text) == 65


@pytest.mark.parametrize(("text", "clock"), [("46082", None), ("46082.375", "09:00:00"), ("46082,375", "09:00:00")])
def test_days_as_a_spreadsheet_counts_them(text, clock):
    moment = read_date(text)
    assert (moment.day, moment.clock) == ("2026-03-01", clock)
