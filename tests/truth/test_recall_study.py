"""The study of recall curves: a few clinics anew, and what the committed table must show."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from tests.truth.recall_study import CLINICS, WORLDS, as_markdown, one_clinic, summed_up

ROOT = Path(__file__).parents[2]
AS_ASSUMED = [
    "as the model assumes",
    "no effect of hearing aids",
    "half of all patients never return",
    "a small clinic, 500 patients",
]
RECALLS_ONLY = "a fifth of patients come at recalls only"
DIFFER = "patients differ in how fast their ears fill"
DIFFERENT = [DIFFER, "patients differ, and the clinic is two years older than its log"]
CLEANED = [
    "open ears that fill are cleaned at one look in three",
    "open ears that fill are cleaned at six looks in ten",
    "patients differ, the clinic is older, and one look in three ends in cleaning",
]
SHORT = "a log of eighteen months"
MONTHS = ["hearing_aid", "no_hearing_aid"]


@pytest.fixture(scope="module")
def committed() -> pd.DataFrame:
    found = json.loads((ROOT / "tests" / "truth" / "recall_study.json").read_text(encoding="utf-8"))
    return pd.DataFrame(found).set_index(["world", "quantity"])


def test_the_page_is_the_committed_table_of_two_hundred_clinics_and_more(committed):
    page = (ROOT / "shared" / "recall_study.md").read_text(encoding="utf-8")
    assert page == as_markdown(committed.reset_index())
    assert set(committed.index.get_level_values("world")) == set(WORLDS)
    assert (committed["clinics"] == CLINICS).all()
    assert CLINICS * len(WORLDS) >= 200


@pytest.mark.parametrize("world", ["as the model assumes", DIFFER, *CLEANED[:1]])
def test_a_few_clinics_asked_anew_agree_with_the_committed_table(committed, world):
    asked = [one | {"world": world} for seed in (9001, 9002, 9003) for one in one_clinic(WORLDS[world], seed)]
    found = summed_up(pd.DataFrame(asked)).set_index(["world", "quantity"])
    there = committed.loc[found.index]
    # the mean of three clinics may lie four of its own standard errors from that of many
    assert (abs(found["bias"] - there["bias"]) < 4 * there["spread"] / np.sqrt(3)).all()
    np.testing.assert_allclose(found["width"], there["width"], rtol=0.35)


def test_where_the_assumptions_hold_bias_is_small_and_ranges_hold(committed):
    found = committed.loc[AS_ASSUMED]
    assert (found["bias"].abs() < 0.015 + 3 * found["bias_simulation_error"]).all()
    assert (found["coverage"] >= binom.ppf(0.001, CLINICS, 0.93) / CLINICS).all()


def test_some_who_come_at_recalls_only_move_neither_months_nor_the_share_who_come_back(committed):
    found = committed.loc[RECALLS_ONLY]
    assert (found["bias"].abs() < 0.03).all()
    assert (found["coverage"] >= binom.ppf(0.001, CLINICS, 0.93) / CLINICS).all()


@pytest.mark.parametrize("world", CLEANED)
def test_open_ears_cleaned_do_not_move_months_while_some_are_left_alone(committed, world):
    found = committed.loc[world].loc[MONTHS]
    assert (found["bias"].abs() < 0.015 + 3 * found["bias_simulation_error"]).all()
    assert (found["coverage"] >= binom.ppf(0.001, CLINICS, 0.93) / CLINICS).all()


def test_where_every_open_ear_is_cleaned_months_are_late_and_ranges_do_not_hold_them(committed):
    found = committed.loc["every open ear that fills is cleaned"].loc[MONTHS]
    assert (found["bias"] > 0.02).all()
    assert found["coverage"].min() < 0.6


@pytest.mark.parametrize("world", DIFFERENT)
def test_patients_who_differ_do_not_move_months_whenever_their_log_begins(committed, world):
    found = committed.loc[world].loc[MONTHS]
    assert (found["bias"].abs() < 0.03).all()
    assert (found["coverage"] >= binom.ppf(0.001, CLINICS, 0.93) / CLINICS).all()


def test_a_short_logs_months_are_late_and_its_ranges_say_how_little_is_known(committed):
    short, whole = committed.loc[SHORT], committed.loc["as the model assumes"]
    assert (short["bias"] > 0.15).all()
    assert (short["coverage"] >= binom.ppf(0.001, CLINICS, 0.93) / CLINICS).all()
    assert (short["width"] > 4 * whole["width"]).all()
