"""Small counts are hidden, and cannot be worked out from what is shown."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.stats.small_counts import hidden_counts

ONE_TOTAL = [(3, (0, 1, 2))]


@pytest.mark.parametrize(
    ("counts", "hidden"),
    [
        ([50, 30, 20, 100], []),
        ([50, 3, 7, 60], [1, 2]),
        ([50, 3, 2, 55], [0, 1, 2]),
        ([50, 3, 4, 57], [1, 2]),
        ([60, 0, 10, 70], []),
        ([0, 3, 0, 3], [1, 3]),
        ([58, 2, 0, 60], [0, 1]),
    ],
)
def test_a_small_part_takes_a_second_one_with_it(counts, hidden):
    assert np.flatnonzero(hidden_counts(counts, ONE_TOTAL, 5)).tolist() == hidden


def test_two_hidden_ones_that_add_up_to_two_would_be_known_so_a_third_goes():
    assert hidden_counts([50, 1, 1, 52], ONE_TOTAL, 5).tolist() == [True, True, True, False]


def test_totals_both_ways_hide_a_square():
    north, south, both = [20, 3, 23], [30, 9, 39], [50, 12, 62]
    sums = [(2, (0, 1)), (5, (3, 4)), (8, (6, 7)), (6, (0, 3)), (7, (1, 4)), (8, (2, 5))]
    hidden = hidden_counts([*north, *south, *both], sums, 5)
    assert hidden[:2].all()
    assert hidden.sum() >= 4
    assert not hidden[8]


def test_parts_that_do_not_add_up_are_refused():
    with pytest.raises(ValueError, match="add up"):
        hidden_counts([1, 1, 1, 4], ONE_TOTAL, 5)


def test_a_bound_of_one_hides_nothing():
    assert not hidden_counts([1, 1, 0, 2], ONE_TOTAL, 1).any()


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(0, 9), min_size=4, max_size=4), st.integers(2, 5))
def test_every_hidden_count_of_a_square_table_could_be_another_number(cells, bound):
    a, b, c, d = cells
    counts = np.array([a, b, c, d, a + b, c + d, a + c, b + d, a + b + c + d])
    sums = [(4, (0, 1)), (5, (2, 3)), (6, (0, 2)), (7, (1, 3)), (8, (4, 5)), (8, (6, 7))]
    hidden = hidden_counts(counts.tolist(), sums, bound)
    assert hidden[(counts > 0) & (counts < bound)].all()
    assert not hidden[counts == 0].any()
    possible = (
        [
            table
            for w, x, y, z in itertools.product(range(12), repeat=4)
            if np.array_equal(
                (table := np.array([w, x, y, z, w + x, y + z, w + y, x + z, w + x + y + z]))[~hidden], counts[~hidden]
            )
            and (table[hidden] > 0).all()
        ]
        if hidden.any()
        else []
    )
    for cell in np.flatnonzero(hidden):
        assert len({table[cell] for table in possible}) > 1
        assert max(table[cell] for table in possible) >= bound


def test_what_is_told_elsewhere_is_not_hidden_in_vain():
    assert hidden_counts([50, 3, 7, 60], ONE_TOTAL, 5, told=[2]).tolist() == [True, True, False, False]


def test_blanks_may_be_none_and_so_protect_less():
    """Of 20, 12 came and 3 cancelled: with 5 blanks the 3 could be 1 to 8; with 1 blank at most 4, so the total goes too."""
    assert hidden_counts([12, 3, 5, 20], ONE_TOTAL, 5, told=[0], unshown=[2]).tolist() == [False, True, False, False]
    assert hidden_counts([12, 3, 1, 16], ONE_TOTAL, 5, told=[0], unshown=[2]).tolist() == [False, True, False, True]


def test_it_ends_where_all_else_is_told():
    assert hidden_counts([12, 3, 15], [(2, (0, 1))], 5, told=[0, 2]).tolist() == [False, True, False]
