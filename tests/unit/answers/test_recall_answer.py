"""The answer on recall: what it says, and what it says of logs that lack something."""

from functools import cache

import pandas as pd
import pytest

from analysis.answers.recall import when_to_call_back
from analysis.clinic import Clinic
from analysis.present.answer import FAILED, INFORMATION, PASSED, Answer
from analysis.present.tables import spoken_columns
from analysis.settings import settings_from_toml
from tests.truth.recall_world import World

WORLD = World(patients=1200)


@cache
def logged(years: float = 3.0, patients: int = 1200):
    return World(patients=patients, years=years).log(11)


def ask(toml: str = "", *, years: float = 3.0, patients: int = 1200, visits=None, ears=None) -> Answer:
    plain_visits, plain_ears = logged(years, patients)
    visits, ears = (plain_visits if visits is None else visits), (plain_ears if ears is None else ears)
    return when_to_call_back(Clinic(visits, ears, settings=settings_from_toml(toml)))


@cache
def answer() -> Answer:
    return ask("[recall]\ntoday_months = 12")


def row(quantity: str, found: Answer | None = None, **group):
    rows = (found or answer()).rows
    return next(each for each in rows if each.quantity == quantity and each.group == group)


def test_the_headline_gives_both_groups_their_month_with_its_range():
    aid, rest = (row("recall_months", group=name) for name in ("hearing_aid", "no_hearing_aid"))
    assert f"Call people with a hearing aid back at about {aid.value:.0f} months (" in answer().headline
    assert f"and everyone else at about {rest.value:.0f} months (" in answer().headline
    assert "until then no more than 3 in 10 of their ears are occluding again" in answer().headline
    assert answer().headline.count(".") == 1


def test_the_rows_hold_every_figure_with_its_range():
    assert row("weibull_shape").low < row("weibull_shape").value < row("weibull_shape").high
    assert 0 < row("return_share").value < 1
    for name in ("hearing_aid", "no_hearing_aid", "everyone"):
        months = [row("months_until_share_occluded", group=name, share=share) for share in (0.2, 0.3, 0.5)]
        assert months[0].value < months[1].value < months[2].value == row("median_months", group=name).value
        assert all(each.low < each.value < each.high for each in months)
        assert row("recall_months", group=name).value == int(months[1].value)


def test_today_is_compared_and_told():
    title, text = answer().chart_title, answer().chart_text
    assert title.startswith("At today's 12 months, ")
    share = row("share_occluded_today", group="hearing_aid", months=12)
    assert f"{share.value * 100:.0f}% of the ears of people with a hearing aid" in title
    assert f"{share.value * 100:.0f}% by 12 months" in text


def test_the_table_and_chart_can_be_shown():
    headings = [column.heading for column in spoken_columns(answer().table)]
    assert "call back at, months" in headings
    assert len(answer().table) == 3
    names = [trace.name for trace in answer().chart.data]
    assert names == [
        "with a hearing aid range", "with a hearing aid", "without a hearing aid range", "without a hearing aid",
    ]  # fmt: skip
    assert all(0 <= value <= 1 for trace in answer().chart.data for value in trace.y)


def test_the_cautions_keep_symptoms_and_hearing_aids_first():
    said = " ".join(answer().cautions)
    for words in (
        "as soon as they have symptoms",
        "whenever they attend",
        "Local protocol",
        "does not make it the cause",
    ):
        assert words in said


def test_checks_say_what_moves_the_figure():
    checks = {check.name: check for check in answer().checks}
    assert {"Patients who never return", "Symptoms for up to 30 days", "Symptoms for up to 120 days"} <= set(checks)
    assert checks["Length of the log"].result == PASSED
    assert "rather than" in checks["Patients who never return"].sentence


def test_how_many_come_at_recalls_only_is_told_with_its_range():
    check = next(check for check in answer().checks if check.name == "Patients who come at recalls only")
    share = row("only_at_recalls_share")
    assert f"{share.value * 100:.0f}% of patients not gone for good" in check.sentence
    assert share.low <= share.value <= share.high
    assert "come at recalls only" in " ".join(answer().assumptions)


def test_a_log_that_begins_after_the_clinic_did_says_so():
    name = "The log begins after the clinic did"
    assert not any(check.name == name for check in answer().checks)
    visits, ears = World(patients=1500, years_before=2.0, frailty_variance=0.5).log(11)
    found = when_to_call_back(Clinic(visits, ears, settings=settings_from_toml("[recall]\ntoday_months = 12")))
    check = next(check for check in found.checks if check.name == name)
    assert f"{row('known_before_share', found).value * 100:.0f}% of the ears" in check.sentence
    assert "This is allowed for: ears are told apart" in check.sentence


@pytest.mark.parametrize(("share", "result"), [(0.35, INFORMATION), (1.0, FAILED)])
def test_open_ears_that_were_cleaned_are_told_and_warned_of_where_nearly_all_were(share, result):
    name = "Open ears that were cleaned"
    visits, ears = World(patients=1500, cleaned_open=share).log(11)
    found = when_to_call_back(Clinic(visits, ears, settings=settings_from_toml("[recall]\ntoday_months = 12")))
    check = next(check for check in found.checks if check.name == name)
    assert check.result == result
    assert ("sooner than said here" in check.sentence) == (result == FAILED)


def test_without_kinds_of_visits_nobody_is_said_to_come_at_recalls_only():
    visits, ears = World(patients=800).log(11)
    bare = visits.assign(booking_kind=pd.Series(None, index=visits.index, dtype=visits["booking_kind"].dtype))
    found = when_to_call_back(Clinic(bare, ears, settings=settings_from_toml("")))
    assert found.answered
    check = next(check for check in found.checks if check.name == "Patients who come at recalls only")
    assert check.sentence.startswith("Too few people first came back at a recall")
    assert not any(each.quantity == "only_at_recalls_share" for each in found.rows)


def test_another_share_and_another_interval_are_the_owners():
    found = ask("[recall]\nshare = 0.5\ntoday_months = 6")
    assert "5 in 10 of their ears" in found.headline
    assert found.chart_title.startswith("At today's 6 months")
    assert row("recall_months", found, group="everyone").value > row("recall_months", group="everyone").value


def test_a_small_group_is_told_and_everyone_is_called_alike():
    found = ask("[recall]\nfewest_ears = 500")
    assert found.headline.startswith("Call people back at about ")
    assert any("too few for a figure of their own" in check.sentence for check in found.checks)
    assert [trace.name for trace in found.chart.data] == ["everyone range", "everyone"]
    assert found.table["recall_curve"].tolist() == ["everyone's", "own", "own"]


def test_where_the_owner_names_groups_the_answer_goes_by_them():
    found = ask('[recall]\ngroups = ["hearing_aid"]')
    assert "The groups go by hearing aid, as the settings say." in found.assumptions
    assert not any("as the settings say" in said for said in answer().assumptions)
    for named, plain in (("hearing_aid:yes", "hearing_aid"), ("hearing_aid:no", "no_hearing_aid")):
        assert row("recall_months", found, group=named).value == row("recall_months", group=plain).value
    assert found.headline.startswith("Call back people with a hearing aid at about ")


def test_of_groups_nobody_noted_there_is_everyones_figure_and_a_word_of_it():
    found = ask('[recall]\ngroups = ["canal"]')
    assert found.headline.startswith("Call people back at about ")
    assert any("without a note on canal count in everyone's figure only" in said for said in found.assumptions)


def test_a_young_log_is_warned_of():
    checks = {check.name: check for check in ask(years=1.0).checks}
    assert checks["Length of the log"].result == FAILED


def test_a_log_of_a_few_months_has_no_figure_yet():
    found = ask(years=0.4, patients=2000)
    assert not found.answered
    assert "of the 6 months this needs" in found.headline


def emptied(frame: pd.DataFrame, *columns: str) -> pd.DataFrame:
    return frame.assign(
        **{name: pd.Series([None] * len(frame), index=frame.index, dtype=frame[name].dtype) for name in columns}
    )


@pytest.mark.parametrize("lacking", ["hearing_aid", "cotton_bud", "booking_kind", "age_band"])
def test_a_log_without_one_fact_of_the_visits_still_has_an_answer(lacking):
    found = ask(visits=emptied(logged()[0], lacking))
    assert found.answered
    if lacking == "hearing_aid":
        assert found.headline.startswith("Call people back at about ")


@pytest.mark.parametrize("lacking", ["methods", "canal", "percent_blocked"])
def test_a_log_without_one_fact_of_the_ears_still_has_an_answer(lacking):
    assert ask(ears=emptied(logged()[1], lacking)).answered


def test_a_log_of_one_ear_only_still_has_an_answer():
    ears = logged()[1]
    assert ask(ears=ears[ears["ear"] == "left"]).answered


@pytest.mark.parametrize("lacking", [("patient_key", "visits"), ("grade", "ears"), ("outcome", "ears")])
def test_a_log_without_what_recall_rests_on_is_told_what_to_record(lacking):
    column, which = lacking
    visits, ears = logged()
    found = ask(visits=emptied(visits, column)) if which == "visits" else ask(ears=emptied(ears, column))
    assert not found.answered
    assert found.headline.startswith("No figure yet. ")
    assert "Record" in found.headline or "Keep" in found.headline


def test_one_visit_a_patient_is_no_return():
    visits, ears = logged()
    first = visits.sort_values("slot_start").drop_duplicates("patient_key")
    found = ask(visits=first, ears=ears[ears["visit_id"].isin(first["visit_id"])])
    assert found.headline.startswith("No figure yet. Nobody has come back yet")
