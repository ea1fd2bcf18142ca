"""Two arms and what is made of them, on tables small enough for a hand count."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.stats.effects import arm_mean, arm_share, e_value, mean_difference, number_needed, risk_ratio
from analysis.stats.estimate import Estimate
from analysis.stats.influence import correlations
from analysis.stats.two_arms import TREATED, UNTREATED, TwoArms, plain_means, standardised_means


def arms_of(treated: float, untreated: float, error: float = 0.02) -> TwoArms:
    return TwoArms(treated, untreated, np.diag([error**2, error**2]), 100, 80, "made up")


def test_ears_of_one_patient_that_go_together_count_as_one():
    outcome, treated = np.array([1, 1, 0, 0, 1, 1, 0, 0]), np.repeat([True, False], 4)
    as_ears = plain_means(outcome, treated, np.arange(8))
    as_patients = plain_means(outcome, treated, np.array(list("aabbccdd")))
    assert as_patients.treated == as_ears.treated == 0.5
    np.testing.assert_allclose(np.diag(as_patients.covariance), 2 * np.diag(as_ears.covariance))


def test_one_ear_of_each_patient_treated_narrows_the_difference():
    outcome, treated = np.array([1, 1, 0, 0, 1, 1, 0, 0]), np.tile([True, False], 4)
    pairs = plain_means(outcome, treated, np.repeat(np.arange(4), 2))
    assert mean_difference(pairs).low == pytest.approx(mean_difference(pairs).high)
    strangers = plain_means(outcome, treated, np.arange(8))
    assert mean_difference(strangers).high > 0.5


def test_standardising_weighs_strata_by_the_whole_case_mix():
    """Hard ears succeed in 2 of 4 and 1 of 4 (treated, not), easy ones in 4 of 4 and 3 of 4; three in four are hard."""
    hard = np.repeat([1.0, 1, 0, 0], [6, 6, 2, 2])
    treated = np.repeat([1.0, 0, 1, 0], [6, 6, 2, 2])
    outcome = np.repeat([10.0, 7, 4, 1], [6, 6, 2, 2])
    design = np.column_stack([np.ones(16), treated, hard])
    arms = standardised_means(np.array([1.0, 3.0, 6.0]), design, 1, outcome, np.arange(16), shares=False)
    assert arms.treated == pytest.approx(0.75 * 10 + 0.25 * 4)
    assert arms.untreated == pytest.approx(0.75 * 7 + 0.25 * 1)
    assert (arms.n_treated, arms.n_untreated) == (8, 8)
    assert mean_difference(arms).low == pytest.approx(3.0)  # the model fits exactly: no doubt about the difference
    assert arm_mean(arms, TREATED).low < arms.treated  # though the case mix itself is a sample


def test_swapping_the_arms_turns_the_sign_and_inverts_the_ratio():
    arms = arms_of(0.9, 0.8)
    forth, back = mean_difference(arms), mean_difference(arms.swapped())
    assert (back.value, back.low, back.high) == pytest.approx((-forth.value, -forth.high, -forth.low))
    assert risk_ratio(arms.swapped()).low == pytest.approx(1 / risk_ratio(arms).high)
    assert (arms.swapped().n_treated, arms.swapped().n_untreated) == (80, 100)


def test_a_share_near_one_keeps_its_range_below_one():
    arms = arms_of(0.99, 0.5)
    assert arm_mean(arms, TREATED).high > 1
    share = arm_share(arms, TREATED)
    assert 0 < share.low < 0.99 < share.high < 1
    assert share.n == 100
    assert arm_share(arms, UNTREATED).n == 80


def test_a_share_of_all_has_no_range():
    share = arm_share(arms_of(1.0, 0.5), TREATED)
    assert (share.low, share.value, share.high) == (1.0, 1.0, 1.0)


def test_number_needed_is_told_by_side():
    benefit = number_needed(Estimate(0.10, 0.05, 0.20, 0.95, 0, ""))
    assert (benefit.form, benefit.value, benefit.low, benefit.high) == ("benefit", 10.0, 5.0, 20.0)
    harm = number_needed(Estimate(-0.10, -0.20, -0.05, 0.95, 0, ""))
    assert (harm.form, harm.value, harm.low, harm.high) == ("harm", 10.0, 5.0, 20.0)
    unclear = number_needed(Estimate(0.0, -0.10, 0.20, 0.95, 0, ""))
    assert (unclear.form, unclear.value) == ("no_clear_difference", float("inf"))
    assert (unclear.benefit_from, unclear.harm_from) == (5.0, 10.0)


def test_number_needed_with_a_range_that_ends_at_nought():
    needed = number_needed(Estimate(0.1, 0.0, 0.2, 0.95, 0, ""))
    assert (needed.form, needed.benefit_from, needed.harm_from) == ("no_clear_difference", 5.0, float("inf"))


def test_a_ratio_whose_range_holds_one_needs_no_hidden_cause():
    assert e_value(Estimate(1.1, 0.9, 1.3, 0.95, 0, "")).for_range == 1.0


def test_a_ratio_below_one_takes_the_upper_end():
    below, above = (e_value(Estimate(*ends, 0.95, 0, "")) for ends in ((0.5, 0.25, 0.8), (1 / 0.5, 1 / 0.8, 1 / 0.25)))
    assert below.value == pytest.approx(above.value)
    assert below.for_range == pytest.approx(above.for_range)


def test_figures_of_the_same_patients_lean_together_as_their_outcomes_do():
    rng = np.random.default_rng(8)
    treated = np.arange(300) % 2 == 0
    visits = rng.normal(size=300)
    minutes = 0.6 * visits + rng.normal(size=300)
    first, second = (plain_means(outcome, treated, np.arange(300)) for outcome in (visits, minutes))
    found = correlations([first.difference_shifts, second.difference_shifts, first.swapped().difference_shifts])
    # by hand: with arms of equal size, the correlation of the outcomes less their arm's mean
    rests = [
        outcome - np.where(treated, outcome[treated].mean(), outcome[~treated].mean()) for outcome in (visits, minutes)
    ]
    assert found[0, 1] == pytest.approx(np.corrcoef(rests)[0, 1], abs=1e-12)
    assert found[0, 2] == pytest.approx(-1.0)
    assert np.diag(found).tolist() == [1.0, 1.0, 1.0]


def test_figures_of_different_patients_do_not_lean_together():
    outcome, treated = np.array([1.0, 2.0, 3.0, 5.0]), np.array([True, True, False, False])
    here, there = (plain_means(outcome, treated, np.array(list(names))) for names in ("abcd", "efgh"))
    nobody = TwoArms(0.5, 0.5, np.zeros((2, 2)), 1, 1, "nobody's").difference_shifts
    found = correlations([here.difference_shifts, there.difference_shifts, nobody])
    assert found.tolist() == np.eye(3).tolist()
