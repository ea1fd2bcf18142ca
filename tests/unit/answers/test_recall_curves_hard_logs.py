"""Recall on logs that hold little or contradict themselves: plain answers from every recall answer, no figure made up."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from analysis.answers.recall import when_to_call_back
from analysis.answers.recall_models import does_the_curve_fit
from analysis.answers.recall_models_facts import what_goes_with_filling_sooner
from analysis.answers.recall_models_groups import how_soon_by_group
from analysis.answers.recall_models_scores import which_curve_foretells_best
from analysis.answers.recall_models_windows import what_hangs_on_windows
from analysis.answers.recall_uptake import did_people_come_when_due
from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.problems import DataProblem
from analysis.settings import settings_from_toml
from tests.truth.recall_world import World

ASKED = [
    when_to_call_back,
    does_the_curve_fit,
    which_curve_foretells_best,
    what_goes_with_filling_sooner,
    what_hangs_on_windows,
    how_soon_by_group,
]
RULE = "[recall]\ntoday_months = 12\n"


@cache
def logged() -> tuple[pd.DataFrame, pd.DataFrame]:
    visits, ears = World(patients=600).log(4)
    ages = pd.Series(np.resize(["60_74", "40_59"], len(visits)), index=visits.index)
    steady = ages.groupby(visits["patient_key"]).transform("first")
    return visits.assign(age_band=steady.astype(visits["age_band"].dtype)), ears


def of(visits: pd.DataFrame, toml: str = "") -> Clinic:
    ears = logged()[1]
    return Clinic(visits, ears[ears["visit_id"].isin(visits["visit_id"])], settings=settings_from_toml(toml))


def sound(found: Answer) -> bool:
    """Whether every figure is a number within its range."""
    return all(
        np.isfinite([row.value, row.low, row.high]).all() and row.low <= row.value <= row.high
        for row in found.rows
        if row.low is not None
    )


@pytest.mark.parametrize("ask", ASKED, ids=lambda ask: ask.__name__)
def test_one_visit_a_patient_has_no_figure(ask):
    found = ask(of(logged()[0].drop_duplicates("patient_key")))
    assert not found.answered
    assert found.rows == ()
    assert "Nobody has come back yet after an ear was cleared." in found.headline


@pytest.mark.parametrize("ask", ASKED, ids=lambda ask: ask.__name__)
def test_a_log_that_ends_before_anyone_is_back_has_no_figure(ask):
    visits = logged()[0]
    found = ask(of(visits, f"[clinic]\nlast_day = {visits['slot_start'].min():%Y-%m-%d}"))
    assert not found.answered
    assert found.rows == ()


def all_back_in_one_month() -> pd.DataFrame:
    """Everyone's later visits moved to the days of one January; one a patient, as a patient comes once in a month."""
    visits = logged()[0].sort_values("slot_start", kind="stable")
    again = visits.duplicated("patient_key")
    kept = visits[~again | ~visits[again].duplicated("patient_key").reindex(visits.index, fill_value=False)]
    again = kept.duplicated("patient_key")
    day = pd.Timestamp("2026-01-05 10:00") + pd.to_timedelta(np.arange(len(kept)) % 25, unit="D")
    return kept.assign(slot_start=kept["slot_start"].where(~again, pd.Series(day, index=kept.index)))


@pytest.mark.parametrize("ask", ASKED, ids=lambda ask: ask.__name__)
def test_all_returns_in_one_month_give_a_sound_answer_or_none(ask):
    found = ask(of(all_back_in_one_month()))
    assert sound(found)
    assert found.answered or found.headline.startswith("No figure yet.")


def test_a_patient_with_two_years_of_birth_has_no_age_and_counts_all_the_same():
    visits = logged()[0].copy()
    twice = visits.loc[visits.duplicated("patient_key"), "patient_key"].unique()[:3]
    last = visits["patient_key"].isin(twice) & visits.duplicated("patient_key")
    visits.loc[last, "age_band"] = "under_18"
    groups = how_soon_by_group(of(visits, '[recall]\ngroups = ["age_60"]'))
    check = next(check for check in groups.checks if check.name == "Ages that conflict")
    assert check.sentence.startswith("3 patients have ages in the log that cannot both be right")
    whole, before = (
        next(row.value for row in found.rows if row.group == {"group": "everyone", "share": 0.3})
        for found in (groups, how_soon_by_group(of(logged()[0], '[recall]\ngroups = ["age_60"]')))
    )
    assert whole == pytest.approx(before)
    facts = what_goes_with_filling_sooner(of(visits))
    assert any(check.name == "Ages that conflict" for check in facts.checks)


def test_ages_that_rise_by_a_band_are_no_conflict():
    visits = logged()[0].copy()
    later = visits.duplicated("patient_key") & (visits["age_band"] == "60_74")
    visits.loc[later, "age_band"] = "75_and_over"
    assert not any(check.name == "Ages that conflict" for check in how_soon_by_group(of(visits)).checks)


def test_a_visit_dated_far_ahead_moves_no_figure_and_is_told():
    visits = logged()[0]
    slip = visits.iloc[[-1]].assign(visit_id="slip", slot_start=pd.Timestamp("2052-03-01 10:00"))
    found, plain = (when_to_call_back(of(each)) for each in (pd.concat([visits, slip], ignore_index=True), visits))
    assert [row.value for row in found.rows] == pytest.approx([row.value for row in plain.rows])
    check = next(check for check in found.checks if check.name == "Dates in the future")
    assert check.sentence.startswith("1 attended visit is dated after the log's last day")
    assert not any(check.name == "Dates in the future" for check in plain.checks)


@pytest.mark.parametrize("ask", ASKED, ids=lambda ask: ask.__name__)
def test_visits_after_the_set_last_day_are_not_looked_at(ask):
    visits = logged()[0]
    toml = "[clinic]\nlast_day = 2025-06-30"
    cut = visits[visits["slot_start"] < pd.Timestamp("2025-07-01")]
    whole, until = ask(of(visits, toml)), ask(of(cut, toml))
    assert [row.value for row in whole.rows] == pytest.approx([row.value for row in until.rows])


def test_a_recall_rule_that_is_not_set_is_said_to_be_so_and_none_is_made_up():
    found, ruled = when_to_call_back(of(logged()[0])), when_to_call_back(of(logged()[0], RULE))
    check = next(check for check in found.checks if check.name == "Recall rule of today")
    assert "It is not set" in check.sentence
    assert found.chart_title == "No recall rule of today is set, so only the chosen share is marked"
    said = " ".join([found.headline, found.chart_title, found.chart_text, *(check.sentence for check in found.checks)])
    assert "12 months" not in said
    assert not any(row.quantity == "share_occluded_today" for row in found.rows)
    assert "occluding_today_share" not in found.table.columns
    assert not any("today" in str(each.text) for each in found.chart.layout.annotations)
    assert ruled.chart_title.startswith("At today's 12 months")
    assert not any(check.name == "Recall rule of today" for check in ruled.checks)


def test_without_a_rule_nobody_is_said_to_be_due_and_an_uptake_is_refused():
    found = did_people_come_when_due(of(logged()[0]), "2025-Q3")
    assert "No recall rule of today is set" in found.headline
    with pytest.raises(DataProblem, match="no recall rule says when"):
        settings_from_toml("[demand]\nrecall_uptake = 0.5")
