"""Control charts and funnel limits against R, handbooks' worked examples and a published rate of false alarms.

``values/control_charts.json`` names each source and how it is known.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from analysis.stats.control_charts import (
    FALSE_ALARM_EVERY,
    SPREADS,
    individuals_chart,
    moving_range_chart,
    rate_chart,
    runs_on_one_side,
    share_chart,
)
from analysis.stats.funnel import INNER, OUTER, share_funnel, winsorised
from tests.outside.referee import approx

VALUES = json.loads((Path(__file__).parent / "values" / "control_charts.json").read_text(encoding="utf-8"))
CLOSED_FORM = 1e-9  # the same formula twice: only rounding differs


def places(marks: np.ndarray) -> list[int]:
    """List the marked points, the first being 1."""
    return (np.flatnonzero(marks) + 1).tolist()


@pytest.mark.parametrize("name", VALUES["individuals"])
def test_single_values_have_r_s_limits_and_signals(name):
    told = VALUES["individuals"][name]
    chart, ranges = individuals_chart(np.array(told["data"])), moving_range_chart(np.array(told["data"]))
    assert [chart.centre[0], chart.low[0], chart.high[0]] == approx(
        [told["mean"], told["LCL"], told["UCL"]], rel=CLOSED_FORM
    )
    assert [ranges.centre[1], ranges.high[1]] == approx([told["mr_bar"], told["MR_UCL"]], rel=CLOSED_FORM)
    assert places(chart.beyond) == told["beyond_limits"]
    assert places(chart.run) == told["run_of_8"]
    assert places(ranges.beyond) == told["mr_beyond"]


def test_single_values_have_the_handbooks_limits_as_printed():
    chart = individuals_chart(np.array(VALUES["individuals"]["nist_flow_rate"]["data"]))
    assert [round(each, 4) for each in (chart.low[0], chart.high[0])] == [45.8159, 55.8041]


def test_shares_have_the_handbooks_limits_and_signals():
    told = VALUES["shares"]["orange_juice"]
    chart = share_chart(told["counts"], told["of"])
    assert [chart.centre[0], chart.low[0], chart.high[0]] == approx(
        [told["pbar"], told["LCL"], told["UCL"]], rel=CLOSED_FORM
    )
    assert places(chart.beyond) == told["beyond_limits"]


@pytest.mark.parametrize("name", VALUES["rates"])
def test_rates_have_the_textbooks_limits_and_signals(name):
    told = VALUES["rates"][name]
    chart = rate_chart(told["counts"], told["of"])
    assert [chart.centre[0], chart.low[0], chart.high[0]] == approx(
        [told["centre"], told["low"], told["high"]], rel=CLOSED_FORM
    )
    assert places(chart.beyond) == told["beyond_limits"]


def test_with_equal_totals_widened_shares_have_the_limits_of_single_values():
    # Laney (2002): with equal totals the p' chart is the individuals chart of the shares.
    counts = np.array([50, 32, 55, 38, 51, 40, 54, 39])
    widened, single = share_chart(counts, np.full(8, 100), together=True), individuals_chart(counts / 100)
    assert widened.high == approx(single.high, rel=CLOSED_FORM)


@pytest.mark.parametrize("share", [0.2, 0.5])
def test_with_large_totals_exact_limits_come_to_three_spreads(share):
    counts, of = np.array([share * 1_000_000] * 4), np.full(4, 1_000_000)
    exact, plain = share_chart(counts, of, rare=True), share_chart(counts, of)
    assert exact.high == approx(plain.high, abs=2e-6)  # a whole count either way
    exact, plain = rate_chart(counts, np.full(4, 1), rare=True), rate_chart(counts, np.full(4, 1))
    assert exact.high == approx(plain.high, rel=1e-5)  # the normal and the Poisson tail part at the fifth digit


def test_both_rules_together_raise_false_alarms_as_seldom_as_published():
    assert VALUES["average_run_length"]["both_rules"] == FALSE_ALARM_EVERY
    logs, points = 4000, 1600
    values = np.random.default_rng(1987).standard_normal((logs, points))
    log = np.repeat(np.arange(logs), points)
    alarm = (np.abs(values) > SPREADS) | runs_on_one_side(values.ravel(), log).reshape(logs, points)
    waits = np.where(alarm.any(axis=1), alarm.argmax(axis=1) + 1, points)
    # The mean of 4,000 nearly geometric waits has a spread of about 152.73 / sqrt(4000) = 2.4; four of them.
    assert waits.mean() == approx(FALSE_ALARM_EVERY, abs=4 * FALSE_ALARM_EVERY / np.sqrt(logs))


def test_a_funnel_has_r_s_scores_limits_and_over_dispersion():
    told = VALUES["funnel"]
    deaths, of = np.array(told["deaths"], dtype=float), np.array(told["of"], dtype=float)
    target = deaths.sum() / of.sum()
    funnel = share_funnel(deaths, target * of, target * (1 - target) * of, of)
    assert funnel.target == approx(told["target"], rel=CLOSED_FORM)
    assert funnel.z == approx(told["z"], rel=CLOSED_FORM)
    for held, low, high, outside in (
        (INNER, "normal_lo95", "normal_hi95", "outside95"),
        (OUTER, "normal_lo998", "normal_hi998", "outside998"),
    ):
        drawn = funnel.limits(held)
        assert drawn[0] == approx(np.maximum(told[low], 0), rel=CLOSED_FORM)
        assert drawn[1] == approx(told[high], rel=CLOSED_FORM)
        assert places(funnel.outside(held)) == told[outside]
    assert (funnel.z**2).mean() == approx(told["phi"], rel=CLOSED_FORM)
    assert (winsorised(funnel.z) ** 2).mean() == approx(told["phi_winsor10"], rel=CLOSED_FORM)


def test_over_dispersion_widens_every_limit_by_its_root():
    told = VALUES["funnel"]
    deaths, of = np.array(told["deaths"], dtype=float), np.array(told["of"], dtype=float)
    target = deaths.sum() / of.sum()
    funnel = share_funnel(deaths, target * of, target * (1 - target) * of, of, over_dispersion=told["phi_winsor10"])
    half = norm.ppf(0.975) * np.sqrt(told["phi_winsor10"] * target * (1 - target) / of)
    assert funnel.limits(INNER)[1] == approx(target + half, rel=CLOSED_FORM)
    assert places(funnel.outside(OUTER)) == []
