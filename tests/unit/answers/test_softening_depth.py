"""Softening's deeper answers: what they say, what they refuse, and that any log at all is answered in words."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pandas as pd
import pytest

from analysis.answers.softening import does_softening_pay
from analysis.answers.softening_agents import softening_by_agent
from analysis.answers.softening_days import softening_by_days
from analysis.answers.softening_estimates import WAYS, softening_side_by_side
from analysis.answers.softening_ground import do_the_groups_share_ground
from analysis.answers.softening_groups import softening_by_group
from analysis.answers.softening_hidden import could_something_hidden_explain_it
from analysis.answers.softening_honesty import are_the_groups_alike, how_many_ears_are_needed
from analysis.answers.softening_per_100 import softening_per_100_patients
from analysis.clinic import Clinic
from analysis.present import words
from analysis.present.page_parts import answer_html, answer_text
from analysis.result_rows import QUANTITIES
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml
from tests.softening_log import as_log, invented_attempts

ALL = [
    softening_side_by_side,
    softening_per_100_patients,
    softening_by_group,
    softening_by_agent,
    softening_by_days,
    are_the_groups_alike,
    do_the_groups_share_ground,
    could_something_hidden_explain_it,
    how_many_ears_are_needed,
]
AGENTS = ["olive_oil", "sodium_bicarbonate", "docusate"]


@pytest.fixture(scope="module")
def log() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Invent a log with agents, days, events, and a few ears that were not occluding."""
    rng = np.random.default_rng(11)
    attempts = invented_attempts(rng, patients=900).attempts
    attempts["grade"] = attempts["grade"].astype("object").where(rng.random(len(attempts)) > 0.2, "non_occluding")
    visits, ears = as_log(attempts)
    used = visits["softener"] != "none"
    visits["softener"] = np.where(used, rng.choice(AGENTS, len(visits), p=[0.6, 0.36, 0.04]), "none")
    visits["softening_days"] = np.where(used, 1.0 + rng.poisson(4, len(visits)), 0.0)
    events = np.where(
        rng.random(len(visits)) < 0.1, "discomfort", np.where(rng.random(len(visits)) < 0.1, "dizziness", "none")
    )
    return typed_frame(VISITS, visits.assign(adverse_event=events)), ears


@pytest.fixture(scope="module")
def clinic(log) -> Clinic:
    return Clinic(*log)


@pytest.fixture(scope="module")
def answers(clinic) -> dict:
    return {ask.__name__: ask(clinic) for ask in ALL}


@pytest.mark.parametrize("ask", ALL, ids=lambda ask: ask.__name__)
def test_every_answer_is_whole(answers, ask):
    answer = answers[ask.__name__]
    assert answer.answered, answer.headline
    assert answer.headline.endswith(".")
    assert answer.chart is not None
    assert answer.chart_title
    assert answer.chart_text
    assert answer.cautions or "ears" in answer.question
    assert all(words.label(name) for name in answer.table)
    assert answer_html(answer)
    assert answer_text(answer)
    known = {(each.section, each.name): each for each in QUANTITIES}
    for row in answer.rows:
        quantity = known[row.section, row.quantity]
        assert tuple(sorted(row.group)) == tuple(sorted(quantity.keys))
        assert row.unit == quantity.unit
    json.dumps([dataclasses.asdict(row) for row in answer.rows], allow_nan=False)


@pytest.mark.parametrize("ask", ALL, ids=lambda ask: ask.__name__)
@pytest.mark.parametrize("lacking", ["grade", "outcome", "softening", "patient_key", "visits"])
def test_a_log_that_lacks_a_fact_is_answered_in_words(log, ask, lacking):
    visits, ears = log
    if lacking == "softening":
        visits = visits.drop(columns=["softening_advised", "softener", "softening_days"])
    elif lacking == "visits":
        visits, ears = visits.iloc[:0], ears.iloc[:0]
    else:
        visits, ears = visits.drop(columns=lacking, errors="ignore"), ears.drop(columns=lacking, errors="ignore")
    answer = ask(Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, ears)))
    assert answer.headline.endswith(".")
    if lacking != "patient_key" and not (lacking == "outcome" and ask is softening_per_100_patients):
        assert not answer.answered
        assert answer.headline.startswith("No figure yet. ")


@pytest.mark.parametrize("ask", ALL, ids=lambda ask: ask.__name__)
def test_below_the_minimum_the_answer_is_how_many_more(log, ask):
    few = Clinic(*log, settings=settings_from_toml("[softening]\nfewest_ears = 5000"))
    answer = ask(few)
    assert not answer.answered
    assert "Not enough " in answer.headline
    assert " more with softening " in answer.headline
    assert answer.rows == ()


def test_five_ways_stand_side_by_side_for_advice_and_for_use(answers):
    answer = answers["softening_side_by_side"]
    assert answer.table["compared"].tolist() == [*WAYS.values()] * 2
    assert len(answer.chart.data) == 10
    told = {check.name: check for check in answer.checks}
    assert "Did as advised" in told
    assert told["Ranges, softening used"].result == "passed"


def test_rarely_used_agents_are_hidden_and_all_pairs_of_the_rest_are_told(answers):
    answer = answers["softening_by_agent"]
    assert len(answer.table) == 1
    assert set(answer.table.loc[0, ["agent", "other_agent"]]) == {"olive oil", "sodium bicarbonate"}
    assert any("docusate" in each for each in answer.assumptions)


def test_groups_are_told_apart_by_one_difference_of_differences_and_not_by_two_verdicts(answers):
    answer = answers["softening_by_group"]
    for contrast in ("advised", "used"):
        of = {
            (row.quantity, row.group.get("level")): row.value
            for row in answer.rows
            if row.group["contrast"] == contrast and row.group["fact"] == "grade"
        }
        gap = of["difference_between_groups", None]
        effects = of["risk_difference_in_group", "fully_occluding"] - of["risk_difference_in_group", "partly_occluding"]
        assert gap == pytest.approx(effects, abs=1e-12)


def test_the_curve_of_days_has_a_range_at_each_day_and_the_unsoftened_beside_it(answers):
    answer = answers["softening_by_days"]
    assert (answer.table["success_share_low"] < answer.table["success_share"]).all()
    assert [trace.name for trace in answer.chart.data if "range" not in trace.name] == ["softened", "not softened"]


def test_without_patient_numbers_second_visits_are_left_out_and_minutes_are_told(log):
    visits, ears = log
    answer = softening_per_100_patients(Clinic(typed_frame(VISITS, visits.drop(columns="patient_key")), ears))
    assert answer.answered
    assert "second visits avoided" not in set(answer.table["measure"])
    assert "minutes in the chair" in answer.headline
    assert any("patient numbers" in check.sentence for check in answer.checks)


def test_weighting_makes_the_groups_alike_and_says_what_it_costs(answers):
    answer = answers["are_the_groups_alike"]
    assert answer.table["difference_before"].max() > 0.2
    assert answer.table["difference_weighted"].max() < 0.1
    told = {check.name: check.sentence for check in answer.checks}
    assert "worth" in told["What weighting costs"]
    assert told["Ears that were not occluding"].startswith("On ears that were not occluding, beside one that was")
    assert "ears" in str(answer.basis)
    assert "without a grade" not in str(answer.basis)


def test_where_too_few_lie_beside_an_occluding_ear_all_others_are_asked_and_that_is_said(clinic):
    stricter = settings_from_toml("[softening]\nfewest_ears = 110")
    answer = are_the_groups_alike(dataclasses.replace(clinic, settings=stricter))
    told = {check.name: check.sentence for check in answer.checks}["Ears that were not occluding"]
    assert told.startswith("Too few such ears lay beside an occluding one")
    rows = [row for row in answer.rows if row.quantity == "other_ears_difference"]
    assert [row.group["which_ears"] for row in rows] == ["all"]


def test_what_shows_on_ears_that_were_not_occluding_is_neither_passed_nor_failed(answers):
    checks = {check.name: check.result for check in answers["are_the_groups_alike"].checks}
    assert checks["Ears that were not occluding"] == "for information"


@pytest.mark.parametrize(("effect", "clear"), [(2.5, True), (0.0, False)])
def test_what_shows_there_clearly_stands_beside_the_figure_it_casts_doubt_on(effect, clear):
    rng = np.random.default_rng(12)
    attempts = invented_attempts(rng, patients=1500, effect=effect).attempts
    attempts["grade"] = attempts["grade"].astype("object").where(rng.random(len(attempts)) > 0.3, "non_occluding")
    answer = does_softening_pay(Clinic(*as_log(attempts)))
    told = [check for check in answer.checks if check.name == "Ears that were not occluding"]
    rows = [row for row in answer.rows if row.quantity == "other_ears_difference"]
    assert len(told) == len(rows) == int(clear)
    if clear:
        assert f"the log shows {100 * rows[0].value:.0f} more successes in 100 first attempts" in told[0].sentence
        assert told[0].sentence.endswith("which is a reason to take the figure for occluding ears with care.")
        assert told[0].result == "for information"


@pytest.mark.parametrize("ask", ALL, ids=lambda ask: ask.__name__)
def test_every_answer_names_the_usual_reasons_against_drops_irrigation_and_suction(ask, answers):
    told = " ".join(answers[ask.__name__].cautions)
    for what in ("against drops or oil", "against irrigation", "against suction", "only hearing ear", "Local protocol"):
        assert what in told


def test_more_ears_are_needed_for_smaller_differences(answers):
    needed = answers["how_many_ears_are_needed"].table["ears_needed"].tolist()
    assert needed == sorted(needed, reverse=True)


def test_every_ear_compared_is_in_one_band_of_chances(answers):
    answer = answers["do_the_groups_share_ground"]
    side = answers["softening_side_by_side"].table.iloc[0]
    assert answer.table["ears_with"].sum() == side["ears_with"]
    assert answer.table["ears_without"].sum() == side["ears_without"]
