"""Rounding, copying, differing pens and months of first visits on logs small enough to count by hand."""

import pandas as pd
import pytest

from analysis.models.completeness import facts_by_month
from analysis.models.log_heaping import copied_times, rounded_times, strict_level
from analysis.models.log_recorders import recording_habits
from analysis.models.log_system_change import first_visits
from analysis.problems import NotEnough
from analysis.schema import EAR_ROWS, VISITS, typed_frame

NO_EARS = typed_frame(EAR_ROWS, pd.DataFrame())
NINE = pd.Timestamp("2026-03-02 09:00")


def log(**columns) -> pd.DataFrame:
    frame = pd.DataFrame({"attendance": "attended"} | columns)
    return typed_frame(VISITS, frame.assign(visit_id=[f"v{row}" for row in frame.index]))


def minutes_after(minutes, start=NINE) -> pd.Series:
    return start + pd.to_timedelta(pd.Series(minutes), unit="m")


def whole(visits: pd.DataFrame) -> pd.Series:
    return pd.Series("Ash", index=visits.index)


def test_ends_on_every_minute_alike_are_not_rounded():
    visits = log(ended_at=minutes_after(range(60)))
    everybody, ash = rounded_times(visits, whole(visits))
    assert (everybody.part, ash.part) == ("the whole log", "Ash")
    assert ash.index.value == 1.0
    assert ash.rounded.value == 0.0
    assert not ash.flagged


def test_half_of_ends_rounded_are_told_as_half():
    # Sixty ends on each minute of the hour and sixty on multiples of five: 12 + 60 of 120 are multiples of five.
    visits = log(
        ended_at=pd.concat(
            [minutes_after(range(60)), minutes_after([5 * step for step in range(12)] * 5)], ignore_index=True
        )
    )
    everybody = rounded_times(visits, whole(visits))[0]
    assert everybody.index.value == pytest.approx(5 * 72 / 120)
    assert everybody.rounded.value == pytest.approx(0.5)
    assert everybody.flagged


def test_minutes_are_judged_where_a_log_has_no_ends():
    visits = log(minutes=[10.0, 15.0, 20.0, 25.0] * 10)
    assert [(each.what, each.flagged) for each in rounded_times(visits, whole(visits))] == [("minutes", True)] * 2


def test_nineteen_times_are_too_few_to_judge():
    visits = log(ended_at=minutes_after(range(19)), slot_start=NINE, slot_minutes=30.0)
    assert rounded_times(visits, whole(visits)) == []
    assert copied_times(visits, whole(visits), []) == []


def slots(off_minutes) -> pd.DataFrame:
    """Make visits of half-hour slots whose ends lie so many minutes off the slot's end."""
    slot = minutes_after([60 * row for row in range(len(off_minutes))])
    end = slot + pd.to_timedelta(pd.Series(off_minutes) + 30, unit="m")
    return log(slot_start=slot, slot_minutes=30.0, started_at=slot + pd.Timedelta(minutes=1), ended_at=end)


def test_ends_that_are_the_slots_far_more_often_are_copied():
    visits = slots([0] * 30 + [-3, -2, -1, 1, 2, 3] * 2)
    everybody = next(each for each in copied_times(visits, whole(visits), []) if each.what == "ended_at")
    assert (everybody.exact, everybody.times, everybody.ratio.value) == (30, 42, 15.0)
    assert everybody.copied == pytest.approx((30 - 2) / 42)
    assert everybody.flagged


def test_ends_spread_evenly_around_the_slots_end_are_not():
    visits = slots([-3, -2, -1, 0, 1, 2, 3] * 10)
    assert not any(each.flagged for each in copied_times(visits, whole(visits), []))


def test_a_start_on_the_slot_before_the_patient_came_cannot_be_true():
    visits = slots([5] * 20).assign(started_at=lambda frame: frame["slot_start"])
    visits = visits.assign(
        arrived_at=visits["slot_start"].where(visits.index > 2, visits["slot_start"] + pd.Timedelta(minutes=4))
    )
    starts = copied_times(visits, whole(visits), [])[0]
    assert (starts.what, starts.exact, starts.contradicted, starts.flagged) == ("started_at", 20, 3, False)


def test_levels_grow_stricter_with_the_number_of_judgements():
    assert strict_level(1) == pytest.approx(0.99)
    assert strict_level(20) == pytest.approx(0.9995)


def pens(*shares: float) -> tuple[pd.DataFrame, pd.Series]:
    """Make practitioners of 100 visits each who write the softener down in such a share."""
    cells = [value for share in shares for value in ["none"] * round(100 * share) + [None] * round(100 - 100 * share)]
    visits = log(softener=cells)
    return visits, pd.Series([f"P{row // 100}" for row in visits.index])


def differing(*shares: float) -> list[str]:
    visits, parts = pens(*shares)
    return [habit.part for habit in recording_habits(visits, NO_EARS, parts) if habit.differs]


def test_one_odd_pen_makes_nobody_else_look_odd():
    assert differing(0.9, 0.9, 0.1, 0.9) == ["P2"]


def test_two_who_differ_from_each_other_both_do():
    assert differing(0.9, 0.2) == ["P0", "P1"]


def test_small_differences_and_few_visits_say_nothing():
    assert differing(0.90, 0.85, 0.88) == []
    visits, parts = pens(0.9, 0.1)
    assert recording_habits(visits.iloc[90:110], NO_EARS, parts.iloc[90:110]) == []
    assert recording_habits(visits, NO_EARS, pd.Series("one", index=visits.index)) == []


def monthly(*months: tuple[int, int]) -> pd.DataFrame:
    """Make months of so many visits by new and by known patients."""
    rows = []
    for at, (new, known) in enumerate(months):
        day = pd.Timestamp("2025-01-06") + pd.DateOffset(months=at)
        rows += [{"slot_start": day, "patient_key": f"{at}-{each}", "booking_kind": "new"} for each in range(new)]
        rows += [{"slot_start": day, "patient_key": "0-0", "booking_kind": "symptoms_return"} for _ in range(known)]
    return log(**pd.DataFrame(rows).to_dict("list"))


def test_a_leap_in_first_visits_is_found_in_its_month():
    found = first_visits(monthly(*[(10, 40)] * 6, *[(45, 5)] * 3))
    assert [jump.month for jump in found.jumps] == [pd.Timestamp("2025-07-01")]
    jump = found.jumps[0]
    assert jump.before == pytest.approx(0.2)
    assert jump.rise.value == pytest.approx(0.7)
    assert jump.extra_visits.value == pytest.approx(105)
    assert not jump.new_export


def test_a_steady_log_has_no_leap_and_levels_at_once():
    found = first_visits(monthly(*[(10, 40)] * 12))
    assert found.jumps == ()
    assert found.reaches_back == pd.Timestamp("2025-01-01")


def test_a_log_whose_share_keeps_falling_never_levels():
    found = first_visits(monthly(*[(40 - 4 * at, 10 + 4 * at) for at in range(8)]))
    assert found.jumps == ()
    assert found.reaches_back is None


def test_few_months_and_no_numbers_say_what_is_missing():
    with pytest.raises(NotEnough, match="7 are needed"):
        first_visits(monthly(*[(10, 40)] * 6))
    with pytest.raises(NotEnough, match="patient numbers"):
        first_visits(log(slot_start=[NINE]))


def test_facts_are_counted_by_month_of_the_visit_ears_by_that_of_theirs():
    visits = log(slot_start=[NINE, NINE + pd.DateOffset(months=1)], softener=["none", None])
    ears = typed_frame(EAR_ROWS, pd.DataFrame({"visit_id": ["v0", "v1", "v1"], "grade": ["clear", "clear", None]}))
    table = facts_by_month(visits, ears).set_index(["fact", "month"])
    march, april = pd.Timestamp("2026-03-01"), pd.Timestamp("2026-04-01")
    assert table.loc[("softener", march)].tolist() == [1, 1]
    assert table.loc[("softener", april)].tolist() == [0, 1]
    assert table.loc[("grade", april)].tolist() == [1, 2]
