"""Shapes of times: each undoes its own places, has the derivatives it gives, and averages what it says it averages."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import gamma

from analysis.stats.time_families import DIFFERING, FAMILIES, LOG_LOGISTIC, WEIBULL, weibull_averaged

Z = np.linspace(-6.0, 4.0, 21)
STEP = 1e-5


@pytest.mark.parametrize("name", list(FAMILIES))
def test_a_share_and_its_place_undo_each_other(name):
    family, shares = FAMILIES[name], np.array([0.001, 0.2, 0.3, 0.5, 0.99])
    assert family.share(family.place(shares)) == pytest.approx(shares, rel=1e-9)
    assert family.share(Z) == pytest.approx(-np.expm1(-family.hazard(Z)[0]), rel=1e-9)


@pytest.mark.parametrize("name", list(FAMILIES))
@pytest.mark.parametrize("part", ["hazard", "log_rate"])
def test_derivatives_are_those_of_the_function(name, part):
    function = getattr(FAMILIES[name], part)
    above, below = function(Z + STEP), function(Z - STEP)
    for order in (0, 1):
        # central differences with this step are good to about 1e-10 of values near 1
        assert function(Z)[order + 1] == pytest.approx((above[order] - below[order]) / (2 * STEP), rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("name", list(FAMILIES))
def test_the_log_rate_is_that_of_the_hazard(name):
    family = FAMILIES[name]
    assert family.log_rate(Z)[0] == pytest.approx(np.log(family.hazard(Z)[1]), abs=1e-9)


@pytest.mark.parametrize("z", [-3.0, 0.0, 2.0])
def test_patients_who_differ_are_averaged_over_a_gamma(z):
    """The definition itself, by numerical integration over patients' rates of mean 1 and variance a half."""
    still = quad(lambda rate: np.exp(-rate * np.exp(z)) * gamma.pdf(rate, 2.0, scale=0.5), 0, np.inf)[0]
    assert 1 - DIFFERING.share(z) == pytest.approx(still, rel=1e-7)


def test_patients_hardly_differing_are_the_weibull_and_at_variance_one_the_log_logistic():
    assert weibull_averaged(1e-6, "", "").share(Z) == pytest.approx(WEIBULL.share(Z), abs=1e-4)
    assert weibull_averaged(1.0, "", "").share(Z) == pytest.approx(LOG_LOGISTIC.share(Z), abs=1e-12)
