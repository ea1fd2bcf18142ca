"""Hard logs asked about recall cost, prices, grades at return and who is due: plain sentences, no invented figure."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from analysis.answers.recall_cost import which_interval_costs_least
from analysis.answers.recall_due import who_is_due
from analysis.answers.recall_grades import how_full_at_return
from analysis.answers.recall_grades_fit import do_grades_fit
from analysis.answers.recall_prices import do_the_prices_decide
from analysis.clinic import Clinic
from analysis.problems import DataProblem
from analysis.schema import VISITS, typed_frame
from analysis.settings import settings_from_toml
from tests.unit.answers.test_recall_cost_answer import logged

ANSWERS = [which_interval_costs_least, do_the_prices_decide, how_full_at_return, do_grades_fit]
MONTHS = ["least_cost_months", "months_since"]


def kept(visits: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    ears = logged()[1]
    return typed_frame(VISITS, visits), ears[ears["visit_id"].isin(visits["visit_id"])].reset_index(drop=True)


@cache
def no_returns() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Each patient number once only, as in a log that never knows anybody again."""
    visits = logged()[0]
    return kept(visits.assign(patient_key=[f"p{each}" for each in range(len(visits))]))


@cache
def one_visit_a_patient() -> tuple[pd.DataFrame, pd.DataFrame]:
    return kept(logged()[0].drop_duplicates("patient_key"))


@cache
def all_returns_in_one_month() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Everybody was first seen in January 2024 and came back, those who did, in October 2025."""
    visits = logged()[0].sort_values(["patient_key", "slot_start"])
    nth = visits.groupby("patient_key").cumcount()
    visits, nth = visits[nth < 2], nth[nth < 2]
    days = pd.to_timedelta(np.arange(len(visits)) % 28, unit="D")
    first, back = pd.Timestamp("2024-01-01 09:00") + days, pd.Timestamp("2025-10-01 09:00") + days
    return kept(visits.assign(slot_start=np.where(nth == 0, first, back), booked_at=pd.NaT, started_at=pd.NaT))


def asked(log: tuple[pd.DataFrame, pd.DataFrame], toml: str = "") -> Clinic:
    return Clinic(*log, settings=settings_from_toml(toml))


@pytest.mark.parametrize("log", [no_returns, one_visit_a_patient])
@pytest.mark.parametrize("ask", ANSWERS)
def test_where_nobody_is_seen_again_there_is_no_figure(ask, log):
    found = ask(asked(log()))
    assert not found.answered
    assert found.headline.startswith("No figure yet. ")
    assert not found.rows


@pytest.mark.parametrize("ask", ANSWERS)
def test_returns_of_one_month_never_fail_and_tell_only_of_months_seen(ask):
    found = ask(asked(all_returns_in_one_month()))
    if not found.answered:
        assert found.headline.startswith("No figure yet. ")
        return
    # 20 to 22 months lie between the two visits
    assert found.table.get("months_since", pd.Series([21.0])).between(20, 22).all()
    assert found.table.get("least_cost_months", pd.Series([1])).le(22).all()
    assert all(np.isfinite([row.value, row.low, row.high]).all() for row in found.rows)


def test_grades_of_one_months_returns_are_told_at_that_month():
    found = how_full_at_return(asked(all_returns_in_one_month()))
    assert found.answered
    assert {row.group["months"] for row in found.rows} == {21}
    assert "24 months" not in found.headline


@pytest.mark.parametrize("log", [no_returns, one_visit_a_patient, all_returns_in_one_month])
def test_the_list_goes_by_the_owners_own_months_whatever_the_log(log):
    due = who_is_due(asked(log(), "[recall_cost]\nlist_months = 6"))
    found, months = due.found, due.months
    assert months == {"everyone": 6}
    assert (found.due["months_overdue"] >= 0).all()


@pytest.mark.parametrize("log", [no_returns, one_visit_a_patient])
def test_without_own_months_and_returns_the_list_asks_for_them(log):
    with pytest.raises(DataProblem, match="does not say yet when to call back") as told:
        who_is_due(asked(log()))
    assert str(told.value).startswith("This log does not say yet when to call back.")
    assert "list_months under [recall_cost]" in told.value.remedy


@pytest.mark.parametrize("ask", [which_interval_costs_least, do_the_prices_decide])
def test_without_a_recall_rule_there_is_a_figure_and_no_word_of_todays(ask):
    found = ask(asked(logged(), "[recall]\ntoday_months = 0"))
    assert found.answered
    said = " ".join([found.headline, found.chart_title, found.chart_text])
    assert "oday" not in said
    assert " 0 months" not in said
