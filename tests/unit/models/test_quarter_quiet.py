"""A quarter without any adverse event: luck, or events no longer written down."""

import pandas as pd

from analysis.answers.quarter import safety
from analysis.clinic import Clinic
from analysis.derive.quarters import Quarter
from analysis.models.quarter_periods import periods
from analysis.models.quarter_quiet import quiet_quarter
from analysis.schema import EAR_ROWS, VISITS, typed_frame

CHECK = "Are adverse events written down"


def log(before: list[str | None], now: list[str | None]) -> pd.DataFrame:
    """Make attended visits with these adverse events: some in the spring, some in the summer quarter of 2026."""
    spring = pd.date_range("2026-04-01 09:00", "2026-06-30 09:00", periods=len(before))
    summer = pd.date_range("2026-07-01 09:00", "2026-09-30 09:00", periods=len(now))
    rows = {"slot_start": [*spring, *summer], "adverse_event": [*before, *now], "attendance": "attended"}
    table = pd.DataFrame(rows)
    return typed_frame(VISITS, table.assign(visit_id=[f"v{row}" for row in table.index]))


def quiet(before, now):
    visits = log(before, now)
    first, last = visits["slot_start"].min().normalize(), visits["slot_start"].max().normalize()
    return quiet_quarter(visits, periods(Quarter(2026, 3), first, last))


def said(before, now) -> tuple[str, str]:
    answer = safety(Clinic(log(before, now), typed_frame(EAR_ROWS, pd.DataFrame())), "2026-Q3")
    check = next(each for each in answer.checks if each.name == CHECK)
    return check.result, check.sentence


def test_silence_after_many_events_is_hardly_luck():
    found = quiet(["discomfort"] * 40 + ["none"] * 160, ["none"] * 100)
    assert (found.visits, found.visits_before, found.events_before) == (100, 200, 40)
    assert found.chance < 1e-4
    result, sentence = said(["discomfort"] * 40 + ["none"] * 160, ["none"] * 100)
    assert (result, "hardly luck" in sentence) == ("failed", True)


def test_silence_after_one_event_can_be_luck():
    assert quiet(["bleeding"] + ["none"] * 199, ["none"] * 100).chance > 0.9
    result, sentence = said(["bleeding"] + ["none"] * 199, ["none"] * 100)
    assert (result, "can be luck" in sentence) == ("for information", True)


def test_a_log_that_never_saw_an_event_is_asked_about_once_it_is_long():
    assert said(["none"] * 50, ["none"] * 50)[0] == "failed"
    assert said(["none"] * 50, ["none"] * 49)[0] == "for information"


def test_a_quarter_with_an_event_is_not_quiet():
    assert quiet(["none"] * 20, ["dizziness"] + ["none"] * 20) is None


def test_blanks_are_no_silence_where_the_log_writes_none():
    found = quiet(["discomfort"] * 40 + ["none"] * 160, ["none"] * 3 + [None] * 97)
    assert found.visits == 3
    assert found.chance > 0.05


def test_none_seen_still_allows_some():
    answer = safety(Clinic(log(["none"], ["none"] * 59), typed_frame(EAR_ROWS, pd.DataFrame())), "2026-Q3")
    assert "none in 59 visits; the true figure could be as many as 50 in 1,000" in answer.headline


def test_one_event_of_each_kind_is_not_called_fewer_than_five():
    kinds = ["discomfort", "dizziness", "bleeding", "noise_intolerance", "suspected_perforation", "infection_later"]
    answer = safety(Clinic(log(["none"], kinds + ["none"] * 80), typed_frame(EAR_ROWS, pd.DataFrame())), "2026-Q3")
    assert "Fewer than" not in answer.headline
    assert "is not shown" in answer.headline
    assert answer.table["this_quarter"].isna().sum() == 7
