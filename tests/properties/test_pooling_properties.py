"""What must hold of pooled studies whatever their counts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.stats.meta_analysis import TwoByTwos, mantel_haenszel, random_effects

COUNT = st.integers(1, 40)
STUDY = st.tuples(COUNT, COUNT, COUNT, COUNT)  # events and non-events of either arm
STUDIES = st.lists(STUDY, min_size=2, max_size=8)
MEASURES = st.sampled_from(["risk_difference", "log_risk_ratio", "log_odds_ratio"])
QUICK = settings(max_examples=60, deadline=None)


def counts_of(studies: list[tuple[int, int, int, int]]) -> TwoByTwos:
    a, b, c, d = np.array(studies, dtype=float).T
    return TwoByTwos(a, a + b, c, c + d)


@QUICK
@given(STUDIES, MEASURES)
def test_the_order_of_studies_never_matters(studies, measure):
    one, other = (mantel_haenszel(counts_of(each), measure=measure) for each in (studies, studies[::-1]))
    assert (one.value, one.variance) == pytest.approx((other.value, other.variance), rel=1e-9, abs=1e-12)


@QUICK
@given(STUDIES, MEASURES)
def test_arms_the_other_way_round_turn_the_sign_and_keep_the_variance(studies, measure):
    turned = [(c, d, a, b) for a, b, c, d in studies]
    one, other = (mantel_haenszel(counts_of(each), measure=measure) for each in (studies, turned))
    assert one.value == pytest.approx(-other.value, rel=1e-9, abs=1e-12)
    assert one.variance == pytest.approx(other.variance, rel=1e-9)


@QUICK
@given(STUDIES)
def test_the_pooled_effect_lies_among_the_studies_and_its_range_never_narrower_than_the_ordinary(studies):
    effects, variances = counts_of(studies).log_risk_ratios()
    pooled = random_effects(effects, variances)
    assert effects.min() - 1e-9 <= pooled.value <= effects.max() + 1e-9
    assert pooled.tau2 >= 0
    assert 0 <= pooled.i2 < 1
    assert pooled.high - pooled.value >= 1.95 * pooled.standard_error
    assert (pooled.predicted_low is None) == (len(studies) < 3)


@QUICK
@given(STUDY, st.integers(2, 6))
def test_the_same_study_again_and_again_has_no_spread(study, times):
    effects, variances = counts_of([study] * times).log_risk_ratios()
    pooled = random_effects(effects, variances)
    assert (pooled.tau2, pooled.i2) == (0.0, 0.0)
    assert pooled.value == pytest.approx(effects[0], abs=1e-9)
    assert pooled.standard_error == pytest.approx(np.sqrt(variances[0] / times))
