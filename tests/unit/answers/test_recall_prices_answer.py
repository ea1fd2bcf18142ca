"""The answer on how far the least-cost recall hangs on the prices."""

from functools import cache

import pytest

from analysis.answers.recall_material import recall_costs
from analysis.answers.recall_prices import AS_SET, FACTORS, do_the_prices_decide, weighed_again
from analysis.clinic import Clinic
from analysis.settings import settings_from_toml
from tests.unit.answers.test_recall_cost_answer import ask, logged


@cache
def asked(toml: str = "") -> Clinic:
    return Clinic(*logged(), settings=settings_from_toml(toml))


@cache
def answer(toml: str = ""):
    return do_the_prices_decide(asked(toml))


@cache
def weighed():
    return weighed_again(recall_costs(asked()), asked().settings)


def test_each_group_has_the_prices_as_set_and_four_things_at_half_and_double():
    cases = answer().table.groupby("recall_group")["prices_case"].agg(list)
    assert set(cases.index) == {"with a hearing aid", "without a hearing aid"}
    assert all(each[0] == AS_SET and len(each) == 1 + 4 * len(FACTORS) for each in cases)


def test_as_set_it_is_the_answer_on_cost():
    as_set = answer().table[answer().table["prices_case"] == AS_SET].reset_index(drop=True)
    columns = ["least_cost_months", "flat_low", "flat_high", "yearly_cost"]
    assert as_set[columns].to_numpy().tolist() == ask().table[columns].to_numpy().tolist()


def test_a_case_is_what_the_clinic_would_be_told_with_that_price_as_set():
    """The price of a day doubled in ``clinic.toml`` gives the same month as the case here."""
    doubled = ask("[recall_cost]\nprice_symptom_day = 4.0").table
    case = answer().table[answer().table["prices_case"].str.startswith("a day with an occluding ear at double")]
    assert case["least_cost_months"].tolist() == doubled["least_cost_months"].tolist()
    assert case["yearly_cost"].tolist() == pytest.approx(doubled["yearly_cost"].tolist())


def test_dearer_days_call_sooner_and_keeping_the_month_never_saves():
    months = {(each.group, each.what.split(",")[0]): each.least for each in weighed()}
    for name in ("hearing_aid", "no_hearing_aid"):
        double, half = (months[name, f"a day with an occluding ear at {each}"] for each in ("double", "half"))
        assert double <= months[name, AS_SET] <= half
    assert all(each.kept_costs >= 0 for each in weighed())
    assert all(each.kept_costs == 0 for each in weighed() if each.what == AS_SET)


def test_prices_as_delivered_are_called_examples_and_own_ones_are_not():
    assert "examples the program comes with" in answer().assumptions[0]
    assert "example prices" in ask().headline
    own = "[recall_cost]\nprice_minute = 1.5"
    assert "At your prices" in ask(own).headline
    assert "those in clinic.toml" in answer(own).assumptions[0]


def test_it_says_whose_wait_is_meant_and_which_months_to_act_on():
    told = [*answer().table["prices_case"], answer().chart_text, *(check.sentence for check in answer().checks)]
    assert [each for each in told if "these wait" in each] == []
    assert "the wait of people who put up with symptoms for long at half, up to 6 months" in told
    assert answer().how_sure.endswith(
        "These months follow the prices set, those of “When should people be called back?” the chosen share of ears "
        "occluding again: which of the two to act on is the owner's to choose."
    )


def test_the_chart_marks_today_and_every_case():
    assert len(answer().chart.data) == len(answer().table)
    marked = answer("[recall]\ntoday_months = 12")
    assert "today's 12" in marked.chart.layout.xaxis.title.text
    assert len(marked.chart.layout.shapes) == len(marked.table)
    assert marked.chart_title.startswith("Today's 12 months")


def test_without_a_rule_today_nothing_is_said_of_it():
    unset = answer("[recall]\ntoday_months = 0")
    assert len(unset.chart.layout.shapes) == 0
    assert "oday" not in unset.chart_title + unset.chart_text + unset.headline


def test_a_log_without_a_figure_says_so():
    visits, ears = logged()
    assert not do_the_prices_decide(Clinic(visits.iloc[:0], ears.iloc[:0])).answered
