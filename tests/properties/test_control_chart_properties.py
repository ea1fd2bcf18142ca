"""What holds for any series of counts: limits enclose the centre, units do not matter, silence raises no alarm."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.stats.control_charts import individuals_chart, rate_chart, share_chart

TOTALS = st.lists(st.integers(0, 400), min_size=1, max_size=40)


@settings(max_examples=60, deadline=None)
@given(of=TOTALS, share=st.floats(0, 1), seed=st.integers(0, 1000), together=st.booleans(), rare=st.booleans())
def test_limits_enclose_the_centre_and_a_month_without_visits_never_signals(of, share, seed, together, rare):
    counts = np.random.default_rng(seed).binomial(of, share)
    for chart in (share_chart(counts, of, together=together, rare=rare), rate_chart(counts, of, rare=rare)):
        known = np.array(of) > 0
        assert (chart.low[known] <= chart.centre[known] + 1e-9).all()
        # exact limits are whole counts, so one may stand up to a count below the centre
        assert (chart.high[known] >= chart.centre[known] - 1 / np.array(of)[known]).all()
        assert not chart.signals[~known].any()


@settings(max_examples=60, deadline=None)
@given(
    values=st.lists(st.integers(0, 1000), min_size=2, max_size=40),
    times=st.integers(1, 50),
    plus=st.integers(-500, 500),
)
def test_minutes_in_another_unit_signal_at_the_same_points(values, times, plus):
    chart, other = individuals_chart(np.array(values)), individuals_chart(np.array(values) * times + plus)
    # a point on a limit or on the centre to the last digit may fall either way
    away = np.abs(chart.values - chart.centre) > 1e-9 * (1 + np.abs(chart.centre))
    if away.all():
        assert chart.run.tolist() == other.run.tolist()
    clear = np.minimum(np.abs(chart.values - chart.high), np.abs(chart.values - chart.low)) > 1e-6
    assert chart.beyond[clear].tolist() == other.beyond[clear].tolist()


@settings(max_examples=30, deadline=None)
@given(n=st.integers(1, 40), of=st.integers(1, 400))
def test_the_same_share_every_month_never_signals(n, of):
    counts, totals = np.full(n, of // 3), np.full(n, of)
    assert not share_chart(counts, totals).signals.any()
    assert not rate_chart(counts, totals, rare=True).signals.any()
