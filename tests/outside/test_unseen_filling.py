"""Ears left alone that stand for those cleaned, against the Kaplan-Meier curve (lifelines 0.30.0).

Satten and Datta (2001), American Statistician 55, 207-210 (from memory): the Kaplan-Meier curve is the share of
events seen, each weighted by one over the chance not to have been censored before. Where the same share of open
ears is cleaned at every look, and an ear cleaned is one censored, both must agree to rounding.
"""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd

from analysis.models.recall_unseen import Unseen, stand_for
from analysis.schema import GAPS, typed_frame
from tests.outside.referee import approx

START, OCCLUDED = 4096, (1024, 512, 128)


def looked_at() -> pd.DataFrame:
    """Ears looked at three times: some are found occluding, of the others a quarter is cleaned and leaves, until the last look."""
    rows, at_risk = [], START
    for look, occluded in enumerate(OCCLUDED):
        cleaned = (at_risk - occluded) // 4
        rows += [{"look": look + 1, "occluded": True, "cleaned_open": False, "left_otherwise": look}] * occluded
        rows += [{"look": look + 1, "occluded": False, "cleaned_open": True, "left_otherwise": look}] * cleaned
        at_risk -= occluded + cleaned
    rows += [{"look": 4, "occluded": False, "cleaned_open": False, "left_otherwise": len(OCCLUDED)}] * at_risk
    return pd.DataFrame(rows)


def test_the_weighted_share_is_the_kaplan_meier_curve():
    ears = looked_at()
    gaps = typed_frame(GAPS, ears.drop(columns=["look", "occluded"]))
    weights = stand_for(gaps, Unseen.of(gaps))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it is written for an older pandas
        from lifelines import KaplanMeierFitter

        # an ear cleaned at a look leaves after those found occluding at it
        theirs = KaplanMeierFitter().fit(ears["look"], ears["occluded"])
    ours = [float(weights[ears["occluded"] & (ears["look"] <= look)].sum()) / START for look in (1, 2, 3)]
    assert ours == approx(1 - theirs.survival_function_at_times([1, 2, 3]).to_numpy(), rel=1e-12)
    assert np.sum(weights) == approx(START, rel=1e-12)
