"""Measures from month to month, on logs small enough to count by hand."""

from dataclasses import replace

import pandas as pd
import pytest

from analysis.models.watched_months import (
    MINUTES,
    MONTH,
    QUARTER,
    SHARE,
    Marks,
    stretches,
    watch,
    watch_all,
    whole_periods,
)


def marks(by_month: dict[str, tuple[int, int]], **how) -> Marks:
    """Make bookings: for each month how many were missed, of how many."""
    rows = [
        (pd.Timestamp(f"{month}-15 09:00"), place < missed)
        for month, (missed, of) in by_month.items()
        for place in range(of)
    ]
    days, values = zip(*rows, strict=True)
    return Marks("missed", SHARE, pd.Series(days), pd.Series(values), **how)


FIRST, LAST = pd.Timestamp("2025-01-01"), pd.Timestamp("2025-12-31")
STEADY = {f"2025-{month:02}": (20, 200) for month in range(1, 13)}


def test_steady_months_raise_no_signal():
    assert not watch(marks(STEADY), FIRST, LAST).chart.signals.any()


def test_a_leap_in_one_month_is_signalled_in_that_month_only():
    watched = watch(marks(STEADY | {"2025-10": (50, 200)}), FIRST, LAST)
    assert [str(each) for each in watched.periods[watched.chart.beyond]] == ["2025-10"]


def test_eight_months_on_one_side_are_signalled_from_the_eighth():
    raised = {f"2025-{month:02}": (24 if month > 4 else 12, 200) for month in range(1, 13)}
    watched = watch(marks(raised), FIRST, LAST)
    assert [str(each) for each in watched.periods[watched.chart.run]] == ["2025-12"]
    assert not watched.chart.beyond.any()


def test_limits_begin_anew_at_a_declared_change_and_nowhere_else():
    raised = {f"2025-{month:02}": (60 if month > 6 else 20, 200) for month in range(1, 13)}
    undeclared = watch(marks(raised), FIRST, LAST)
    assert undeclared.chart.signals.any()
    assert len(set(undeclared.chart.centre)) == 1
    declared = watch(marks(raised), FIRST, LAST, changes=[pd.Timestamp("2025-07-01")])
    assert not declared.chart.signals.any()
    assert declared.chart.centre.round(3).tolist() == [0.1] * 6 + [0.3] * 6


def test_a_month_without_visits_leaves_a_gap_and_no_signal():
    holed = {month: counts for month, counts in STEADY.items() if month != "2025-08"}
    watched = watch(marks(holed), FIRST, LAST)
    assert watched.known == 11
    assert not watched.chart.signals.any()


def test_a_count_too_small_to_show_makes_the_measure_go_by_quarter():
    watched = watch(marks(STEADY | {"2025-08": (3, 200)}), FIRST, LAST)
    assert watched.by == QUARTER
    assert watch(marks(STEADY | {"2025-08": (3, 200)}), FIRST, LAST, hide_below=1).by == MONTH


@pytest.mark.parametrize("kind", [SHARE, MINUTES])
def test_a_month_of_too_few_visits_makes_any_measure_go_by_quarter(kind):
    """How many came in a month is a count as well."""
    few = marks(STEADY | {"2025-08": (0, 4)}, private=False)
    few = replace(few, kind=kind, values=few.values.astype(float))
    assert watch(few, FIRST, LAST).by == QUARTER
    assert watch(few, FIRST, LAST, hide_below=1).by == MONTH


def test_of_what_is_no_fact_about_patients_the_rest_may_be_small():
    nearly_all = marks(STEADY | {"2025-08": (197, 200)}, private=False)
    assert watch(nearly_all, FIRST, LAST).by == MONTH
    assert watch(replace(nearly_all, private=True), FIRST, LAST).by == QUARTER


def test_a_measure_too_rare_even_by_quarter_is_not_charted():
    assert watch(marks(dict.fromkeys(STEADY, (1, 200))), FIRST, LAST) is None


def test_a_month_without_any_event_is_no_small_count():
    assert watch(marks(dict.fromkeys(STEADY, (0, 200))), FIRST, LAST).by == MONTH


@pytest.mark.parametrize(
    ("first", "last", "months"),
    [
        ("2025-01-05", "2025-03-31", 3),  # a log may open on the first working day
        ("2025-01-20", "2025-03-31", 2),
        ("2025-01-01", "2025-03-30", 2),
        ("2025-01-20", "2025-01-25", 0),
    ],
)
def test_months_covered_in_part_are_left_out(first, last, months):
    assert len(whole_periods(pd.Timestamp(first), pd.Timestamp(last), MONTH)) == months


def test_a_change_within_a_month_counts_from_the_next():
    months = pd.period_range("2025-01", "2025-03", freq="M")
    assert stretches(months, [pd.Timestamp("2025-02-10")]).tolist() == [0, 0, 1]


def late(by_month: dict[str, tuple[int, int]]) -> Marks:
    return replace(marks(by_month), name="cancelled_late")


def test_missed_and_cancelled_late_go_by_the_same_stretches():
    """Of bookings held less those attended, which are told month by month, one would give the other away."""
    few = {f"2025-{month:02}": (3, 200) for month in range(1, 13)}
    both = watch_all([marks(STEADY), late(few)], FIRST, LAST)
    assert {each.by for each in both.values()} == {QUARTER}
    assert {each.by for each in watch_all([marks(STEADY), late(STEADY)], FIRST, LAST).values()} == {MONTH}


def test_where_one_of_them_is_too_small_neither_is_charted():
    rare = {f"2025-{month:02}": (1, 200) for month in range(1, 13)}
    others = replace(marks(STEADY), name="success")
    made = watch_all([marks(STEADY), late(rare), others], FIRST, LAST)
    assert made["missed"] is None
    assert made["cancelled_late"] is None
    assert made["success"].by == MONTH
