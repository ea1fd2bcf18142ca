"""Headings to columns."""

import pytest

from analysis.intake.headers import known_columns, match_heading, match_headings, own_columns
from analysis.problems import DataProblem
from analysis.settings import Settings, settings_from_toml


@pytest.mark.parametrize(
    ("heading", "column"),
    [
        ("L wax", "grade_left"), ("Wax (left)", "grade_left"), ("Left ear - amount", "grade_left"), ("wax_L", "grade_left"),
        ("gradeLeft", "grade_left"), ("Ear R: method", "methods_right"), ("R. outcome", "outcome_right"),
        ("L middle ear", "middle_ear_left"), ("Right eardrum", "eardrum_right"), ("% blocked (R)", "percent_blocked_right"),
        ("Left minutes", "ear_minutes_left"), ("RE outcome", "outcome_right"),
        ("Pt. ID", "patient_number"), ("APPT NO.", "visit_id"), ("Slot (min)", "slot_minutes"), ("Slot", "slot_time"),
        ("Hearing aid (Y/N)", "hearing_aid"), ("NHS No.", "national_number"), ("d.o.b.", "birth_date"), ("Seen by (initials)", "practitioner"),
    ],
)  # fmt: skip
def test_heading(heading, column):
    assert match_heading(heading).column == column


def test_a_typing_error_in_a_heading_is_forgiven_and_marked():
    assert (match_heading("Practicioner").column, match_heading("Practicioner").certainty) == (
        "practitioner",
        "guessed",
    )


def test_an_unknown_heading_gets_a_suggestion_only():
    heading = match_heading("Appointment dates etc")
    assert (heading.column, heading.nearest) == ("", "date")


def test_the_clinics_own_headings_come_first():
    settings = settings_from_toml(
        '[columns]\n"Grade" = "booking_kind"\n"Stuff, left" = "grade_left"\n"Tray" = "ignore"'
    )
    found = match_headings(["grade", "Stuff, left", "Tray"], settings)
    assert found.columns == ["booking_kind", "grade_left"]
    assert found.all[2].column == "ignore"


def test_a_misspelt_column_in_the_settings_is_named_with_the_right_one():
    with pytest.raises(DataProblem, match=r'setting "columns.Stuff", value "grade_lft": .*Did you mean "grade_left"'):
        own_columns(settings_from_toml('[columns]\n"Stuff" = "grade_lft"'))


def test_of_two_headings_for_one_column_the_surer_one_fills_it():
    found = match_headings(["Practicioner", "Clinician", "Seen by"], Settings())
    assert (found.used, found.doubled) == ((1,), (0, 2))


def test_whether_drops_were_used_tells_of_the_agent_where_nothing_else_does():
    assert match_headings(["Used drops?"], Settings()).columns == ["softener"]
    assert match_headings(["Used drops?", "Softener"], Settings()).columns == ["softening_used", "softener"]


def test_every_column_of_the_visits_and_ears_can_be_named_in_the_settings():
    for name in (
        "patient_key",
        "slot_start",
        "grade_left",
        "methods_right",
        "ear",
        "ear_minutes",
        "birth_date",
        "ignore",
    ):
        assert name in known_columns()
