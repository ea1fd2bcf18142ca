"""Pooled effects against R's metafor, and published softening trials against the statistics they print.

``values/pooling.json`` names the R calls, versions and data. The counts of the softening
trials stand in ``shared/evidence/trials.csv``, each with how it is known.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2_contingency

from analysis.stats.meta_analysis import TwoByTwos, mantel_haenszel, random_effects
from tests.outside.referee import approx

BLOCKS = json.loads((Path(__file__).parent / "values" / "pooling.json").read_text(encoding="utf-8"))
CLOSED = 1e-9  # closed formulas: only rounding differs
ITERATED = 1e-5  # metafor stops its search for the spread at 1e-5
TRIALS = pd.read_csv(Path(__file__).parents[2] / "shared" / "evidence" / "trials.csv")


def counts_of(block: str) -> TwoByTwos:
    data = pd.DataFrame(BLOCKS[block]["data"]).to_numpy(dtype=float)
    if block == "collins":
        return TwoByTwos(*data.T)
    return TwoByTwos(data[:, 0], data[:, 0] + data[:, 1], data[:, 2], data[:, 2] + data[:, 3])


def test_random_effects_of_the_bcg_trials_agree_with_metafor():
    effects, variances = counts_of("bcg").log_risk_ratios()
    pooled = random_effects(effects, variances, never_narrower=False)
    found = {
        "logRR.REML.est": pooled.value,
        "logRR.REML.se": pooled.standard_error,
        "logRR.REML.tau2": pooled.tau2,
        "logRR.REML.hk_se": pooled.hartung_knapp_error,
        "logRR.REML.hk_lo": pooled.low,
        "logRR.REML.hk_hi": pooled.high,
        "logRR.REML.pi_lo_t_k2": pooled.predicted_low,
        "logRR.REML.pi_hi_t_k2": pooled.predicted_high,
        "logRR.REML.I2_pct": pooled.i2 * 100,
        "logRR.Q": pooled.heterogeneity,
    }
    for key, value in found.items():
        assert value == approx(BLOCKS["bcg"]["values"][key], rel=ITERATED), key


def test_the_bcg_trials_read_as_printed():
    # metafor's own page and tests: -0.7145, tau2 0.3132, range -1.1084 to -0.3206 (read in a stored file)
    pooled = random_effects(*counts_of("bcg").log_risk_ratios())
    assert [round(each, 4) for each in (pooled.value, pooled.tau2, pooled.low, pooled.high)] == [
        -0.7145,
        0.3132,
        -1.1084,
        -0.3206,
    ]


def test_mantel_haenszel_agrees_with_metafor_in_all_three_measures():
    bcg = mantel_haenszel(counts_of("bcg"), measure="log_risk_ratio")
    assert bcg.value == approx(BLOCKS["bcg"]["values"]["mh.logRR"], rel=CLOSED)
    assert bcg.variance**0.5 == approx(BLOCKS["bcg"]["values"]["mh.se"], rel=CLOSED)
    collins = BLOCKS["collins"]["values"]
    for measure, key in (("log_odds_ratio", "collins_mh.logOR"), ("risk_difference", "collins_mh.RD")):
        pooled = mantel_haenszel(counts_of("collins"), measure=measure)
        assert pooled.value == approx(collins[key], rel=CLOSED), key
        assert pooled.variance**0.5 == approx(collins[f"{key}_se"], rel=CLOSED), key


def test_random_effects_of_the_pregnancy_trials_agree_with_metafor_on_odds():
    counts = counts_of("collins")
    a, c = counts.treated_events, counts.control_events
    b, d = counts.treated - a, counts.control - c
    pooled = random_effects(np.log(a * d / (b * c)), 1 / a + 1 / b + 1 / c + 1 / d, never_narrower=False)
    values = BLOCKS["collins"]["values"]
    for key, value in {"est": pooled.value, "tau2": pooled.tau2, "hk_lo": pooled.low, "hk_hi": pooled.high}.items():
        assert value == approx(values[f"collins_logOR.REML.{key}"], rel=ITERATED), key


@pytest.mark.parametrize(
    ("measure", "key"), [("risk_difference", "RD"), ("log_risk_ratio", "logRR"), ("log_odds_ratio", "logOR")]
)
def test_two_strata_agree_with_metafor_and_the_textbook(measure, key):
    # Rothman, Greenland and Lash (2008), chapter 15, ranges at 90 in 100
    values = BLOCKS["tolbutamide"]["values"]
    pooled = mantel_haenszel(counts_of("tolbutamide"), measure=measure)
    low, high = pooled.ends(0.90)
    found = (pooled.value, low, high)
    expected = tuple(values[each] for each in (key, f"{key}_lo", f"{key}_hi"))
    assert found == approx(expected, rel=1e-6)


def two_arms(study: str, *arms: str) -> np.ndarray:
    rows = TRIALS[(TRIALS["study"] == study.split()[0]) & (TRIALS["year"] == int(study.split()[1]))]
    table = rows.set_index("arm").loc[list(arms), ["events", "n"]].to_numpy(dtype=float)
    return np.column_stack([table[:, 0], table[:, 1] - table[:, 0]])


def test_whatley_2003_prints_p_of_17_in_100():
    assert chi2_contingency(two_arms("Whatley 2003", "A", "B", "C"), correction=False).pvalue == approx(0.17, abs=0.005)


def test_coppin_2011_prints_a_chi_square_of_4_30_and_a_ratio_of_1_21():
    # the printed upper end (1.37) is an odds ratio turned into a risk ratio, not this range's
    table = two_arms("Coppin 2011", "control", "intervention")
    found = chi2_contingency(table, correction=False)
    assert (found.statistic, found.pvalue) == approx((4.30, 0.038), abs=0.005)
    assert one_ratio("Coppin 2011", "control", "intervention")[0] == approx(1.21, abs=0.005)


def one_ratio(study: str, *arms: str) -> tuple[float, float, float]:
    table = two_arms(study, *arms)
    whole = table.sum(axis=1)
    one = TwoByTwos(table[:1, 0], whole[:1], table[1:, 0], whole[1:])
    pooled = mantel_haenszel(one, measure="log_risk_ratio")
    low, high = pooled.ends(0.95)
    return float(np.exp(pooled.value)), float(np.exp(low)), float(np.exp(high))


def test_piromchai_2020_prints_1_10_between_0_94_and_1_29():
    # denominators follow from the printed percentages; the upper end computes as 1.2958
    assert one_ratio("Piromchai 2020", "A", "B") == approx((1.10, 0.94, 1.29), abs=0.006)


def test_singer_2000_prints_a_difference_of_47_in_100_from_22():
    # counts follow from the printed 81 and 35 in 100
    table = two_arms("Singer 2000", "A", "B")
    whole = table.sum(axis=1)
    one = TwoByTwos(table[:1, 0], whole[:1], table[1:, 0], whole[1:])
    pooled = mantel_haenszel(one, measure="risk_difference")
    assert pooled.value == approx(0.47, abs=0.005)
    assert pooled.ends(0.95)[0] == approx(0.22, abs=0.005)


def test_admissions_of_six_departments_are_pooled_as_in_r():
    told = BLOCKS["admissions"]["values"]
    for measure, key in (("log_odds_ratio", "OR_log"), ("log_risk_ratio", "RR_log"), ("risk_difference", "RD")):
        pooled = mantel_haenszel(counts_of("admissions"), measure=measure)
        assert pooled.variance**0.5 == approx(told[f"{key}_se"], rel=CLOSED), key
        expected = np.log(told["OR"]) if key == "OR_log" else told[key]
        assert pooled.value == approx(float(expected), rel=CLOSED), key


def test_stays_in_nine_hospitals_differ_as_in_metafor_and_in_print():
    data, told = pd.DataFrame(BLOCKS["stays"]["data"]), BLOCKS["stays"]["values"]
    pooled = random_effects(data["effect"].to_numpy(), data["variance"].to_numpy(), never_narrower=False)
    for key, value in {
        "los.REML.est": pooled.value,
        "los.REML.se": pooled.standard_error,
        "los.REML.tau2": pooled.tau2,
        "los.REML.hk_lo": pooled.low,
        "los.REML.hk_hi": pooled.high,
        "los.REML.pi_lo_t_k2": pooled.predicted_low,
        "los.REML.pi_hi_t_k2": pooled.predicted_high,
        "los.Q": pooled.heterogeneity,
    }.items():
        assert value == approx(told[key], rel=ITERATED), key
    # Normand (1999), Statistics in Medicine 18, 321-359, Table VII (read in a stored file)
    assert [round(each, 4) for each in (pooled.value, pooled.tau2)] == [-15.1217, 685.1965]
