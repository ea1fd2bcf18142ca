"""Ranges from redraws: their ends stand where a further redraw falls beyond as often as the level says."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.stats.resampling import percentile_range


def test_of_99_redraws_a_90_percent_range_runs_from_the_fifth_to_the_ninety_fifth():
    found = percentile_range(50.0, 50.0, np.arange(1.0, 100.0), level=0.9, n=1, method="")
    assert (found.low, found.high) == (pytest.approx(5.0), pytest.approx(95.0))


def test_a_further_redraw_falls_within_as_often_as_said():
    drawn = np.random.default_rng(1).random((4000, 100))
    ranges = [percentile_range(0.0, 0.0, each, level=0.95, n=1, method="") for each in drawn]
    within = np.array([each.high - each.low for each in ranges])  # of uniform redraws: the share between the ends
    # a range of 100 redraws holds 95 in 100 give or take 2.2; over 4,000 that is known to 0.03
    assert within.mean() == pytest.approx(0.95, abs=4 * within.std() / np.sqrt(len(within)))


def test_the_range_stands_around_the_figure_as_the_redraws_around_their_base():
    found = percentile_range(10.0, 9.0, np.array([8.0, 9.0, 10.0, 11.0]), level=0.6, n=3, method="")
    assert (found.low, found.high) == (pytest.approx(9.0), pytest.approx(12.0))


def test_too_few_redraws_for_a_level_end_at_the_outermost():
    found = percentile_range(0.0, 0.0, np.arange(5.0), level=0.99, n=1, method="")
    assert (found.low, found.high) == (0.0, 4.0)
