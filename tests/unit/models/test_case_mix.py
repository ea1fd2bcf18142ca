"""Levels that cannot stand alone are joined by a stated rule; the same column twice is fitted once."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.models.adjusted import adjusted_arms
from analysis.models.case_mix import case_mix, independent_columns, level_columns
from analysis.problems import NotEnough
from analysis.schema import AGE_BANDS

BANDS = list(AGE_BANDS)


def mix_of(counts: dict[str, int], *, ordered: bool, outcome_of: dict[str, int] | None = None):
    """Make a fact with so many rows a level, arms alternating; successes are the first so many of a level."""
    values = np.repeat(list(counts), list(counts.values()))
    fact = pd.Series(values, dtype=pd.CategoricalDtype(BANDS, ordered=True) if ordered else "str")
    outcome = None
    if outcome_of is not None:
        outcome = np.concatenate([np.arange(n) < outcome_of[level] for level, n in counts.items()])
    treated = np.arange(len(values)) % 2 == 0
    return case_mix(pd.DataFrame({"fact": fact}), ["fact"], treated=treated, outcome=outcome)


def test_a_level_with_five_of_each_stands_alone_and_one_with_four_does_not():
    assert mix_of({"x": 20, "y": 10}, ordered=False).joined == {}
    assert mix_of({"x": 20, "y": 8, "z": 12}, ordered=False).joined == {"fact": ["y_or_z"]}


def test_a_level_without_enough_failures_is_joined():
    mix = mix_of({"x": 40, "y": 30, "z": 50}, ordered=False, outcome_of={"x": 20, "y": 26, "z": 25})
    assert mix.joined == {"fact": ["x_or_y"]}


def test_an_ordered_level_joins_the_smaller_neighbour_and_not_the_rarest_level():
    mix = mix_of({"under_18": 4, "18_39": 30, "40_59": 12, "60_74": 40}, ordered=True)
    assert mix.joined == {"fact": ["18_39_or_under_18"]}
    mix = mix_of({"18_39": 30, "40_59": 4, "60_74": 20, "75_and_over": 12}, ordered=True)
    assert mix.joined == {"fact": ["40_59_or_60_74"]}


def test_blanks_are_a_level_and_are_counted():
    rows = pd.DataFrame({"hearing_aid": pd.array([True] * 20 + [False] * 20 + [None] * 20, dtype="boolean")})
    mix = case_mix(rows, ["hearing_aid"], treated=np.arange(60) % 2 == 0)
    assert sorted(mix.levels["hearing_aid"].unique()) == ["no", "not_recorded", "yes"]
    assert mix.not_recorded == {"hearing_aid": 20}
    assert mix.unrecorded == []


def test_a_fact_recorded_for_nobody_is_named_and_gives_no_column():
    rows = pd.DataFrame({"canal": pd.Series([None] * 20, dtype="str")})
    mix = case_mix(rows, ["canal"], treated=np.arange(20) % 2 == 0)
    assert mix.unrecorded == ["canal"]
    assert level_columns(mix.levels).shape == (20, 0)


def test_the_commonest_level_is_the_one_compared_with():
    levels = pd.DataFrame({"canal": ["ordinary"] * 3 + ["narrow"] * 2 + ["tortuous"]})
    assert list(level_columns(levels)) == ["canal=narrow", "canal=tortuous"]


def test_two_facts_blank_in_the_same_rows_are_fitted_once():
    blank = np.repeat([1.0, 0.0], [30, 70])
    twice = np.column_stack([np.ones(100), blank, blank, np.arange(100)])
    assert independent_columns(twice) == [0, 1, 3]
    rng = np.random.default_rng(3)
    treated, outcome = rng.random(100) < 0.5, rng.random(100) < 0.6
    clusters = np.arange(100)
    once = adjusted_arms(pd.DataFrame({"a": blank}), treated=treated, outcome=outcome, clusters=clusters, shares=True)
    doubled = adjusted_arms(
        pd.DataFrame({"a": blank, "b": blank}), treated=treated, outcome=outcome, clusters=clusters, shares=True
    )
    assert doubled.treated == pytest.approx(once.treated)
    np.testing.assert_allclose(doubled.covariance, once.covariance)


def test_a_treatment_that_goes_exactly_with_a_fact_has_no_figure():
    treated = np.arange(40) < 20
    with pytest.raises(NotEnough, match="cannot be told apart"):
        adjusted_arms(
            pd.DataFrame({"new_system": treated}),
            treated=treated,
            outcome=np.arange(40) % 3 == 0,
            clusters=np.arange(40),
            shares=True,
        )


def test_a_mixture_of_facts_that_leaves_no_doubt_has_no_figure():
    """Every hard ear fails and every easy one succeeds."""
    hard = np.arange(80) % 2 == 0
    treated = np.arange(80) < 40
    with pytest.raises(NotEnough, match="every ear"):
        adjusted_arms(pd.DataFrame({"hard": hard}), treated=treated, outcome=~hard, clusters=np.arange(80), shares=True)


def test_a_mixture_nearly_without_doubt_has_no_figure_either():
    """Hard ears all fail, easy ones do either: the fit would run off to certainty without an error."""
    hard = np.arange(80) % 2 == 0
    treated = np.arange(80) < 40
    outcome = ~hard & (np.arange(80) % 3 > 0)
    with pytest.raises(NotEnough, match="every ear"):
        adjusted_arms(
            pd.DataFrame({"hard": hard}), treated=treated, outcome=outcome, clusters=np.arange(80), shares=True
        )
