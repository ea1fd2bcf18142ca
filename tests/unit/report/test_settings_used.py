"""The settings written beside a report read back as the same settings."""

import pytest

from analysis.report.settings_used import settings_mark, settings_text
from analysis.settings import Settings, settings_from_toml

TOML = """
[clinic]
name = "Ear \\"N\\" & Ohr\\tGrün"
last_day = 2026-09-30
show_practitioner_names = true
[slots]
grid_minutes = 10
today = { new = 40, routine_recall = 20 }
[softening_test]
advised = [2027-01-04, 2027-01-18]
[columns]
"Slot start" = "slot_start"
[words.grade]
"2/3 blocked" = "partly_occluding"
"semi.occ" = "partly_occluding"
[words.attendance]
"DNA" = "missed"
"""


@pytest.mark.parametrize("settings", [Settings(), settings_from_toml(TOML)])
def test_settings_read_back_as_they_were(settings):
    assert settings_from_toml(settings_text(settings)) == settings


def test_the_mark_changes_with_any_setting_and_only_then():
    assert settings_mark(settings_from_toml(TOML)) == settings_mark(settings_from_toml(TOML))
    changed = TOML.replace("new = 40", "new = 45")
    assert settings_mark(settings_from_toml(changed)) != settings_mark(settings_from_toml(TOML))
