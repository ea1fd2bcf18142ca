"""A fair test of one's own: its length, its list, and what is said of one that ran."""

from __future__ import annotations

import dataclasses

import pandas as pd
import pytest

from analysis.answers.softening_trial import list_for_the_test, plan_fair_test, what_the_test_found
from analysis.clinic import Clinic
from analysis.demo import invented_clinic
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml

MONDAYS = pd.date_range("2026-01-05", periods=12, freq="7D")
ADVISED = ", ".join(f"{day:%Y-%m-%d}" for day in MONDAYS[[0, 3, 4, 6, 9, 11]])
RAN = f"[softening_test]\nfirst_day = 2026-01-05\nlast_day = 2026-03-29\nadvised = [{ADVISED}]"


@pytest.fixture(scope="module")
def clinic() -> Clinic:
    made = invented_clinic()
    return Clinic(made.visits, made.ears)


def with_settings(clinic: Clinic, text: str) -> Clinic:
    return dataclasses.replace(clinic, settings=settings_from_toml(text))


def test_the_plan_says_how_many_weeks_and_leaves_ethics_to_local_rules(clinic):
    answer = plan_fair_test(clinic)
    assert "A test of 12 weeks" in answer.headline
    assert any("service evaluation or research is for local rules to decide" in each for each in answer.cautions)
    assert any("not stopped early" in each for each in answer.assumptions)


def test_no_room_for_the_difference_is_said(clinic):
    answer = plan_fair_test(with_settings(clinic, "[softening_test]\ndifference = 0.4"))
    assert "leaves no room for 40 more in 100" in answer.headline


def test_the_list_is_the_same_for_the_same_seed_and_another_for_another(clinic):
    lists = [
        list_for_the_test(with_settings(clinic, f"[softening_test]\nseed = {seed}")).table["period_advice"].tolist()
        for seed in (1, 1, 2)
    ]
    assert lists[0] == lists[1] != lists[2]
    assert lists[0].count("advise softening") == 6


def test_a_list_of_days_falls_on_days_the_clinic_is_open(clinic):
    answer = list_for_the_test(with_settings(clinic, '[softening_test]\nunit = "day"\nfirst_day = 2027-01-04'))
    days = pd.to_datetime(answer.table["period_starts"], format="%d %B %Y")
    opened = clinic.visits.loc[clinic.visits["attendance"] == "attended", "slot_start"].dt.day_of_week
    assert set(days.dt.day_of_week) <= set(opened)


def test_without_a_test_in_the_settings_it_says_what_to_write(clinic):
    answer = what_the_test_found(clinic)
    assert not answer.answered
    assert "softening_test.first_day" in answer.headline


def test_a_list_the_clinic_did_not_keep_is_seen(clinic):
    # these weeks were never a test: advice stands at as many visits with it as without
    answer = what_the_test_found(with_settings(clinic, RAN))
    assert answer.answered
    assert answer.table["periods"].tolist() == [6, 6]
    assert "The nearer these are" in answer.checks[0].sentence


def test_without_a_list_the_record_decides_only_where_it_is_clear(clinic):
    dates = "[softening_test]\nfirst_day = 2026-01-05\nlast_day = 2026-03-29"
    assert "does not say clearly" in what_the_test_found(with_settings(clinic, dates)).headline
    start = clinic.visits["slot_start"].dt.normalize()
    monday = start - pd.to_timedelta(start.dt.day_of_week.fillna(0), unit="D")
    kept = clinic.visits.assign(softening_advised=monday.isin(MONDAYS[[0, 3, 4, 6, 9, 11]]).astype("boolean"))
    found = what_the_test_found(with_settings(Clinic(kept, clinic.ears), dates))
    listed = what_the_test_found(with_settings(Clinic(kept, clinic.ears), RAN))
    assert found.answered
    assert found.rows[0].value == listed.rows[0].value


def test_a_short_test_or_an_empty_log_gives_no_figure(clinic):
    short = RAN.replace("2026-03-29", "2026-02-01")
    assert "4 of each are needed" in what_the_test_found(with_settings(clinic, short)).headline
    empty = with_settings(Clinic(typed_frame(VISITS, pd.DataFrame()), typed_frame(EAR_ROWS, pd.DataFrame())), RAN)
    assert not any(ask(empty).answered for ask in (plan_fair_test, list_for_the_test, what_the_test_found))
