"""The range of a spike beside another library's exact test."""

import pytest
from statsmodels.stats.rates import test_poisson_2indep as compare_rates

from analysis.stats.spikes import spike_ratio
from tests.outside.referee import approx


@pytest.mark.parametrize(("exact", "beside", "places"), [(30, 12, 6), (319, 221, 6), (12, 40, 4), (5, 1, 6)])
def test_the_ends_of_a_spikes_range_are_where_the_exact_test_turns(exact, beside, places):
    # statsmodels 0.15.0, exact conditional test of two Poisson rates: at each end of a 95% range its one-sided
    # probability is 2.5%. Both are exact, so they agree to rounding.
    ratio = spike_ratio(exact, beside, places=places)
    for end, side in ((ratio.low, "larger"), (ratio.high, "smaller")):
        told = compare_rates(
            exact, 1, beside, places, value=end, method="exact-cond", compare="ratio", alternative=side
        )
        assert told.pvalue == approx(0.025, rel=1e-6)


def test_nothing_beside_and_nothing_at_all_have_no_upper_end():
    alone, none = spike_ratio(8, 0, places=6), spike_ratio(0, 0, places=6)
    assert alone.value == alone.high == none.high == float("inf")
    assert alone.low == approx(6 * 0.025 ** (1 / 8) / (1 - 0.025 ** (1 / 8)))
    assert (none.value, none.low) == (1.0, 0.0)
