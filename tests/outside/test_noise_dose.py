"""Noise dose against printed tables.

``values/noise_dose.json`` names each and how it is known.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from analysis.stats.noise_dose import LIMIT, UPPER_ACTION, allowed_minutes, daily_level, niosh_dose
from tests.outside.referee import approx

VALUES = json.loads((Path(__file__).parent / "values" / "noise_dose.json").read_text(encoding="utf-8"))
TO_THE_MINUTE = 0.6  # printed as whole minutes, longer ones as hours with 3 dB for a doubling, which is 3.01


@pytest.mark.parametrize(("level", "minutes"), VALUES["niosh"]["minutes"].items())
def test_minutes_allowed_are_those_printed(level, minutes):
    assert allowed_minutes(float(level)) == minutes


@pytest.mark.parametrize(("hours", "percent"), VALUES["niosh_dose"]["percent"].items())
def test_a_quiet_day_has_the_dose_printed(hours, percent):
    assert round(100 * niosh_dose(np.array([60 * float(hours)]), np.array([69.6])), 1) == percent


@pytest.mark.parametrize(("hours", "level"), VALUES["niosh_dose"]["level_twa"].items())
def test_a_quiet_day_has_the_level_printed(hours, level):
    assert round(daily_level(np.array([60 * float(hours)]), np.array([69.6])), 1) == level


@pytest.mark.parametrize(
    ("reached", "times"),
    [(LIMIT, VALUES["directive"]["to_87_minutes"]), (UPPER_ACTION, VALUES["directive"]["to_85_minutes"])],
)
def test_printed_times_reach_the_directives_levels(reached, times):
    for level, printed in times.items():
        minutes = 480 * 10 ** ((reached - float(level)) / 10)
        assert minutes == approx(printed, abs=TO_THE_MINUTE)
        assert daily_level(np.array([minutes]), np.array([float(level)])) == approx(reached)


@pytest.mark.parametrize(("level", "hours"), VALUES["canada"]["hours"].items())
def test_the_same_formula_gives_another_states_printed_hours(level, hours):
    minutes = 480 * 10 ** ((87 - float(level)) / 10)
    assert daily_level(np.array([minutes]), np.array([float(level)])) == approx(87)
    assert minutes / 60 == approx(hours, rel=0.032)  # printed to two figures


def test_a_day_in_parts_has_the_dose_of_its_parts_together():
    minutes, levels = np.array([3.0, 5.0]), np.array([100.0, 95.1])
    assert niosh_dose(minutes, levels) == approx(0.2 + 5 / allowed_minutes(95.1))


def test_a_day_without_suction_has_no_dose():
    assert niosh_dose(np.zeros(2), np.array([90.0, 80.0])) == 0
    assert daily_level(np.zeros(2), np.array([90.0, 80.0])) == float("-inf")
