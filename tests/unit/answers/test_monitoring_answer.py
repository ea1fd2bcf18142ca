"""What is watched from month to month: signals told, false alarms counted, bad logs said to be so."""

import numpy as np
import pandas as pd

from analysis.answers.monitoring import what_changed
from analysis.clinic import Clinic
from analysis.present.page_parts import answer_html, answer_text
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml


def clinic(months: int = 12, *, raised: str = "", toml: str = "", **columns) -> Clinic:
    """Make a diary of 200 bookings a month, some 20 of them missed, or 60 in the raised month."""
    rows = []
    for place, month in enumerate(pd.period_range("2025-01", periods=months, freq="M")):
        missed = 60 if str(month) == raised else 15 + 10 * (place % 2)
        rows += [
            {"slot_start": month.start_time + pd.Timedelta(hours=9 + booking * 3), "attendance": how}
            for booking, how in enumerate(["missed"] * missed + ["attended"] * (200 - missed))
        ]
    visits = pd.DataFrame(rows).assign(**columns)
    visits["visit_id"] = [f"v{row}" for row in visits.index]
    day = f"\n[clinic]\nlast_day = {(month.end_time).date()}"
    return Clinic(
        typed_frame(VISITS, visits), typed_frame(EAR_ROWS, pd.DataFrame()), settings=settings_from_toml(toml + day)
    )


def test_a_month_planted_out_of_line_is_told_in_the_headline():
    answer = what_changed(clinic(raised="2025-11"), "2025-Q4")
    assert "bookings missed (30% in November 2025, usually" in answer.headline
    assert answer.chart_title == "Left what is usual in the quarter: bookings missed"
    assert (
        next(each for each in answer.rows if each.quantity == "signals" and each.group["measure"] == "missed").value
        == 1
    )


def test_an_unchanged_log_is_told_as_unchanged():
    answer = what_changed(clinic(), "2025-Q4")
    assert "left what is usual in October to December 2025" in answer.headline
    assert answer.headline.startswith(("None of", "The one watched measure never"))


def test_what_came_before_the_quarter_is_told_beside_it_only():
    answer = what_changed(clinic(raised="2025-02"), "2025-Q4")
    assert "bookings missed (" not in answer.headline
    assert "Bookings missed: February 2025" in answer_text(answer)


def test_a_declared_change_is_named():
    toml = '[monitoring]\nchanges = { 2025-07-01 = "second chair" }'
    answer = what_changed(clinic(toml=toml), "2025-Q4")
    assert "worked out anew from 1 July 2025 (second chair), as declared" in " ".join(answer.assumptions)
    assert "second chair" in answer.chart.to_json()


def test_a_name_of_a_change_is_never_markup():
    toml = '[monitoring]\nchanges = { 2025-07-01 = "<b>room</b>" }'
    answer = what_changed(clinic(toml=toml), "2025-Q4")
    assert "<b>room</b>" not in answer_html(answer)
    assert "<b>room</b>" not in "".join(each.text for each in answer.chart.layout.annotations)


def test_fewer_than_eight_months_give_no_limits():
    answer = what_changed(clinic(7), "2025-Q2")
    assert not answer.answered
    assert "fewer than 8 whole months" in answer.headline


def test_a_log_that_says_nothing_of_attendance_is_refused_and_does_not_crash():
    visits = clinic().visits.assign(attendance=pd.Series(None, index=range(2400), dtype="str"))
    bare = Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, pd.DataFrame()))
    assert not what_changed(bare, "2025-Q4").answered


def test_each_column_may_be_lacking():
    whole = clinic(minutes=20.0, minutes_quality="timed", slot_minutes=30.0, adverse_event="none")
    for column in ("minutes", "minutes_quality", "slot_minutes", "adverse_event", "attendance", "slot_start", "site"):
        visits = typed_frame(VISITS, whole.visits.drop(columns=column))
        answer = what_changed(Clinic(visits, whole.ears, settings=whole.settings), "2025-Q4")
        assert answer.headline


def test_a_month_of_no_event_reads_as_none_and_draws_its_limits():
    answer = what_changed(clinic(adverse_event="none"), "2025-Q4")
    events = answer.table[answer.table["measure"] == "any adverse event"]
    assert events["value"].tolist() == [0, 0, 0]
    assert np.isfinite(events["high"]).all()
