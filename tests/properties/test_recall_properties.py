"""What must hold of censored times, gaps and recall whatever the log."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.derive.gaps import gaps
from analysis.models.recall import fit_recall
from analysis.models.recall_ages import without_conflicting_ages
from analysis.models.recall_group_names import SPLITS, all_names, group_names
from analysis.planning.recall_policy import recall_rules
from analysis.schema import GAPS, VISITS, typed_frame
from analysis.settings import RecallPart
from analysis.stats.censored import TimeRegression, log_scores, time_regression, weibull_regression
from analysis.stats.kaplan_meier import kaplan_meier
from analysis.stats.time_families import FAMILIES
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


families = st.sampled_from(list(FAMILIES.values()))


def fit(seed: int, **more) -> TimeRegression:
    low, high, design = inspected(seed)
    return time_regression(low, high, design, **more)


@FEW
@given(seeds, families)
def test_a_curve_never_falls_and_stays_between_nought_and_one(seed, family):
    found = fit(seed, family=family)
    for row in (ONE, OTHER):
        shares = [found.share_by(time, row) for time in (1e-6, 1, 30, 300, 1500, 1e6)]
        values = [share.value for share in shares]
        assert values == sorted(values)
        assert all(0 <= share.low <= share.value <= share.high <= 1 for share in shares)
        months = [found.time_until(share, row).value for share in (0.05, 0.3, 0.5, 0.95)]
        assert months == sorted(months)


@FEW
@given(seeds, st.floats(0.05, 0.95), families)
def test_time_until_and_share_by_undo_each_other(seed, share, family):
    found = fit(seed, family=family)
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


@settings(deadline=None)
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


@FEW
@given(seeds, families)
def test_log_scores_of_the_rows_fitted_sum_to_the_log_likelihood_and_never_exceed_certainty(seed, family):
    low, high, design = inspected(seed)
    found = time_regression(low, high, design, family=family)
    scores = log_scores(found, low, high, design)
    assert scores.sum() == pytest.approx(found.log_likelihood)
    assert (scores <= 1e-12).all()


@FEW
@given(seeds, st.lists(st.sampled_from(SPLITS), min_size=1, max_size=2, unique=True))
def test_every_ear_is_in_one_of_at_most_four_groups_or_in_none(seed, facts):
    table = gapped(seed)
    names = all_names(tuple(facts))
    assert len(names) == 2 ** len(facts) <= 4
    found = group_names(table, tuple(facts))
    assert set(found) <= {*names, ""}
    mixed = table.sample(frac=1, random_state=seed)
    assert group_names(mixed, tuple(facts)).sort_index().equals(found)


@FEW
@given(seeds)
def test_ages_that_conflict_are_taken_off_whole_patients_and_once_only(seed):
    rng = np.random.default_rng(seed)
    bands = np.array(["under_18", "18_39", "40_59", "60_74", "75_and_over"])
    visits = pd.DataFrame(
        {
            "visit_id": [f"v{place}" for place in range(40)],
            "patient_key": [f"p{each}" for each in rng.integers(0, 15, 40)],
            "slot_start": pd.Timestamp("2025-01-01") + pd.to_timedelta(rng.integers(0, 700, 40), unit="D"),
            "age_band": bands[rng.integers(2, 5, 40)],
        }
    )
    visits = typed_frame(VISITS, visits)
    table = typed_frame(GAPS, visits[["patient_key", "age_band"]])
    found, many = without_conflicting_ages(table, visits)
    emptied = set(found.loc[found["age_band"].isna(), "patient_key"])
    assert len(emptied) == many
    assert not set(found.loc[found["age_band"].notna(), "patient_key"]) & emptied
    kept = visits[~visits["patient_key"].isin(emptied)]
    assert without_conflicting_ages(typed_frame(GAPS, kept[["patient_key", "age_band"]]), kept)[1] == 0
    assert without_conflicting_ages(table, visits.sample(frac=1, random_state=seed))[1] == many


def gapped(seed: int) -> pd.DataFrame:
    """Sixty gaps with facts noted or not."""
    rng = np.random.default_rng(seed)
    yes_no = np.array([True, False, None], dtype=object)
    return typed_frame(
        GAPS,
        pd.DataFrame(
            {
                "patient_key": [f"p{place}" for place in range(60)],
                "hearing_aid": yes_no[rng.integers(0, 3, 60)],
                "cotton_bud": yes_no[rng.integers(0, 3, 60)],
                "age_band": np.array(["18_39", "60_74", None], dtype=object)[rng.integers(0, 3, 60)],
                "canal": np.array(["ordinary", "narrow", None], dtype=object)[rng.integers(0, 3, 60)],
            }
        ),
    )
