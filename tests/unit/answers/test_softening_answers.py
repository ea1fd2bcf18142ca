"""Softening's two answers: what they say, on which logs they say that they cannot, and their rows."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pandas as pd
import pytest

from analysis.answers import softening_words as say
from analysis.answers.softening import does_softening_pay, does_softening_save_minutes
from analysis.clinic import Clinic
from analysis.present import words
from analysis.present.page_parts import answer_html, answer_text
from analysis.problems import NotEnough
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import Settings, settings_from_toml
from analysis.stats.effects import NumberNeeded
from analysis.stats.estimate import Estimate
from tests.softening_log import as_log, invented_attempts

BOTH = [does_softening_pay, does_softening_save_minutes]


def clinic(seed: int = 1, *, patients: int = 800, effect: float = 0.8, settings: str = "", **blanked) -> Clinic:
    """Make a clinic of an invented log; ``visits`` and ``ears`` name columns to leave empty."""
    visits, ears = as_log(invented_attempts(np.random.default_rng(seed), patients=patients, effect=effect).attempts)
    visits = typed_frame(VISITS, visits.drop(columns=blanked.get("visits", [])))
    ears = typed_frame(EAR_ROWS, ears.drop(columns=blanked.get("ears", [])))
    return Clinic(visits, ears, settings=settings_from_toml(settings) if settings else Settings())


def rows_of(answer, quantity: str, **group) -> list:
    return [row for row in answer.rows if row.quantity == quantity and group.items() <= row.group.items()]


def test_the_headline_is_one_sentence_with_figure_range_and_period():
    answer = does_softening_pay(clinic(patients=6000))
    assert answer.headline.startswith("Softening advised went with ")
    assert " more successes in 100 first attempts (between " in answer.headline
    assert answer.headline.endswith("January 2025 to December 2025.")
    assert answer.headline.count(". ") == 0
    figure = rows_of(answer, "risk_difference", contrast="advised", estimator="standardised")[0]
    assert f"{figure.value * 100:.0f} more" in answer.headline


def test_both_contrasts_stand_as_they_are_and_like_with_like():
    answer = does_softening_pay(clinic())
    assert answer.table[["softening", "compared"]].to_numpy().tolist() == [
        ["advised", "as they are"],
        ["advised", "like with like"],
        ["used", "as they are"],
        ["used", "like with like"],
    ]
    assert len(answer.chart.data) == 4
    for name in answer.table:
        assert words.label(name)


def test_every_figure_is_a_row_and_results_can_be_written():
    answer = does_softening_pay(clinic())
    counts = pd.Series([row.quantity for row in answer.rows]).value_counts()
    assert counts["success_share"] == 8
    assert counts["risk_difference"] == counts["risk_ratio"] == 4
    assert counts["e_value"] == counts["used_share"] == 2
    assert counts["number_needed_to_treat"] >= 4
    assert {row.section for row in answer.rows} == {"softening"}
    json.dumps([dataclasses.asdict(row) for row in answer.rows], allow_nan=False)
    minutes = does_softening_save_minutes(clinic())
    assert len(rows_of(minutes, "minutes_saved")) == 4
    json.dumps([dataclasses.asdict(row) for row in minutes.rows], allow_nan=False)


def test_a_range_that_holds_none_is_told_as_unclear_and_its_number_needed_by_side():
    answer = does_softening_pay(clinic(patients=500, effect=0.0))
    assert answer.headline.startswith("It is not clear that softening advised changes success")
    assert "fewer and" in answer.headline
    assert "through no difference at all" in answer.how_sure
    needed = rows_of(answer, "number_needed_to_treat", contrast="advised", estimator="standardised")
    assert [row.group["side"] for row in needed] == ["benefit", "harm"]
    assert all(row.low is None and row.group["form"] == "no_clear_difference" for row in needed)


@pytest.mark.parametrize("ask", BOTH)
def test_contraindications_and_local_protocol_are_named(ask):
    told = " ".join(ask(clinic()).cautions)
    for word in (
        "perforation",
        "grommets",
        "ear surgery",
        "infection or dermatitis",
        "nut or peanut",
        "against irrigation",
        "against suction",
        "only hearing ear",
        "Local protocol",
    ):
        assert word in told
    assert "never advice for one patient" in told


@pytest.mark.parametrize("ask", BOTH)
def test_the_answers_show_themselves_in_words_and_in_html(ask):
    answer = ask(clinic())
    assert answer.headline in answer_text(answer)
    assert "like with like" in answer_html(answer)


def test_use_alone_is_answered_where_advice_is_not_recorded():
    answer = does_softening_pay(clinic(visits=["softening_advised"]))
    assert answer.headline.startswith("Softening used went with ")
    assert set(answer.table["softening"]) == {"used"}
    check = next(check for check in answer.checks if check.name == "Softening advised")
    assert "does not say where softening was advised" in check.sentence


@pytest.mark.parametrize("ask", BOTH)
@pytest.mark.parametrize(
    ("blanked", "says"),
    [
        ({"visits": ["softening_advised", "softener", "softening_days"]}, "does not say where softening was advised"),
        ({"ears": ["grade"]}, "no occlusion grades"),
        ({"ears": ["grade", "outcome", "methods"]}, "no ear that was worked on"),
    ],
)
def test_a_log_without_the_facts_says_what_to_record(ask, blanked, says):
    answer = ask(clinic(patients=300, **blanked))
    assert not answer.answered
    assert answer.headline.startswith("No figure yet.")
    assert says in answer.headline
    assert "Record" in answer.headline


def test_without_end_times_success_is_answered_and_minutes_are_not():
    log = clinic(visits=["minutes", "minutes_quality"])
    assert does_softening_pay(log).answered
    assert "no measured minutes" in does_softening_save_minutes(log).headline


def test_without_outcomes_minutes_are_answered_and_success_is_not():
    log = clinic(ears=["outcome"])
    assert does_softening_save_minutes(log).answered
    assert "recorded outcome" in does_softening_pay(log).headline


@pytest.mark.parametrize("ask", BOTH)
def test_without_patient_numbers_the_answer_says_so(ask):
    answer = ask(clinic(visits=["patient_key"]))
    assert answer.answered
    assert any("no patient numbers" in each for each in answer.assumptions)


@pytest.mark.parametrize("ask", BOTH)
def test_a_log_with_one_ear_only_is_answered(ask):
    log = clinic()
    left = Clinic(log.visits, log.ears[log.ears["ear"] == "left"].reset_index(drop=True))
    assert ask(left).answered


@pytest.mark.parametrize("ask", BOTH)
def test_an_empty_log_is_no_crash(ask):
    empty = Clinic(typed_frame(VISITS, pd.DataFrame()), typed_frame(EAR_ROWS, pd.DataFrame()))
    assert "no attended visit" in ask(empty).headline


@pytest.mark.parametrize("ask", BOTH)
def test_too_few_ears_says_how_many_more(ask):
    answer = ask(clinic(patients=60, settings="[softening]\nfewest_ears = 400"))
    assert not answer.answered
    assert "at least 400 are needed" in answer.headline


def test_blanks_and_rare_levels_are_told():
    log = clinic()
    visits = log.visits.copy()
    visits.loc[visits.index[:90], "hearing_aid"] = pd.NA
    visits.loc[visits.index[:3], "age_band"] = "under_18"
    answer = does_softening_pay(dataclasses.replace(log, visits=visits))
    told = " ".join(answer.assumptions)
    assert "not recorded: hearing aid (" in told
    assert "taken together in age" in told


def test_a_fact_recorded_nowhere_is_told():
    told = " ".join(does_softening_pay(clinic(ears=["canal", "debris"])).assumptions)
    assert "could not be made alike in it: what was found and canal." in told


def test_harm_is_told_as_harm():
    needed = NumberNeeded("harm", 20.0, 12.0, 60.0)
    assert say.needed_cell(needed) == "20 (12 to 60) for one fewer"
    assert say.needed_sentence(needed, "used").startswith("That is one success fewer for about every 20 ears")
    assert say.more_successes(Estimate(-0.05, -0.08, -0.02, 0.95, 9, "")).startswith("5 fewer successes")
    assert (
        say.fewer_minutes(Estimate(-2.0, -3.0, -1.0, 0.95, 9, "")) == "2.0 minutes more a visit (between 1.0 and 3.0)"
    )


def test_the_reason_of_the_other_contrast_is_kept():
    check = say.not_answered_check("used", NotEnough("The log says nothing.", "Record it."))
    assert check.sentence == "No figure. The log says nothing. Record it."
