"""Published trials' own statistics recomputed from their counts, and the tools of the honesty panel against others.

How each count is known stands in ``values/softening_trials.json``.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.stats import chi2, chi2_contingency, studentized_range

from analysis.stats.balance import outcome_ratio_needed, rows_needed
from analysis.stats.effects import e_value, mean_difference, risk_ratio
from analysis.stats.estimate import Estimate
from analysis.stats.proportions import newcombe_difference
from analysis.stats.simultaneous import all_pairs, simultaneous_ranges
from analysis.stats.splines import restricted_cubic
from analysis.stats.two_arms import TwoArms, plain_means
from tests.outside.referee import all_close, approx

TRIALS = json.loads((Path(__file__).parent / "values" / "softening_trials.json").read_text(encoding="utf-8"))["trials"]


def arms(trial: str, first: int = 0, second: int = 1) -> TwoArms:
    """Spread two arms of a published table to one row a patient."""
    table = [TRIALS[trial]["arms"][place] for place in (first, second)]
    outcome = np.concatenate([np.arange(arm["n"]) < arm["successes"] for arm in table])
    return plain_means(outcome, np.repeat([True, False], [arm["n"] for arm in table]), np.arange(len(outcome)))


def test_docusate_against_another_drop_as_singer_prints_it():
    """Singer 2000: 81 % against 35 %, difference 47 %, its range from 22 %."""
    difference = mean_difference(arms("singer_2000"))
    assert (f"{arms('singer_2000').treated:.0%}", f"{arms('singer_2000').untreated:.0%}") == ("81%", "35%")
    assert round(difference.value * 100) == 47
    assert round(difference.low * 100) == 22


def test_newcombes_range_for_singer_lies_near_the_plain_one_and_stays_under_one():
    found = newcombe_difference((22, 8), (27, 23))
    plain = mean_difference(arms("singer_2000"))
    assert found.value == approx(plain.value)
    assert abs(found.low - plain.low) < 0.05
    assert found.high < 1


def test_three_drops_as_whatley_prints_them():
    """Whatley 2003: 53 %, 43 % and 68 %, P = .17 over all three; no pair differs clearly even by itself."""
    table = TRIALS["whatley_2003"]["arms"]
    assert [f"{arm['successes'] / arm['n']:.0%}" for arm in table] == ["53%", "43%", "68%"]
    three = chi2_contingency([[arm["successes"], arm["n"] - arm["successes"]] for arm in table], correction=False)
    assert f"{three.pvalue:.2f}" == "0.17"
    # the same from our shares: the squared distances from the pooled share, each over its variance under no difference
    pooled = sum(arm["successes"] for arm in table) / sum(arm["n"] for arm in table)
    squared = sum(arm["n"] * (arm["successes"] / arm["n"] - pooled) ** 2 for arm in table) / (pooled * (1 - pooled))
    assert chi2.sf(squared, 2) == approx(three.pvalue, rel=1e-12)
    shares = np.array([arm["successes"] / arm["n"] for arm in table])
    covariance = np.diag([share * (1 - share) / arm["n"] for share, arm in zip(shares, table, strict=True)])
    contrasts = np.array([np.eye(3)[later] - np.eye(3)[earlier] for later, earlier in all_pairs(3)])
    pairs = simultaneous_ranges(shares, covariance, contrasts, level=0.95, n=[64, 62, 58], rng=np.random.default_rng(1))
    assert not any(pair.excludes_zero for pair in pairs)


def test_drops_before_suction_as_piromchai_prints_them():
    """Piromchai 2020: 91.11 % against 82.61 %, p = 0.23."""
    pair = arms("piromchai_2020")
    assert (f"{pair.treated:.2%}", f"{pair.untreated:.2%}") == ("91.11%", "82.61%")
    assert tuple(arm["successes"] for arm in TRIALS["piromchai_2020"]["arms"]) == (41, 38)
    assert not mean_difference(pair).excludes_zero
    assert f"{chi2_contingency([[41, 4], [38, 8]], correction=False).pvalue:.2f}" == "0.23"


def test_coming_back_within_two_years_as_coppin_prints_it():
    """Coppin 2011: 73 % against 60 %, ratio 1.21 from 1.01."""
    pair = arms("coppin_2011")
    ratio = risk_ratio(pair)
    assert (f"{pair.treated:.0%}", f"{pair.untreated:.0%}") == ("73%", "60%")
    assert (f"{ratio.value:.2f}", f"{ratio.low:.2f}") == ("1.21", "1.01")


@pytest.mark.parametrize("many", [3, 5, 7])
def test_all_pairs_of_even_groups_have_tukeys_range(many):
    """With even, independent groups the common quantile is Tukey's studentized range over the root of 2 (scipy)."""
    contrasts = np.array([np.eye(many)[later] - np.eye(many)[earlier] for later, earlier in all_pairs(many)])
    ranges = simultaneous_ranges(
        np.arange(many, dtype=float),
        np.eye(many),
        contrasts,
        level=0.95,
        n=[2] * len(contrasts),
        rng=np.random.default_rng(5),
    )
    quantile = (ranges[0].high - ranges[0].low) / 2 / np.sqrt(2)
    # 100,000 draws know the quantile to about 0.007
    assert quantile == approx(studentized_range.ppf(0.95, many, np.inf) / np.sqrt(2), abs=0.02)


def test_the_curve_of_days_is_a_natural_cubic_spline():
    """Between and beyond its knots it can follow any of scipy's natural splines exactly."""
    knots = np.array([2.0, 4.0, 7.0, 11.0])
    natural = CubicSpline(knots, [0.3, 0.9, 0.4, 0.6], bc_type="natural")
    inside = np.linspace(2, 11, 60)
    beyond = np.array([0.0, 1.0, 13.0, 20.0])
    straight = [natural(2) + natural(2, 1) * (beyond[:2] - 2), natural(11) + natural(11, 1) * (beyond[2:] - 11)]
    x, wanted = np.r_[inside, beyond], np.r_[natural(inside), *straight]
    columns = np.column_stack([np.ones(len(x)), restricted_cubic(x, knots)])
    followed = columns @ np.linalg.lstsq(columns, wanted, rcond=None)[0]
    all_close(followed, wanted, atol=1e-10)


def test_tipping_point_where_both_ratios_are_equal_is_the_e_value():
    """VanderWeele and Ding (2017) print 7.26 for a ratio of 3.9."""
    hidden = e_value(Estimate(3.9, 3.9, 3.9, 0.95, 0, "")).value
    assert f"{hidden:.2f}" == "7.26"
    assert outcome_ratio_needed(3.9, np.array([hidden]))[0] == approx(hidden, rel=1e-12)


@pytest.mark.parametrize(("points", "seed"), [(0.05, 1), (0.10, 2)])
def test_ears_said_to_be_needed_find_the_difference_eight_times_in_ten(points, seed):
    """Four thousand made-up comparisons with so many independent ears."""
    rng, runs = np.random.default_rng(seed), 4000
    rows = rows_needed(0.80, points, treated_share=0.4)
    sizes = round(0.4 * rows), rows - round(0.4 * rows)
    treated, untreated = (
        rng.binomial(sizes[0], 0.80 + points, runs) / sizes[0],
        rng.binomial(sizes[1], 0.80, runs) / sizes[1],
    )
    error = np.sqrt(treated * (1 - treated) / sizes[0] + untreated * (1 - untreated) / sizes[1])
    found = ((treated - untreated) / error > 1.96).mean()
    # 4000 runs know a share of 0.8 to 0.013 (twice its error); the normal formula is good to about as much again
    assert found == approx(0.80, abs=0.03)
