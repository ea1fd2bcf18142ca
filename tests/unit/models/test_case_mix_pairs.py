"""Pairs of facts in the model of who is advised: found where planted, left out where not, and never from a thin cell."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from analysis.models.adjusted import compared_arms
from analysis.models.case_mix_pairs import with_pairs
from analysis.problems import NotEnough


def facts(rows: int, seed: int = 3) -> np.ndarray:
    """A constant and four facts of no, yes."""
    return np.column_stack([np.ones(rows), np.random.default_rng(seed).random((rows, 4)) < 0.4]).astype(float)


def advised(design: np.ndarray, together: float, seed: int = 4) -> np.ndarray:
    """Advice by each of two facts, and beyond that where both hold."""
    log_odds = -0.5 + 0.4 * design[:, 1] + 0.4 * design[:, 2] + together * design[:, 1] * design[:, 2]
    return np.random.default_rng(seed).random(len(design)) < expit(log_odds)


def test_a_planted_pair_is_found_and_none_is_where_facts_work_alone():
    design = facts(20_000)
    found = with_pairs(design, treated=advised(design, 1.0), outcome=None)
    assert found.shape[1] == 6
    assert (found[:, 5] == design[:, 1] * design[:, 2]).all()
    for seed in range(10):
        assert with_pairs(design, treated=advised(design, 0.0, seed), outcome=None).shape[1] == 5


def test_a_small_log_adds_no_pair():
    design = facts(300)
    assert with_pairs(design, treated=advised(design, 0.6), outcome=None).shape[1] == 5


def test_a_pair_that_hardly_ever_holds_in_an_arm_or_with_an_outcome_is_not_tried():
    design = facts(20_000)
    both = design[:, 1] * design[:, 2] > 0
    treated = advised(design, 0.0) & ~both
    assert with_pairs(design, treated=treated, outcome=None).shape[1] == 5
    treated, outcome = advised(design, 1.0), np.arange(20_000) % 2 == 0
    assert with_pairs(design, treated=treated, outcome=outcome).shape[1] == 6
    assert with_pairs(design, treated=treated, outcome=outcome | both).shape[1] == 5


def test_where_a_fact_decides_alone_nothing_is_compared():
    design = facts(2_000)
    with pytest.raises(NotEnough):
        with_pairs(design, treated=design[:, 1] > 0, outcome=None)


def test_with_the_pair_weighting_finds_the_planted_difference():
    rng, design = np.random.default_rng(8), facts(60_000)
    treated = advised(design, 2.5)
    success = rng.random(60_000) < expit(1.0 - 1.5 * design[:, 1] * design[:, 2] + 0.4 * treated)
    truth = np.mean(expit(1.4 - 1.5 * design[:, 1] * design[:, 2]) - expit(1.0 - 1.5 * design[:, 1] * design[:, 2]))
    columns = pd.DataFrame(design[:, 1:], columns=list("abcd"))
    basis = {"treated": treated, "outcome": success, "clusters": np.arange(60_000), "shares": True}
    arms = compared_arms(columns, **basis).arms
    for name in ("standardised", "weighted", "doubly_robust"):
        # four standard errors of a difference of 30,000 against 30,000
        assert arms[name].treated - arms[name].untreated == pytest.approx(truth, abs=0.016), name
