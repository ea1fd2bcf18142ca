"""Curves, cost, prices and the recall list go by one set of groups: by hearing aid, or the owner's."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from analysis.answers.recall import when_to_call_back
from analysis.answers.recall_cost import which_interval_costs_least
from analysis.answers.recall_due import who_is_due
from analysis.answers.recall_group_words import group_spoken
from analysis.answers.recall_models_groups import how_soon_by_group
from analysis.answers.recall_prices import do_the_prices_decide
from analysis.clinic import Clinic
from analysis.report.recall_list import write_recall_list
from analysis.settings import settings_from_toml
from tests.unit.answers.test_recall_cost_answer import logged
from tests.unit.report.test_recall_list import texts

OWN = '[recall]\ntoday_months = 12\ngroups = ["hearing_aid", "age_60"]'
FOUR = [f"hearing_aid:{aid} age_60:{old}" for aid in ("yes", "no") for old in ("yes", "no")]
SMALL = f"{OWN}\nfewest_ears = 220"


@cache
def aged() -> tuple[pd.DataFrame, pd.DataFrame]:
    """One patient in three is 75 or over; age changes nothing."""
    visits, ears = logged()
    number = visits["patient_key"].str[1:].astype(int)
    age = pd.Series(np.where(number % 3 == 0, "75_and_over", "40_59"), index=visits.index)
    return visits.assign(age_band=age.astype(visits["age_band"].dtype)), ears


@cache
def asked(toml: str) -> Clinic:
    return Clinic(*aged(), settings=settings_from_toml(toml))


def months(found, quantity, **group) -> dict[str, float]:
    return {
        row.group["group"]: row.value
        for row in found.rows
        if row.quantity == quantity and group.items() <= row.group.items()
    }


def test_the_owners_groups_have_months_cost_and_a_place_on_the_list():
    clinic = asked(OWN)
    recommended = months(when_to_call_back(clinic), "recall_months")
    assert list(recommended) == [*FOUR, "everyone"]
    assert list(months(which_interval_costs_least(clinic), "least_cost_months")) == FOUR
    assert set(months(do_the_prices_decide(clinic), "kept_month_cost")) == set(FOUR)
    due = who_is_due(clinic)
    assert due.months == recommended
    assert not due.lent
    assert set(due.found.due["recall_group"]) == set(FOUR)


def test_their_curves_are_those_of_the_answer_on_groups():
    curves = months(how_soon_by_group(asked(OWN)), "group_months_until_share", share=0.3)
    assert months(when_to_call_back(asked(OWN)), "months_until_share_occluded", share=0.3) == pytest.approx(curves)


def test_a_group_too_small_goes_by_the_clinics_month_and_is_named(tmp_path):
    clinic = asked(SMALL)
    cost, due = which_interval_costs_least(clinic), who_is_due(clinic)
    assert due.lent == ["hearing_aid:yes age_60:yes"]
    assert due.months[due.lent[0]] == due.months["everyone"]
    assert list(months(cost, "least_cost_months")) == [*FOUR[1:], "everyone"]
    assert "for everyone else" in cost.headline
    whose = group_spoken(due.lent[0])
    small = [check for check in cost.checks if check.name == f"Ears of people {whose}"]
    assert "so the clinic's is shown" in small[0].sentence
    assert f"everyone else at about {due.months['everyone']} months" in when_to_call_back(clinic).headline
    written = texts(write_recall_list(clinic, tmp_path)[0])
    assert "the clinic&apos;s is used: people " + whose in written or "the clinic's is used: people " + whose in written


def test_a_note_that_is_missing_leaves_the_patient_with_everyone():
    visits, ears = aged()
    blank = visits["patient_key"].isin(visits["patient_key"].unique()[:40])
    due = who_is_due(
        Clinic(visits.assign(age_band=visits["age_band"].mask(blank)), ears, settings=settings_from_toml(OWN))
    )
    theirs = due.found.due["patient_key"].isin(visits.loc[blank, "patient_key"])
    assert theirs.any()
    assert (due.found.due.loc[theirs, "recall_group"] == "everyone").all()


def test_ages_that_conflict_make_no_group_and_are_told():
    visits, ears = aged()
    which = visits[visits["patient_key"].duplicated(keep=False)].drop_duplicates("patient_key").index[:1]
    age = visits["age_band"].copy()
    age[which] = "under_18"
    clinic = Clinic(visits.assign(age_band=age), ears, settings=settings_from_toml(OWN))
    for ask in (when_to_call_back, which_interval_costs_least):
        assert any(check.name == "Ages that conflict" for check in ask(clinic).checks)
        assert not any(check.name == "Ages that conflict" for check in ask(asked("[recall]\ntoday_months = 12")).checks)
