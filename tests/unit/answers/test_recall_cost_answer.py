"""The answer on what recall costs: figures, words, and logs that lack something."""

import re
from functools import cache

import pandas as pd
import pytest

from analysis.answers.recall_cost import which_interval_costs_least
from analysis.clinic import Clinic
from analysis.present.answer import PASSED
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml
from tests.truth.recall_world import World


@cache
def logged():
    visits, ears = World(patients=1500).log(11)
    # every second ear in trouble is only partly blocked; minutes go with the fuller ear
    partly = (ears["grade"] == "fully_occluding") & (pd.Series(range(len(ears))) % 2 == 0)
    ears = ears.assign(grade=ears["grade"].mask(partly, "partly_occluding"))
    fullest = ears["grade"].cat.codes.groupby(ears["visit_id"]).max()
    minutes = visits["visit_id"].map(fullest).map({0: 12.0, 2: 15.0, 3: 19.0})
    spread = pd.Series(range(len(visits))) % 5 - 2.0
    return visits.assign(minutes=minutes + spread, minutes_quality="timed").astype(visits.dtypes), ears


def ask(toml: str = "", *, visits=None, ears=None):
    plain_visits, plain_ears = logged()
    return which_interval_costs_least(
        Clinic(
            plain_visits if visits is None else visits,
            plain_ears if ears is None else ears,
            settings=settings_from_toml(toml),
        )
    )


@cache
def answer():
    return ask("[recall]\ntoday_months = 12")


def rows(found, quantity, **group):
    return [r for r in found.rows if r.quantity == quantity and group.items() <= r.group.items()]


def test_each_group_has_a_month_within_its_flat_stretch():
    for row in rows(answer(), "least_cost_months"):
        assert row.low <= row.value <= row.high
        assert f"{row.value:.0f} month" in answer().headline
    assert {row.group["group"] for row in rows(answer(), "least_cost_months")} == {"hearing_aid", "no_hearing_aid"}


def test_today_never_costs_less_than_the_least():
    for row in rows(answer(), "yearly_cost_difference"):
        assert row.value >= 0
        today, least = (
            rows(answer(), "yearly_cost", policy=policy, group=row.group["group"])[0].value
            for policy in ("today", "least")
        )
        assert row.value == pytest.approx(today - least)


def test_the_caution_puts_symptoms_first():
    assert "as soon as symptoms appear" in answer().cautions[0]
    assert any("Local protocol" in caution for caution in answer().cautions)


def test_without_a_rule_of_today_nothing_is_set_beside_one():
    found = ask()
    assert found.answered
    assert {row.group["policy"] for row in rows(found, "yearly_cost")} == {"least", "no_recall"}
    assert not rows(found, "yearly_cost_difference")
    assert "today" not in found.chart_title.lower()
    assert not any("today" in str(each.text) for each in found.chart.layout.annotations)


def test_prices_are_the_owners_and_said_to_be_examples():
    dear = ask("[recall_cost]\nprice_symptom_day = 8.0")
    for before, after in zip(rows(answer(), "least_cost_months"), rows(dear, "least_cost_months"), strict=True):
        assert after.value < before.value
    assert "examples" in answer().assumptions[0]


def test_the_chart_marks_today_and_the_flat_stretch():
    names = [trace.name for trace in answer().chart.data]
    assert sum(name.endswith("flat stretch") for name in names) == 2
    assert any("today, 12 months" in str(each.text) for each in answer().chart.layout.annotations)


@pytest.mark.parametrize(
    ("spoiled", "said"),
    [
        ("no grades", "No figure yet."),
        ("one visit a patient", "No figure yet."),
        ("no minutes", "timed visits"),
        ("empty", "No figure yet."),
    ],
)
def test_a_log_that_lacks_something_has_a_plain_sentence(spoiled, said):
    visits, ears = logged()
    if spoiled == "no grades":
        ears = typed_frame(EAR_ROWS, ears.drop(columns=["grade", "outcome"]))
    if spoiled == "one visit a patient":
        visits = visits.drop_duplicates("patient_key")
        ears = ears[ears["visit_id"].isin(visits["visit_id"])]
    if spoiled == "no minutes":
        visits = typed_frame(VISITS, visits.drop(columns=["minutes", "minutes_quality"]))
    if spoiled == "empty":
        visits, ears = visits.iloc[:0], ears.iloc[:0]
    found = ask(visits=visits, ears=ears)
    assert not found.answered
    assert said in found.headline


def test_without_a_recall_rule_nothing_is_said_of_today():
    found = ask("[recall]\ntoday_months = 0")
    assert found.answered
    assert not rows(found, "yearly_cost", policy="today")
    assert not rows(found, "yearly_cost_difference")
    assert "yearly_cost_today" not in found.table
    assert not any("today" in str(each.text) for each in found.chart.layout.annotations)
    assert any("No recall rule is set" in check.sentence for check in found.checks)


def test_a_rule_of_today_beyond_the_months_weighed_is_not_compared_and_says_so():
    found = ask("[recall]\ntoday_months = 48")
    said = [check.sentence for check in found.checks if check.name == "Today's rule"]
    assert re.match("Today's 48 months lie beyond the 3[0-6] months for which the log has watched ears", said[0])
    assert not rows(found, "yearly_cost_difference")
    assert not any(check.name == "Today's rule" for check in answer().checks)


def test_the_length_of_the_log_is_told_with_the_cost():
    assert next(check for check in answer().checks if check.name == "Length of the log").result == PASSED
