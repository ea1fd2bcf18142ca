"""Practitioners or sites beside what chance allows: on the same mix, cases that go together, small counts."""

import numpy as np
import pandas as pd
import pytest

from analysis.models.unit_comparison import Cases, Comparison, compare_units


def compared(by_unit: dict[str, list[tuple[str, int, int]]], **how) -> Comparison | None:
    """Compare units of which each mix of cases has so many successes of so many."""
    rows = [
        (unit, mix, place < successes)
        for unit, mixes in by_unit.items()
        for mix, successes, of in mixes
        for place in range(of)
    ]
    table = pd.DataFrame(rows, columns=["unit", "mix", "outcome"])
    table["group"] = how.pop("group", np.arange(len(table)))
    settings = {"fewest": 30, "hide_below": 5} | how
    return compare_units(Cases("success", table), table["unit"], "practitioner", **settings)


def test_one_with_harder_cases_is_not_taken_for_worse():
    alike = compared({"A": [("easy", 180, 200), ("hard", 50, 100)], "B": [("easy", 90, 100), ("hard", 100, 200)]})
    assert alike.funnel.share == pytest.approx([alike.funnel.target] * 2)
    assert not alike.funnel.outside(0.95).any()


def test_a_true_difference_is_beyond_what_chance_allows():
    apart = compared({"A": [("", 180, 200)], "B": [("", 120, 200)], "C": [("", 150, 200)]})
    assert apart.funnel.outside(0.998).tolist() == [True, True, False]


def test_cases_that_go_together_widen_the_limits():
    counts = {"A": [("", 120, 200)], "B": [("", 150, 200)]}
    apart, pairs = compared(counts), compared(counts, group=np.arange(400) // 2)
    assert pairs.funnel.over_dispersion == pytest.approx(2, rel=0.05)
    assert pairs.funnel.spread == pytest.approx(apart.funnel.spread * np.sqrt(pairs.funnel.over_dispersion))


def test_rows_stand_in_the_order_of_labels_not_of_shares():
    made = compared(
        {"practitioner 10": [("", 150, 200)], "practitioner 2": [("", 100, 200)], "practitioner 1": [("", 140, 200)]}
    )
    assert made.labels == ["practitioner 1", "practitioner 2", "practitioner 10"]


def test_under_thirty_are_left_out_and_counted():
    made = compared({"A": [("", 150, 200)], "B": [("", 140, 200)], "C": [("", 20, 29)]})
    assert made.labels == ["A", "B"]
    assert made.left_out == 1


@pytest.mark.parametrize(
    "units",
    [
        {"A": [("", 150, 200)]},  # one alone
        {"A": [("", 150, 200)], "B": [("", 3, 60)]},  # a count too small to show
        {"A": [("", 150, 200)], "B": [("", 57, 60)]},  # what is left of the total is
        {"A": [("", 6, 300)], "B": [("", 5, 40)]},  # too few are expected
    ],
)
def test_nobody_is_shown_where_one_is_alone_or_a_count_is_small(units):
    assert compared(units) is None


def test_without_any_difference_one_in_twenty_is_outside_the_inner_limits():
    rng, outside = np.random.default_rng(2005), []
    for _ in range(300):
        made = compared({unit: [("", int(rng.binomial(300, 0.3)), 300)] for unit in "ABC"}, hide_below=1)
        outside += made.funnel.outside(0.95).tolist()
    # 900 units, of which 45 should be outside; its spread is 6.5, and three of them are 20.
    assert 25 <= sum(outside) <= 65


def test_from_ten_units_on_their_own_swing_widens_the_limits():
    shares = np.linspace(0.3, 0.7, 12)
    made = compared({f"unit {place:02}": [("", int(200 * share), 200)] for place, share in enumerate(shares)})
    assert made.funnel.over_dispersion > 5
    assert not made.funnel.outside(0.998).any()


def test_a_few_cases_of_one_left_out_do_not_follow_from_the_sum_of_all():
    counts = {"A": [("", 120, 200)], "B": [("", 150, 200)], "C": [("", 60, 90)], "D": [("", 2, 3)]}
    assert compared(counts).labels == ["A", "B"]
    assert compared(counts).left_out == 2
    assert compared(counts | {"D": [("", 10, 20)]}).labels == ["A", "B", "C"]
