"""The life table of returns and its projection, on logs small enough to reckon by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.models.return_projection import _expected_up_to, month_chances, project, week_chances
from analysis.models.return_table import (
    STRATA,
    return_table,
    second_attempt_share,
    waiting_patients,
    with_recall_uptake,
)
from analysis.models.visit_history import KINDS, SECOND, History, day_number
from tests.demand_logs import history

LAST = "2026-06-30"
SYMPTOMS, RECALL = KINDS.index("symptoms_return"), KINDS.index("routine_recall")


def hundred_patients(returning: int, gap_days: int, kind: str) -> History:
    """A hundred patients seen 200 days before the end; some come back after a gap, the rest never."""
    start = pd.Timestamp(LAST) - pd.Timedelta(days=200)
    back = start + pd.Timedelta(days=gap_days)
    first = [(f"p{n}", str(start.date()), "new") for n in range(100)]
    return history(*first, *((f"p{n}", str(back.date()), kind) for n in range(returning)), last_day=LAST)


def test_a_weeks_rate_is_its_returns_over_the_weeks_watched() -> None:
    seen = hundred_patients(20, 14, "second_attempt")
    table = return_table(seen, last=day_number(pd.Timestamp(LAST)), weeks=40)
    rates = table.rates()[0, 0]
    assert rates[SECOND, 1] == pytest.approx(20 / 120)  # the 100, and the 20 second attempts' own second week
    assert rates[:, 0].sum() == 0
    assert rates[SYMPTOMS].sum() == 0


def test_a_gap_of_exactly_seven_days_ends_the_first_week() -> None:
    seen = hundred_patients(20, 7, "second_attempt")
    table = return_table(seen, last=day_number(pd.Timestamp(LAST)), weeks=40)
    assert table.rates()[0, 0, SECOND, 0] == pytest.approx(20 / 120)


def test_share_needing_a_second_attempt() -> None:
    seen = hundred_patients(20, 14, "second_attempt")
    table = return_table(seen, last=day_number(pd.Timestamp(LAST)), weeks=40)
    assert second_attempt_share(table, 28) == pytest.approx(1 - np.exp(-20 / 120))


def test_a_known_patient_booked_as_new_is_no_return() -> None:
    seen = hundred_patients(20, 14, "new")
    table = return_table(seen, last=day_number(pd.Timestamp(LAST)), weeks=40)
    assert table.events.sum() == 0


def test_few_returns_share_one_curve_and_many_have_their_own() -> None:
    few = return_table(hundred_patients(20, 60, "symptoms_return"), last=day_number(pd.Timestamp(LAST)), weeks=40)
    assert set(few.group_of) == {0}


def test_drawn_rates_scatter_around_the_likeliest() -> None:
    table = return_table(hundred_patients(40, 14, "second_attempt"), last=day_number(pd.Timestamp(LAST)), weeks=40)
    drawn = table.rate_draws(4000, np.random.default_rng(3))[:, 0, SECOND, 1]
    assert drawn.mean() == pytest.approx(40 / 140, rel=0.02)
    assert drawn.std() == pytest.approx(np.sqrt(40) / 140, rel=0.05)


def test_patients_waiting_are_shared_between_the_weeks_they_stand_between() -> None:
    seen = hundred_patients(0, 1, "other")  # 200 days are 28 weeks and 4 days
    waiting = waiting_patients(seen, last=day_number(pd.Timestamp(LAST)), weeks=40)
    assert waiting[0, 28] == pytest.approx(100 * 3 / 7)
    assert waiting[0, 29] == pytest.approx(100 * 4 / 7)
    assert waiting.sum() == pytest.approx(100)


def no_rates(weeks: int) -> np.ndarray:
    return np.zeros((1, STRATA, len(KINDS), weeks))


def test_full_uptake_brings_everybody_in_the_month_due() -> None:
    rates = with_recall_uptake(no_rates(80), recall_months=12, uptake=1.0, kind=RECALL)
    waiting = np.zeros((STRATA, 80))
    waiting[0, 50] = 10.0  # due in two weeks
    came = project(waiting, np.zeros((1, STRATA, 8)), rates, np.ones(8)).first[0, :, RECALL]
    assert came.sum() == pytest.approx(10.0, abs=1e-6)
    np.testing.assert_allclose(came[2:6], 2.5, atol=1e-6)


def test_no_uptake_brings_nobody_and_leaves_other_kinds() -> None:
    rates = no_rates(80)
    rates[:, :, RECALL], rates[:, :, SYMPTOMS] = 0.3, 0.1
    replaced = with_recall_uptake(rates, recall_months=12, uptake=0.0, kind=RECALL)
    assert replaced[:, :, RECALL].sum() == 0
    assert (replaced[:, :, SYMPTOMS] == 0.1).all()
    assert (rates[:, :, RECALL] == 0.3).all()  # what was handed in is left as it was


def test_everybody_known_either_comes_or_waits() -> None:
    rates = no_rates(60)
    rates[:, :, SYMPTOMS] = 0.05
    waiting = np.zeros((STRATA, 60))
    waiting[0, 10] = 100.0
    first = project(waiting, np.zeros((1, STRATA, 4)), rates, np.ones(4)).first
    assert first.sum() == pytest.approx(100 * (1 - np.exp(-0.2)))


def test_a_visit_ahead_brings_its_own_returns_and_none_is_counted_twice() -> None:
    rates = no_rates(60)
    rates[:, :, SECOND, 1] = 0.2  # second attempts in the second week only
    entrants = np.zeros((1, STRATA, 8))
    entrants[0, 0, 0] = 100.0
    projected = project(np.zeros((STRATA, 60)), entrants, rates, np.ones(8))
    assert projected.first.sum() == 0
    once = 1 - np.exp(-0.2)
    # some have a second attempt, and of these some a third, and so on
    assert projected.later.sum() == pytest.approx(100 * once / (1 - once), rel=0.02)


def test_month_chances_agree_with_carrying_everybody_forward() -> None:
    rng = np.random.default_rng(5)
    rates = rng.gamma(1.0, 0.02, size=(1, STRATA, len(KINDS), 60))
    waiting = np.zeros((STRATA, 60))
    waiting[:, :40] = rng.integers(0, 9, size=(STRATA, 40))
    scale, share = np.linspace(0.8, 1.2, 8), np.repeat(np.eye(2), 4, axis=0)
    chances = month_chances(rates[0], scale, share)
    mean = (waiting[:, : chances.shape[1], None, None] * chances).sum(axis=(0, 1))
    first = project(waiting, np.zeros((1, STRATA, 8)), rates, scale).first[0]
    np.testing.assert_allclose(mean, share.T @ first, rtol=1e-9)


def test_chances_of_a_week_add_up_to_coming_at_all() -> None:
    rates = np.array([[0.2], [0.3]])
    assert week_chances(rates).sum() == pytest.approx(1 - np.exp(-0.5))


def test_watching_put_together_by_day_is_watching_spell_by_spell():
    rng = np.random.default_rng(3)
    start, stratum = rng.integers(1000, 1500, 300), rng.integers(0, 4, 300)
    stop = start + rng.integers(1, 300, 300)
    cumulative = np.concatenate([np.zeros((4, 1)), rng.random((4, 80)).cumsum(axis=1)], axis=1)
    days = np.arange(1050, 1550, 30)
    told = [
        sum(
            np.interp((min(day, to) - begun) / 7, np.arange(81), cumulative[which])
            for which, begun, to in zip(stratum, start, stop, strict=True)
            if begun <= day
        )
        for day in days
    ]
    assert _expected_up_to(days, cumulative, stratum, start, stop) == pytest.approx(told, rel=1e-9)
