"""Visits shared out between sites and weeks, and ears moved between grades, against libraries' own distributions.

Sources: scipy's beta-binomial and Dirichlet-multinomial distributions, and statsmodels' ordered logistic
model, run here (versions in ``requirements.txt``).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import betabinom, dirichlet_multinomial
from statsmodels.miscmodels.ordinal_model import OrderedModel

from analysis.models.site_shares import PRIOR_VISITS, SiteVisits, drawn_by_site
from analysis.models.visit_history import KINDS, NEW
from analysis.models.weeks_ahead import Weeks, drawn_by_week
from analysis.planning.scenarios import moved_shares
from tests.outside.referee import approx

FUTURES, VISITS = 40_000, 120
ONE_IN_100_FAILS = 0.02  # of a mean or variance of 40,000 draws, four of its standard errors or more


def drawn(months: int = 1) -> np.ndarray:
    visits = np.zeros((FUTURES, months, len(KINDS)))
    visits[..., NEW] = VISITS
    return visits


def sites(hill: float, quay: float) -> SiteVisits:
    counts = np.zeros((2, len(KINDS)))
    counts[:, NEW] = hill, quay
    return SiteVisits(("hill", "quay"), counts, {}, 1.0, VISITS, 12, moved=False)


@pytest.mark.parametrize(("hill", "quay"), [(60.0, 40.0), (300.0, 900.0)])
def test_a_sites_visits_are_beta_binomial_as_in_scipy(hill: float, quay: float) -> None:
    found = drawn_by_site(drawn(), sites(hill, quay), np.random.default_rng(1))[:, 0, NEW, 0]
    share = hill / (hill + quay)
    exact = betabinom(VISITS, hill + PRIOR_VISITS * share, quay + PRIOR_VISITS * (1 - share))
    assert found.mean() == approx(exact.mean(), rel=ONE_IN_100_FAILS)
    assert found.var() == approx(exact.var(), rel=2 * ONE_IN_100_FAILS)
    for tail in (0.1, 0.9):
        assert np.quantile(found, tail) == approx(exact.ppf(tail), abs=1)


def test_weeks_that_vary_beyond_chance_are_dirichlet_multinomial_as_in_scipy() -> None:
    share, spread = np.array([0.1, 0.25, 0.25, 0.25, 0.15]), 2.5
    nothing = np.zeros(5)
    weeks = Weeks(nothing, nothing, nothing, nothing, share[None], spread, VISITS, nothing, nothing)
    found = drawn_by_week(drawn(), weeks, np.random.default_rng(2))[..., NEW]
    exact = dirichlet_multinomial(((VISITS - 1) / (spread - 1) - 1) * share, VISITS)
    assert found.mean(axis=0) == approx(exact.mean(), rel=ONE_IN_100_FAILS)
    assert np.cov(found.T) == approx(exact.cov(), abs=3 * ONE_IN_100_FAILS * exact.cov().max())
    # and that is the variance asked for: so many times that of a multinomial
    assert np.diag(exact.cov()) == approx(spread * VISITS * share * (1 - share), rel=1e-9)


def test_grades_move_with_the_months_as_in_statsmodels() -> None:
    rng = np.random.default_rng(3)
    months = rng.uniform(3, 30, 500)
    seen = pd.Categorical(rng.integers(0, 3, 500), ordered=True)
    model = OrderedModel(seen, np.log(months)[:, None], distr="logit")
    params = np.array([0.8, 0.5, 0.2])
    at_12, at_14 = model.predict(params, exog=np.log([[12.0], [14.0]]))
    assert moved_shares(at_12, np.array(0.8 * np.log(14 / 12))) == approx(at_14, rel=1e-9)
