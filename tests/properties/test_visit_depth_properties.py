"""What must hold of foretold, pooled and heaped minutes whatever the log."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.models.visit_calibration import calibrated_quantiles, held_out_visits
from analysis.stats.conformal import conformal_quantile, coverage_limits
from analysis.stats.heaping import as_intervals, heaping_index
from analysis.stats.mixed import fit_mixed
from analysis.stats.quantile_regression import quantile_line

FEW = settings(max_examples=25, deadline=None)
amounts = st.lists(st.integers(2, 120), min_size=1, max_size=60).map(lambda each: np.array(each, dtype=float))
shares = st.sampled_from([0.5, 0.8, 0.9])


def log(seed: int, visits: int = 300) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    day = pd.date_range("2025-01-01", periods=visits, freq="3h")
    kind = rng.choice(["new", "routine_recall"], visits, p=[0.8, 0.2])
    return pd.DataFrame({"slot_start": day, "category": kind, "minutes": np.rint(rng.gamma(8, 2.5, visits)) + 1})


@FEW
@given(amounts, shares)
def test_the_conformal_quantile_holds_its_share_of_its_own_window(scores, share):
    found = conformal_quantile(scores, share)
    assert np.mean(scores <= found) >= share - 1e-12
    assert found in scores or np.isinf(found)
    assert conformal_quantile(scores[::-1], share) == found


@FEW
@given(st.integers(20, 500), st.integers(1, 200), shares)
def test_limits_of_coverage_hold_the_share_between_nought_and_one(window, cases, share):
    low, high = coverage_limits(window, cases, share, level=0.99)
    assert 0 <= low <= high <= 1
    assert low - 1 / cases <= share <= high + 1 / cases


@FEW
@given(st.integers(0, 10_000), st.floats(0.2, 5.0))
def test_minutes_put_right_scale_with_the_log_and_never_mind_its_order(seed, factor):
    visits = log(seed)
    base = calibrated_quantiles(visits).table
    shuffled = calibrated_quantiles(visits.sample(frac=1.0, random_state=seed)).table
    scaled = calibrated_quantiles(visits.assign(minutes=visits["minutes"] * factor)).table
    pd.testing.assert_frame_equal(base, shuffled)
    assert scaled["minutes"].to_numpy() == pytest.approx(base["minutes"].to_numpy() * factor)


@FEW
@given(st.integers(0, 10_000))
def test_a_greater_share_never_gets_fewer_minutes_and_later_visits_never_change_the_promise(seed):
    visits = log(seed)
    made, checked = held_out_visits(visits)
    by_category = made.table.pivot_table(index="category", columns="share", values="minutes")
    assert (by_category.diff(axis=1).iloc[:, 1:] >= -1e-9).all(axis=None)
    changed = visits.assign(minutes=visits["minutes"].where(np.arange(len(visits)) < 225, 500.0))
    pd.testing.assert_frame_equal(held_out_visits(changed)[0].table, made.table)
    assert (checked["under"] <= checked["within"]).all()


@FEW
@given(amounts)
def test_the_heaping_index_lies_between_nought_and_the_step_within_its_range(minutes):
    found = heaping_index(minutes)
    assert 0 <= found.low <= found.value + 1e-12 <= found.high + 2e-12 <= 5 + 1e-9
    twice = heaping_index(np.tile(minutes, 2))
    assert twice.value == pytest.approx(found.value)
    assert twice.high - twice.low <= found.high - found.low + 1e-12


@FEW
@given(amounts, st.booleans())
def test_an_interval_holds_the_minutes_as_written(minutes, heaped):
    low, high = as_intervals(minutes, np.full(len(minutes), heaped))
    assert (low <= minutes).all()
    assert (high >= minutes).all()
    assert heaped or (low == high).all()


@FEW
@given(st.integers(0, 10_000), shares)
def test_a_quantile_line_leaves_its_share_below(seed, share):
    rng = np.random.default_rng(seed)
    design = np.column_stack([np.ones(60), rng.integers(0, 3, 60)]).astype(float)
    minutes = rng.gamma(6, 3, 60)
    line = design @ quantile_line(design, minutes, share)
    assert np.mean(minutes < line - 1e-7) <= share + 1e-9
    assert np.mean(minutes <= line + 1e-7) >= share - 1e-9


@FEW
@given(st.integers(0, 10_000))
def test_a_pooled_effect_is_drawn_in_and_rows_may_stand_in_any_order(seed):
    rng = np.random.default_rng(seed)
    who = np.repeat(np.arange(5), 8)
    minutes = 20 + rng.normal(0, 4, 5)[who] + rng.normal(0, 3, 40)
    members, order = np.eye(5)[who], rng.permutation(40)
    fit = fit_mixed(np.ones((40, 1)), [members], minutes)
    apart = np.array([minutes[who == each].mean() for each in range(5)]) - minutes.mean()
    assert (np.abs(fit.effects) <= np.abs(apart) + 1e-6).all()
    again = fit_mixed(np.ones((40, 1)), [members[order]], minutes[order])
    assert again.effects == pytest.approx(fit.effects, abs=1e-4)
