"""What advice is worth at the clinic's own prices, and how sure that is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.planning.softening_worth import Amounts, Prices, worth_of_advice
from analysis.stats.estimate import Estimate


def about(value: float, half: float) -> Estimate:
    return Estimate(value, value - half, value + half, 0.95, 500, "invented")


def worth(amounts: Amounts, prices: Prices):
    return worth_of_advice(amounts, prices, draws=2000, rng=np.random.default_rng(4))


ALL = Amounts(about(5, 2), about(100, 30), about(60, 5), about(3, 0.5), about(0, 1))


def test_the_parts_are_amount_times_price_and_add_up():
    found = worth(ALL, Prices(visit=40, minute=1, agent=4, day=0.5))
    assert {name: part.value for name, part in found.parts.items()} == {
        "visits": 200.0,
        "minutes": 100.0,
        "agent": -240.0,
        "delay": -90.0,
    }
    assert found.total.value == pytest.approx(-30.0)


def test_at_the_break_even_price_the_total_is_nought():
    prices = Prices(visit=40, minute=1, agent=4, day=0.5)
    even = worth(ALL, prices).break_even
    assert even.value == pytest.approx((240 + 90 - 100) / 5)
    assert worth(ALL, Prices(even.value, 1, 4, 0.5)).total.value == pytest.approx(0.0, abs=1e-9)


def test_minutes_alone_may_pay_for_it():
    assert worth(ALL, Prices(visit=40, minute=10, agent=4, day=0.5)).break_even.value == 0.0


def test_no_break_even_price_is_named_where_no_visit_is_clearly_avoided():
    unclear = Amounts(about(1, 2), None, about(60, 5), None, None)
    assert worth(unclear, Prices(40, 1, 4, 0)).break_even is None


def test_a_normal_total_gives_the_chance_by_the_normal_formula():
    # 5 visits (standard error 2 / 1.96) at 40 against a certain 160: total 40, standard error 40.8, chance 0.837
    found = worth_of_advice(
        Amounts(about(5, 2), None, about(40, 0), None, None),
        Prices(40, 0, 4, 0),
        draws=40_000,
        rng=np.random.default_rng(1),
    )
    assert found.chance_worth == pytest.approx(0.8365, abs=0.01)  # five standard errors of 40,000 draws


@pytest.mark.parametrize(("leaning", "error"), [(0.0, 50.0), (1.0, 70.0), (-1.0, 10.0)])
def test_figures_of_the_same_patients_widen_or_narrow_the_total_together(leaning, error):
    # visits at 40 have an error of 40 in money, minutes at 1 one of 30: the root of 40² + 30² ± 2 · 40 · 30 where they lean together
    together = np.eye(4)
    together[0, 1] = together[1, 0] = leaning
    amounts = Amounts(about(5, 1.96), about(100, 30 * 1.96), about(60, 0), None, None, together)
    total = worth_of_advice(amounts, Prices(40, 1, 4, 0), draws=20_000, rng=np.random.default_rng(3)).total
    assert (total.high - total.low) / (2 * 1.96) == pytest.approx(error, rel=0.03)  # three times chance in 20,000 draws


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 200), st.floats(0, 200))
def test_a_dearer_visit_never_makes_advice_less_likely_to_pay(first, second):
    cheap, dear = sorted((first, second))
    low, high = (worth(ALL, Prices(price, 1, 4, 0)).total.value for price in (cheap, dear))
    assert low <= high
