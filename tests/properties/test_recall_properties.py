"""What must hold of censored times, gaps and recall whatever the log."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.derive.gaps import gaps
from analysis.models.recall import fit_recall
from analysis.planning.recall_policy import recall_rules
from analysis.settings import RecallPart
from analysis.stats.censored import TimeRegression, weibull_regression
from analysis.stats.kaplan_meier import kaplan_meier
from analysis.stats.turnbull import turnbull
from tests.truth.recall_world import World

FEW = settings(max_examples=25, deadline=None)
ONE, OTHER = np.array([1.0, 0.0]), np.array([1.0, 1.0])
seeds = st.integers(0, 10_000)


def inspected(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Two groups with Weibull times, each inspected once; some watched between two inspections."""
    rng = np.random.default_rng(seed)
    other = np.arange(200) % 2
    times = 300 * np.exp(-0.3 * other) * rng.weibull(rng.uniform(0.8, 2.5), 200)
    first = rng.uniform(50, 500, 200)
    second = first + rng.uniform(20, 300, 200)
    low = np.where(times > second, second, np.where(times > first, first, 0.0))
    high = np.where(times <= first, first, np.where(times <= second, second, np.inf))
    return low, high, np.column_stack([np.ones(200), other])


def fit(seed: int, **more) -> TimeRegression:
    low, high, design = inspected(seed)
    return weibull_regression(low, high, design, **more)


@FEW
@given(seeds)
def test_a_curve_never_falls_and_stays_between_nought_and_one(seed):
    found = fit(seed)
    for row in (ONE, OTHER):
        shares = [found.share_by(time, row) for time in (1e-6, 1, 30, 300, 1500, 1e6)]
        values = [share.value for share in shares]
        assert values == sorted(values)
        assert all(0 <= share.low <= share.value <= share.high <= 1 for share in shares)
        months = [found.time_until(share, row).value for share in (0.05, 0.3, 0.5, 0.95)]
        assert months == sorted(months)


@FEW
@given(seeds, st.floats(0.05, 0.95))
def test_time_until_and_share_by_undo_each_other(seed, share):
    found = fit(seed)
    assert found.share_by(found.time_until(share, OTHER).value, OTHER).value == pytest.approx(share)


@FEW
@given(seeds)
def test_the_order_of_rows_does_not_matter(seed):
    low, high, design = inspected(seed)
    order = np.random.default_rng(seed).permutation(len(low))
    again = weibull_regression(low[order], high[order], design[order])
    assert again.coefficients == pytest.approx(fit(seed).coefficients, rel=1e-8)
    assert again.covariance == pytest.approx(fit(seed).covariance, rel=1e-6, abs=1e-12)


@FEW
@given(seeds)
def test_twice_the_rows_leave_the_curve_and_narrow_its_range(seed):
    low, high, design = inspected(seed)
    once = weibull_regression(low, high, design)
    counted = weibull_regression(low, high, design, counts=np.full(len(low), 2.0))
    listed = weibull_regression(np.tile(low, 2), np.tile(high, 2), np.tile(design, (2, 1)))
    for twice in (counted, listed):
        assert twice.coefficients == pytest.approx(once.coefficients, rel=1e-7)
        assert twice.covariance * 2 == pytest.approx(once.covariance, rel=1e-5, abs=1e-12)


@FEW
@given(seeds)
def test_one_patients_rows_listed_twice_teach_nothing_new(seed):
    low, high, design = inspected(seed)
    whose = np.arange(len(low))
    once = weibull_regression(low, high, design, clusters=whose)
    twice = weibull_regression(np.tile(low, 2), np.tile(high, 2), np.tile(design, (2, 1)), clusters=np.tile(whose, 2))
    assert twice.covariance == pytest.approx(once.covariance, rel=1e-5, abs=1e-12)


@FEW
@given(seeds, st.floats(0.01, 100))
def test_another_unit_of_time_scales_the_scale_only(seed, factor):
    low, high, design = inspected(seed)
    here, there = fit(seed), weibull_regression(low * factor, high * factor, design)
    assert there.log_sigma == pytest.approx(here.log_sigma, abs=1e-7)
    assert there.coefficients[1] == pytest.approx(here.coefficients[1], abs=1e-7)
    assert there.time_until(0.3, ONE).value == pytest.approx(here.time_until(0.3, ONE).value * factor, rel=1e-6)


@given(st.lists(st.tuples(st.integers(1, 30), st.booleans()), min_size=1, max_size=40))
def test_a_kaplan_meier_curve_never_rises_and_starts_at_the_empirical_share(rows):
    times, happened = (np.array(column) for column in zip(*rows, strict=True))
    curve = kaplan_meier(times, happened)
    assert (np.diff(np.append(1.0, curve.survival)) <= 1e-12).all()
    assert ((curve.survival >= 0) & (curve.standard_error >= 0)).all()
    if happened.all():
        assert curve.at(times) == pytest.approx([(times > time).mean() for time in times])


@settings(max_examples=8, deadline=None)
@given(seeds)
def test_gaps_lie_within_the_log_whatever_the_order_of_its_rows(seed):
    world = World(patients=150)
    visits, ears = world.log(seed)
    table = gaps(visits, ears, symptom_window_days=60, last_day=world.last_day)
    known = table.dropna(subset="occluding_by_days")
    assert (known["open_until_days"] < known["occluding_by_days"]).all()
    assert (table[["open_until_days", "occluding_by_days"]].max(axis=1) <= table["watched_days"]).all()
    assert (table["returned"] == table["return_days"].notna()).all()
    shuffled = gaps(
        visits.sample(frac=1, random_state=seed),
        ears.sample(frac=1, random_state=seed),
        symptom_window_days=60,
        last_day=world.last_day,
    )
    pd.testing.assert_frame_equal(table, shuffled)


@settings(max_examples=6, deadline=None)
@given(seeds, st.sampled_from([0.1, 0.2, 0.3, 0.5]))
def test_at_the_recommended_month_the_chosen_share_is_not_yet_passed(seed, share):
    world = World(patients=700)
    visits, ears = world.log(seed)
    table = gaps(visits, ears, symptom_window_days=60, last_day=world.last_day)
    chosen = RecallPart(share=share, fewest_ears=20)
    fitted = fit_recall(table, chosen)
    for group, rule in recall_rules(fitted, chosen).items():
        months = rule.recall_months
        assert months.low <= months.value <= months.high
        assert rule.curve.share_by(months.value).value <= share or months.value == 1
        assert rule.curve.share_by(months.value + 1).value > share
        more = recall_rules(fitted, RecallPart(share=share + 0.1))[group]
        assert more.recall_months.value >= months.value


@FEW
@given(seeds)
def test_a_curve_without_a_shape_never_falls_and_no_weibull_curve_is_likelier(seed):
    low, high, _ = inspected(seed)
    low, high = np.round(low / 30), np.where(np.isinf(high), high, np.round(high / 30) + 1)
    curve = turnbull(low, high)
    shares = curve.share_by(np.arange(0, curve.left[-1] + 1))[0]
    assert (np.diff(shares) >= -1e-12).all()
    assert shares[0] >= 0
    assert curve.mass.sum() == pytest.approx(1)
    weibull = weibull_regression(low, high, np.ones((len(low), 1)))
    assert weibull.log_likelihood <= curve.log_likelihood[0] + curve.missing[0] + 1e-9


@FEW
@given(seeds)
def test_neither_order_nor_counting_rows_together_changes_a_curve_without_a_shape(seed):
    low, high, _ = inspected(seed)
    low, high = np.round(low / 60), np.where(np.isinf(high), high, np.round(high / 60) + 1)
    order = np.random.default_rng(seed).permutation(len(low))
    cells, counts = np.unique(np.column_stack([low, high]), axis=0, return_counts=True)
    plain = turnbull(low, high)
    for other in (turnbull(low[order], high[order]), turnbull(cells[:, 0], cells[:, 1], counts)):
        assert other.left.tolist() == plain.left.tolist()
        assert other.log_likelihood[0] == pytest.approx(plain.log_likelihood[0], abs=2e-3)
