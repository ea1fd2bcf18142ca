"""What stands below a heading has a say in what it is taken for."""

import pytest

from analysis.intake.headers import match_headings
from analysis.intake.heading_content import judged, sample_of
from analysis.settings import Settings, settings_from_toml


def columns(table, settings=""):
    """Give the column each heading of a small table (heading to values) is taken for."""
    found = match_headings(list(table), settings_from_toml(settings), list(table.values()).__getitem__)
    return {each.text: each.column for each in found.all}


@pytest.mark.parametrize(
    ("heading", "values", "column"),
    [
        ("Booked for", ["30 mins", "20 mins"], "slot_minutes"),
        ("Booked for", ["09:30", "14:00"], "slot_time"),
        ("Booked for", ["01/03/2026", "02/03/2026"], "date"),
        ("Booked at", ["09:30", "14:00"], "slot_time"),
        ("Booked at", ["01/03/2026", "02/03/2026"], "booked_on"),
        ("Slot length", ["0:25", "0:30"], "slot_minutes"),
        ("Client", ["Ann Hill", "Bo Dale"], "patient_name"),
        ("Client", ["C-104", "C-105"], "patient_number"),
        ("Customer", ["10045", "10046"], "patient_number"),
        ("Arrived", ["yes", "no"], "attendance"),
        ("Arrived", ["09:12", "14:01"], "arrived_at"),
        ("Outcome", ["Attended", "DNA", "Cancelled"], "attendance"),
        ("Outcome", ["cleared", "small amount left"], "outcome"),
        ("Wax (L)", ["hard", "soft", "dry"], "debris_left"),
        ("Wax (L)", ["L full, R clear", "both semi"], "grade_left"),
        ("Age", ["60-74", "75+"], "age_band"),
        ("Age", ["61", "77"], "age"),
    ],
)
def test_a_heading_is_taken_for_what_stands_below_it(heading, values, column):
    assert columns({heading: values})[heading] == column


@pytest.mark.parametrize(
    ("heading", "values"),
    [
        ("Start", ["25 min", "30 min"]),
        ("Date", ["yes", "no"]),
        ("Fee", ["yes", "no"]),
        ("Type", ["Ann Hill", "Bo Dale", "Cy Moss"]),
        ("Status", ["07700 900123", "07700 900456"]),
    ],
)
def test_content_that_cannot_be_what_the_heading_says_keeps_it_from_being_read(heading, values):
    assert columns({heading: values})[heading] == ""


def test_drops_beforehand_yes_or_no_beside_which_drops():
    table = {"Drops beforehand?": ["yes", "no"], "Which drops": ["olive oil", "none"]}
    assert columns(table) == {"Drops beforehand?": "softening_used", "Which drops": "softener"}
    assert columns({"Drops": ["yes", "no"], "Agent": ["olive oil", "bicarb"]})["Drops"] == "softening_used"


def test_drops_yes_or_no_with_no_agent_beside_them_tell_of_an_agent_that_is_not_named():
    assert columns({"Drops": ["yes", "no"]}) == {"Drops": "softener"}


def test_the_clinics_own_word_on_a_heading_is_not_overruled():
    assert columns({"Booked for": ["30 mins"]}, '[columns]\n"Booked for" = "booked_on"') == {"Booked for": "booked_on"}


def test_half_of_the_values_are_enough_for_the_heading():
    values = ["01/03/2026", "30 mins"]
    assert judged("booked_on", values, Settings()) == ("booked_on", "")
    assert judged("booked_on", [*values, "20 mins", "15 mins", "10 mins"], Settings())[0] == "slot_minutes"


def test_an_empty_column_says_nothing():
    assert judged("booked_on", [], Settings()) == ("booked_on", "")


def test_the_sample_does_not_depend_on_the_order_of_the_rows():
    rows = [[f"{number}"] for number in range(1000)]
    assert sample_of(rows)(0) == sample_of(rows[::-1])(0)
    assert len(sample_of(rows)(0)) == 200


def test_intake_says_why_a_column_was_not_read(take):
    rows = "".join(f"0{day}/03/2026,{day},{name}\n" for day, name in enumerate(("Ann Hill", "Bo Dale", "Cy Moss"), 1))
    record = take({"log.csv": f"Date,Patient no,Type\n{rows}"}).record
    assert record["files"][0]["headings"]["unknown"] == {"Type": ""}
    assert "The content does not fit the heading: its values look like names." in record["to_mend"][0]
    assert "Ann" not in str(record)
