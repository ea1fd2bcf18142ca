"""The three answers about a quarter, on logs small enough to count by hand."""

import dataclasses
import json

import pandas as pd
import pytest

from analysis.answers.quarter import activity, outcomes, safety
from analysis.clinic import Clinic
from analysis.present import words
from analysis.present.page_parts import answer_html, answer_text
from analysis.problems import DataProblem
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml

ASK = [activity, outcomes, safety]
SHOW_ALL = "[clinic]\nhide_below = 1"


def clinic(bookings: dict[str, dict[str, int]], *, toml: str = SHOW_ALL, last: str = "", **columns) -> Clinic:
    """Make a clinic: for each quarter how many bookings of each attendance, attended ones last; one ear a visit."""
    rows = []
    for quarter, kept in bookings.items():
        days = pd.period_range(quarter, quarter, freq="Q")[0]
        times = pd.date_range(days.start_time.normalize(), days.end_time.normalize(), periods=sum(kept.values()))
        hows = [how for how, many in kept.items() for _ in range(many)]
        rows += [
            {"slot_start": day + pd.Timedelta(hours=9), "attendance": how}
            for day, how in zip(times.normalize(), hows, strict=True)
        ]
    visits = pd.DataFrame(rows)
    visits["visit_id"] = visits["patient_key"] = [f"v{row}" for row in visits.index]
    visits = visits.assign(**columns)
    came = visits["attendance"] == "attended"
    ears = pd.DataFrame({"visit_id": visits.loc[came, "visit_id"], "ear": "left", "grade": "fully_occluding"})
    ears = ears.assign(methods="wide_suction", outcome="clear")
    day = f"\nlast_day = {last}" if last else ""
    return Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, ears), settings=settings_from_toml(toml + day))


def row(answer, quantity: str, measure: str, **group):
    return next(
        each
        for each in answer.rows
        if each.quantity == quantity
        and each.group.get("measure") == measure
        and each.group["part"] == "all"
        and all(each.group[key] == value for key, value in group.items())
    )


FULL = {"missed": 10, "cancelled_late": 5, "cancelled": 4, "moved": 1, "attended": 85}


def test_missed_is_a_share_of_the_bookings_that_still_held_their_slot():
    answer = activity(clinic({"2026Q3": FULL}, last="2026-09-30"), "2026-Q3")
    assert row(answer, "share", "missed").value == pytest.approx(10 / 100)
    assert row(answer, "share", "missed").n == 100
    assert row(answer, "count", "booked", period="this_quarter").value == 104


def test_held_bookings_are_attended_missed_or_cancelled_late_and_nothing_else():
    answer = activity(clinic({"2026Q3": FULL}, last="2026-09-30"), "2026-Q3")
    parts = [row(answer, "share", name).value for name in ("attended", "missed", "cancelled_late")]
    assert sum(parts) == pytest.approx(1)


def test_a_large_change_is_told_and_a_small_one_is_not():
    twice = clinic(
        {"2026Q2": {"missed": 40, "attended": 160}, "2026Q3": {"missed": 40, "attended": 360}}, last="2026-09-30"
    )
    answer = activity(twice, "2026-Q3")
    assert row(answer, "ratio_of_counts", "booked", against="last_quarter").value == 2
    assert "100% more than the quarter before" in answer.headline
    same = clinic({"2026Q2": {"missed": 8, "attended": 92}, "2026Q3": {"missed": 9, "attended": 96}}, last="2026-09-30")
    assert "no clear difference from the quarter before" in activity(same, "2026-Q3").headline


def test_a_part_of_a_quarter_is_called_so_and_not_compared():
    halfway = clinic({"2026Q2": {"attended": 90}, "2026Q3": {"attended": 90}}, last="2026-08-14")
    answer = activity(halfway, "2026-Q3")
    assert "part of July to September 2026 (the log ends in August 2026)" in answer.headline
    assert not [each for each in answer.rows if each.quantity in ("ratio_of_counts", "difference_of_shares")]
    assert any("covers only a part of the quarter: it ends in August 2026" in check.sentence for check in answer.checks)


def test_bookings_after_the_last_day_are_not_counted():
    answer = activity(clinic({"2026Q3": {"attended": 92}}, last="2026-07-31"), "2026-Q3")
    assert row(answer, "count", "booked", period="this_quarter").value == 31


def test_starts_on_time_are_within_five_minutes_of_the_slot():
    log = clinic({"2026Q3": {"attended": 40}}, last="2026-09-30")
    minutes_late = pd.Series([0, 5, 6, -3] * 10)
    visits = log.visits.assign(started_at=log.visits["slot_start"] + pd.to_timedelta(minutes_late, unit="min"))
    answer = activity(dataclasses.replace(log, visits=visits), "2026-Q3")
    assert row(answer, "share", "on_time").value == 0.75


def test_small_counts_stay_in_the_clinic():
    log = clinic(
        {"2026Q3": {"missed": 3, "cancelled_late": 7, "attended": 90}},
        toml="[clinic]\nhide_below = 5",
        last="2026-09-30",
    )
    answer = activity(log, "2026-Q3")
    assert row(answer, "count", "missed", period="this_quarter").value is None
    assert row(answer, "count", "cancelled_late", period="this_quarter").value is None
    assert not [each for each in answer.rows if each.quantity == "share" and each.group["measure"] == "missed"]
    assert any("are not shown" in check.sentence for check in answer.checks)
    assert (
        row(
            activity(clinic({"2026Q3": {"missed": 3, "attended": 97}}, last="2026-09-30"), "2026-Q3"), "count", "missed"
        ).value
        == 3
    )


def test_a_success_undone_by_a_second_attempt_is_none():
    log = clinic({"2026Q3": {"attended": 10}}, last="2026-12-31")
    visits = log.visits.assign(patient_key=["again", "again", *[f"p{row}" for row in range(8)]])
    answer = outcomes(dataclasses.replace(log, visits=visits), "2026-Q3")
    assert row(answer, "share", "success").value == pytest.approx(8 / 9)
    assert row(answer, "count", "again", period="this_quarter").value == 1


def test_first_attempts_too_recent_to_judge_are_left_out_and_counted():
    log = clinic({"2026Q3": {"attended": 92}}, last="2026-09-30")
    answer = outcomes(log, "2026-Q3")
    assert row(answer, "share", "success").n == 92 - 28
    assert list(answer.basis.left_out.values()) == [28]
    assert any("First attempts of the log's last 28 days are left out" in check.sentence for check in answer.checks)


def test_two_ears_that_always_agree_tell_as_much_as_one():
    log = clinic({"2026Q3": {"attended": 60}}, last="2026-12-31")
    left = log.ears.assign(outcome=["clear", "clear", "occluding_left"] * 20)
    one_ear = dataclasses.replace(log, ears=typed_frame(EAR_ROWS, left))
    both = dataclasses.replace(log, ears=typed_frame(EAR_ROWS, pd.concat([left, left.assign(ear="right")])))
    narrow, wide = (row(outcomes(each, "2026-Q3"), "share", "success") for each in (one_ear, both))
    assert wide.n == 2 * narrow.n
    assert wide.high - wide.low == pytest.approx(narrow.high - narrow.low, rel=0.05)


def test_an_event_is_told_in_a_thousand_visits():
    events = ["dizziness"] * 6 + ["none"] * 94
    answer = safety(clinic({"2026Q3": {"attended": 100}}, last="2026-09-30", adverse_event=events), "2026-Q3")
    assert answer.headline.startswith("60 in 1,000 visits (between ")
    assert answer.headline.endswith("; 6 of 100) had an adverse event recorded in July to September 2026.")
    assert row(answer, "count", "bleeding", period="this_quarter").value == 0
    assert row(answer, "share", "bleeding").high == pytest.approx(1 - 0.05 ** (1 / 100))


@pytest.mark.parametrize("ask", ASK)
def test_a_quarter_outside_the_log_says_so(ask):
    answer = ask(clinic({"2026Q3": FULL}, last="2026-09-30", adverse_event="none"), "2020-Q1")
    assert not answer.answered
    assert "January to March 2020" in answer.headline


@pytest.mark.parametrize("ask", ASK)
def test_a_misspelt_quarter_is_refused(ask):
    with pytest.raises(DataProblem, match="not a quarter"):
        ask(clinic({"2026Q3": FULL}), "summer")


@pytest.mark.parametrize("ask", ASK)
@pytest.mark.parametrize(
    "lacking", ["ears", "attended", "everything", "adverse_event", "attendance", "grade", "outcome", "patient_key"]
)
def test_a_log_that_lacks_a_fact_still_answers_or_says_what_to_record(ask, lacking):
    log = clinic({"2026Q2": FULL, "2026Q3": FULL}, last="2026-09-30", adverse_event="none")
    visits, ears = log.visits, log.ears
    if lacking == "ears":
        ears = ears.iloc[:0]
    elif lacking == "attended":
        visits = visits[visits["attendance"] != "attended"]
    elif lacking == "everything":
        visits, ears = visits.iloc[:0], ears.iloc[:0]
    elif lacking in visits:
        visits = typed_frame(VISITS, visits.drop(columns=lacking))
    else:
        ears = typed_frame(EAR_ROWS, ears.drop(columns=lacking))
    answer = ask(dataclasses.replace(log, visits=visits, ears=ears), "2026-Q3")
    assert answer.answered or "No figure yet" in answer.headline
    assert answer.headline in answer_html(answer)
    json.dumps([dataclasses.asdict(each) for each in answer.rows], allow_nan=False)


@pytest.mark.parametrize("ask", ASK)
def test_answers_show_themselves(ask):
    log = clinic({"2026Q2": FULL, "2026Q3": FULL}, last="2026-09-30", adverse_event=["dizziness"] + ["none"] * 209)
    answer = ask(log, "2026-Q3")
    assert answer.headline in answer_html(answer)
    assert answer.headline in answer_text(answer)
    assert all(words.label(name) for name in answer.table)
    assert answer.chart is not None
    assert answer.chart_text
    json.dumps([dataclasses.asdict(each) for each in answer.rows], allow_nan=False)
