"""Small sets of times, worked by hand."""

import numpy as np
import pytest

from analysis.stats.censored import NoMaximum, weibull_regression
from analysis.stats.kaplan_meier import kaplan_meier

ONE = np.ones(1)


def test_two_inspections_are_reproduced_exactly():
    """Two shares and two figures to fit: the curve goes through both."""
    low, high = np.array([0.0, 10.0, 0.0, 40.0]), np.array([10.0, np.inf, 40.0, np.inf])
    fit = weibull_regression(low, high, np.ones((4, 1)), counts=np.array([20, 80, 60, 40]))
    assert [fit.share_by(time, ONE).value for time in (10, 40)] == pytest.approx([0.2, 0.6])
    shape = np.log(np.log(0.4) / np.log(0.8)) / np.log(4)
    assert fit.shape.value == pytest.approx(shape)
    assert fit.n == 200


def test_a_row_that_says_nothing_or_counts_for_nothing_changes_nothing():
    low, high = np.array([0.0, 10.0, 0.0, 40.0]), np.array([10.0, np.inf, 40.0, np.inf])
    counts = np.array([20.0, 80.0, 60.0, 40.0])
    plain = weibull_regression(low, high, np.ones((4, 1)), counts=counts)
    more = weibull_regression(
        np.append(low, [0.0, 3.0]),
        np.append(high, [np.inf, 5.0]),
        np.ones((6, 1)),
        counts=np.append(counts, [7.0, 0.0]),
    )
    assert more.coefficients == pytest.approx(plain.coefficients)
    assert more.n == 200


@pytest.mark.parametrize(
    ("low", "high"),
    [
        ([5.0, 9.0], [np.inf, np.inf]),
        ([0.0, 0.0], [5.0, 9.0]),
        ([0.0, 9.0], [5.0, np.inf]),
        ([0.0, 0.0], [np.inf, np.inf]),
    ],
    ids=["never seen to happen", "always before the first look", "fell between two looks", "never looked"],
)
def test_times_that_settle_no_curve_are_refused(low, high):
    with pytest.raises(NoMaximum):
        weibull_regression(np.array(low), np.array(high), np.ones((2, 1)))


def test_rows_without_a_lower_and_an_upper_limit_of_the_same_kind_of_group_do_not_hide_a_silent_group():
    """A second group of which nothing is known has no figure; it is refused rather than invented."""
    low, high = np.array([0.0, 10.0, 0.0, 40.0, 0.0]), np.array([10.0, np.inf, 40.0, np.inf, np.inf])
    design = np.column_stack([[1, 1, 1, 1, 0], [0, 0, 0, 0, 1]]).astype(float)
    with pytest.raises(NoMaximum):
        weibull_regression(low, high, design)


def test_everybody_back_leaves_nobody_waiting():
    curve = kaplan_meier(np.array([3, 5]), np.array([True, True]))
    assert curve.survival.tolist() == [0.5, 0.0]
    assert curve.standard_error[-1] == 0.0
    last = curve.estimate_at(5)
    assert (last.value, last.low, last.high) == (0.0, 0.0, 0.0)


def test_before_the_first_event_everybody_waits():
    curve = kaplan_meier(np.array([3, 5]), np.array([True, False]))
    first = curve.estimate_at(1)
    assert (first.value, first.low, first.high, first.n) == (1.0, 1.0, 1.0, 2)
