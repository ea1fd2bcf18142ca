"""Suction noise: off until measured, worked out by hand, workers' limits and never patients'."""

import pandas as pd
import pytest

from analysis.answers.suction_noise import suction_noise
from analysis.clinic import Clinic
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml

MEASURED = """
[monitoring]
wide_suction_level = 100.0
wide_suction_minutes = 3.0
fine_suction_level = 85.0
fine_suction_minutes = 4.8
"""


def clinic(methods: list[str], *, toml: str = MEASURED, days: int = 20, **columns) -> Clinic:
    """Make days on which one practitioner works on these ears."""
    rows = [
        {"slot_start": pd.Timestamp("2026-07-01 09:00") + pd.Timedelta(days=day, minutes=20 * ear), "methods": method}
        for day in range(days)
        for ear, method in enumerate(methods)
    ]
    table = pd.DataFrame(rows)
    table["visit_id"] = [f"v{row}" for row in table.index]
    visits = table.assign(**({"attendance": "attended", "practitioner": "Elm"} | columns))
    ears = table.assign(ear="left")
    day = "\n[clinic]\nlast_day = 2026-09-30"
    return Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, ears), settings=settings_from_toml(toml + day))


def figure(answer, quantity: str) -> float:
    return next(each.value for each in answer.rows if each.quantity == quantity and each.group == {"q": 0.5})


def test_two_ears_of_three_minutes_at_100_are_two_fifths_of_the_dose():
    answer = suction_noise(clinic(["wide_suction", "wide_suction>hook_or_loop"]), "2026-Q3")
    assert figure(answer, "noise_dose") == pytest.approx(0.4)


def test_wide_and_fine_add_up():
    answer = suction_noise(clinic(["wide_suction>fine_suction"]), "2026-Q3")
    assert figure(answer, "noise_dose") == pytest.approx(3 / 15 + 4.8 / 480)


def test_the_daily_level_spreads_the_energy_over_eight_hours():
    answer = suction_noise(clinic(["fine_suction"] * 100), "2026-Q3")
    assert figure(answer, "noise_daily_level") == pytest.approx(85.0)


def test_nothing_is_said_until_it_is_measured():
    assert not suction_noise(clinic(["wide_suction"], toml=""), "2026-Q3").answered
    only_fine = "[monitoring]\nfine_suction_level = 80.0\nfine_suction_minutes = 3.0"
    assert not suction_noise(clinic(["wide_suction"], toml=only_fine), "2026-Q3").answered
    assert suction_noise(clinic(["fine_suction"], toml=only_fine), "2026-Q3").answered


def test_it_says_whose_limits_they_are():
    answer = suction_noise(clinic(["wide_suction"]), "2026-Q3")
    assert "limits for people at work" in answer.cautions[0]


def test_without_methods_or_days_there_is_no_answer():
    assert not suction_noise(clinic(["irrigation"]), "2026-Q3").answered
    assert not suction_noise(clinic(["wide_suction"], days=9), "2026-Q3").answered
