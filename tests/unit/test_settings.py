"""A misspelt or impossible setting is told in one line; everything else has a default."""

import datetime as dt

import pytest

from analysis.clinic import read_settings
from analysis.problems import DataProblem
from analysis.settings import Settings, settings_from_toml, settings_template


def test_an_empty_file_gives_every_default():
    assert settings_from_toml("") == Settings()


def test_the_template_says_what_the_defaults_say():
    assert settings_from_toml(settings_template()) == Settings()


def test_settings_are_read():
    settings = settings_from_toml(
        """
        [clinic]
        last_day = 2026-09-30
        [slots]
        grid_minutes = 10
        price_wait = 2
        [slots.today]
        new = 30
        [columns]
        "Oil?" = "softening_advised"
        [words.grade]
        "choc a bloc" = "fully_occluding"
        """
    )
    assert settings.clinic.last_day == dt.date(2026, 9, 30)
    assert settings.slots.today == {"new": 30}
    assert settings.slots.price_wait == 2.0
    assert settings.words["grade"]["choc a bloc"] == "fully_occluding"


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("share = 0,2", "For share = 0,2 write share = 0.2, with a point."),
        ("share = 20%", "For share = 20% write share = 0.2, with a point and no per cent sign."),
        ("share = 12,5 %  # mine", "For share = 12,5 % write share = 0.125, with a point and no per cent sign."),
        ("share = 0,2\nwithin_months = 24", "For share = 0,2 write share = 0.2, with a point."),
        ("share = 20.5%", "For share = 20.5% write share = 0.205, with a point and no per cent sign."),
        ("share = half", "Look at that line"),
        ("share = 1,2,3", "Look at that line"),
        ("share = ", "Look at that line"),
    ],
)
def test_a_number_with_a_comma_or_a_per_cent_sign_is_told_how_to_write(line, told):
    with pytest.raises(DataProblem, match="These settings cannot be read") as problem:
        settings_from_toml(f"[recall]\n{line}")
    assert problem.value.remedy.startswith(told)


def test_declared_changes_are_read_in_order_of_time():
    settings = settings_from_toml(
        """
        [monitoring]
        changes = { 2026-01-05 = "second chair", 2025-02-03 = " new room " }
        """
    )
    assert list(settings.monitoring.changes.items()) == [
        (dt.date(2025, 2, 3), "new room"),
        (dt.date(2026, 1, 5), "second chair"),
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[recall]\nshar = 0.3", 'setting "recall.shar": There is no such setting. Did you mean recall.share?'),
        ("[recal]\nshare = 0.3", "Did you mean [recall]?"),
        ("[recall]\nshare = 3.0", 'setting "recall.share", value "3.0": This setting cannot be used.'),
        (
            "[recall]\nshare = 20",
            "share of ears occluding again at which to call back. Write a number from 0.05 to 0.9.",
        ),
        ("[clinic]\nhide_below = 0", "meant to leave the clinic. Write a whole number from 1 to 50."),
        ("[export]\nday_first = 1", "Write true or false."),
        ('[softening_test]\nunit = "month"', "Write one of: 'week', 'day'."),
        ('[recall]\nshare = "a third"', 'value "a third"'),
        ("[slots]\ngrid_minutes = 7", "slots are multiples of this (5 or 10)"),
        ("[slots]\nprice_wait = -1", 'setting "slots.price_wait"'),
        ("[slots.today]\nnew = 0", 'setting "slots.today"'),
        ("[slots.today]\nnewish = 20", "Did you mean slots.today.new?"),
        ("[clinic]\nshow_practitioner_names = 1", 'setting "clinic.show_practitioner_names"'),
        ("[recall]\nshare = ", "a number stands without quotation marks"),
        ("[columns]\n[columns]", "A part stands there twice"),
        ("name = 1", "There is no such setting"),
        ("[words]\ngrade = 1", "[words] is not written as expected"),
        ('[monitoring]\nchanges = { spring = "new room" }', 'e.g. { 2026-01-05 = "second chair" }'),
        ("[monitoring]\nchanges = { 2026-01-05 = 2 }", 'setting "monitoring.changes"'),
        ('[monitoring]\nchanges = { 2026-01-05 = " " }', 'setting "monitoring.changes"'),
    ],
)
def test_a_wrong_setting_is_told_with_its_remedy(text, told):
    with pytest.raises(DataProblem) as problem:
        settings_from_toml(text)
    assert told in str(problem.value)
    assert str(problem.value).startswith("clinic.toml")


def test_settings_that_are_not_utf8_are_told(tmp_path):
    (tmp_path / "clinic.toml").write_bytes("[clinic]\nname = 'Caf\xe9'".encode("cp1252"))
    with pytest.raises(DataProblem, match="not UTF-8"):
        read_settings(tmp_path)


def test_days_of_a_test_are_read_and_anything_else_is_refused():
    settings = settings_from_toml("[softening_test]\nadvised = [2027-01-04, 2027-01-18]")
    assert settings.softening_test.advised == (dt.date(2027, 1, 4), dt.date(2027, 1, 18))
    for wrong in ('["4 January"]', "2027-01-04", "[2027-01-04T09:00:00]"):
        with pytest.raises(DataProblem, match=r"softening_test\.advised"):
            settings_from_toml(f"[softening_test]\nadvised = {wrong}")
