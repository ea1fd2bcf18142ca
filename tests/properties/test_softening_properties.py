"""What must hold of softening's figures whatever the log: order, names, doubling, swapping."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.models.softening import fit_minutes, fit_softening
from analysis.schema import ATTEMPTS, typed_frame
from analysis.stats.effects import mean_difference, risk_ratio
from analysis.stats.estimate import Estimate
from tests.softening_log import invented_attempts

SEEDS = st.integers(0, 2**32 - 1)
CONTRASTS = st.sampled_from(["advised", "used"])
QUICK = settings(max_examples=6, deadline=None)


def a_log(seed: int) -> pd.DataFrame:
    return invented_attempts(np.random.default_rng(seed), patients=350).attempts


def figures(table: pd.DataFrame, contrast: str) -> list[Estimate]:
    """Give every difference: success and minutes, both estimators."""
    success = fit_softening(
        table, contrast=contrast, level=0.95, fewest_ears=10, followed_until=pd.Timestamp("2026-12-31")
    )
    minutes = fit_minutes(table, contrast=contrast, level=0.95, fewest_visits=10)
    return [mean_difference(arms) for fit in (success, minutes) for arms in fit.arms.values()]


def assert_same(found: list[Estimate], expected: list[Estimate], sign: int = 1) -> None:
    for one, other in zip(found, expected, strict=True):
        turned = other.scaled(sign)
        # fits of the same rows in another order differ by rounding only
        assert (one.value, one.low, one.high) == pytest.approx(
            (turned.value, turned.low, turned.high), rel=1e-6, abs=1e-8
        )


@QUICK
@given(SEEDS, CONTRASTS)
def test_the_order_of_rows_does_not_matter(seed, contrast):
    table = a_log(seed)
    shuffled = table.sample(frac=1, random_state=seed).reset_index(drop=True)
    assert_same(figures(shuffled, contrast), figures(table, contrast))


@QUICK
@given(SEEDS, CONTRASTS)
def test_other_names_for_patients_and_practitioners_do_not_matter(seed, contrast):
    table = a_log(seed)
    names = np.random.default_rng(seed).permutation(table["patient_key"].unique())
    new_name = dict(zip(table["patient_key"].unique(), names, strict=True))
    renamed = table.assign(
        patient_key=table["patient_key"].map(new_name), practitioner=table["practitioner"].map({"A": "Z", "B": "Y"})
    )
    assert_same(figures(typed_frame(ATTEMPTS, renamed), contrast), figures(table, contrast))


@QUICK
@given(SEEDS, CONTRASTS)
def test_twice_the_patients_keep_the_figure_and_narrow_the_range(seed, contrast):
    table = a_log(seed)
    again = table.assign(patient_key="again " + table["patient_key"], visit_id="again " + table["visit_id"])
    once, twice = figures(table, contrast), figures(pd.concat([table, again], ignore_index=True), contrast)
    for small, large in zip(once, twice, strict=True):
        # not to rounding: a level too rare to stand alone, or a pair of facts too uncertain, may stand once there are twice as many
        assert large.value == pytest.approx(small.value, abs=0.2 * (small.high - small.low))
        assert (large.high - large.low) * np.sqrt(2) == pytest.approx(small.high - small.low, rel=0.1)


@QUICK
@given(SEEDS, CONTRASTS)
def test_swapping_the_arms_turns_the_sign(seed, contrast):
    table = a_log(seed)
    column = f"softening_{contrast}"
    swapped = table.assign(**{column: ~table[column]})
    assert_same(figures(swapped, contrast), figures(table, contrast), sign=-1)


@QUICK
@given(SEEDS, CONTRASTS)
def test_shares_stay_within_0_and_1_and_ratios_above_0(seed, contrast):
    fit = fit_softening(
        a_log(seed), contrast=contrast, level=0.95, fewest_ears=10, followed_until=pd.Timestamp("2026-12-31")
    )
    for arms in (*fit.arms.values(), *fit.variations.values()):
        assert 0 < arms.treated < 1
        assert 0 < arms.untreated < 1
        ratio = risk_ratio(arms)
        assert 0 < ratio.low < ratio.value < ratio.high
