"""What the what-ifs foretell comes true: the same patients lived on under the rule as it was, and under another.

Each patient of a small invented clinic has a chance stream of their own, so that both lives share all luck but the rule.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
import pytest

from analysis.models.demand import Demand, Draws, forecast_demand
from analysis.models.demand_changed import Change, changed_returns
from analysis.models.returns_ahead import RECALL
from analysis.models.visit_history import KINDS, SECOND, day_number, visit_history
from tests.demand_logs import log

START = pd.Timestamp("2023-01-02")
MONTHS, AHEAD = 36, 6
CUT = START + pd.DateOffset(months=MONTHS) - pd.Timedelta(days=2)
END = START + pd.DateOffset(months=MONTHS + AHEAD + 1)
MONTH_DAYS = 365.25 / 12
WORLDS, PATIENTS_A_DAY = 6, 3
SYMPTOMS = KINDS.index("symptoms_return")


def lived(seed: int, *, later_months: float = 0.0, second_attempts: float = 1.0) -> pd.DataFrame:
    """Live a clinic to the end; from the day after ``CUT`` on, recalls are moved and second attempts fewer."""
    cut, end = day_number(CUT), day_number(END)
    visits: list[tuple[str, int, str]] = []
    for number, day in enumerate(np.repeat(np.arange(day_number(START), end), PATIENTS_A_DAY)):
        luck = np.random.default_rng([seed, number])
        visits += _one(f"p{number}", int(day), luck, (cut, end), later_months * MONTH_DAYS, second_attempts)
    frame = log(
        *((key, f"{pd.Timestamp('1970-01-01') + pd.Timedelta(days=day):%Y-%m-%d}", kind) for key, day, kind in visits)
    )
    return frame.sort_values("slot_start", kind="stable").reset_index(drop=True)


def _one(
    key: str, day: int, luck: np.random.Generator, edges: tuple[int, int], later: float, second: float
) -> list[tuple[str, int, str]]:
    """Live one patient: second attempts, a recall about a year on, or symptoms before it."""
    visits, kind = [], "new"
    while day < edges[1]:
        visits.append((key, day, kind))
        again, wait, symptoms, recall, called = (
            luck.random(),
            luck.integers(7, 22),
            luck.weibull(1.5),
            luck.normal(365, 20),
            luck.random(),
        )
        if kind != "second_attempt" and again < 0.15 * (second if day > edges[0] else 1.0):
            kind, gap = "second_attempt", float(wait)
        else:
            due = _due(recall, day, edges[0], later) if called < 0.6 else np.inf
            kind, gap = min(("routine_recall", due), ("symptoms_return", 500 * symptoms), key=lambda each: each[1])
        day += max(1, round(gap))
    return visits


def _due(recall: float, day: int, cut: int, later: float) -> float:
    """Move a recall: the clock stands still, or runs at twice its pace, for so many days from the change or the visit."""
    begun = max(cut - day, 0)
    if recall <= begun or not later:
        return recall
    if later > 0:
        return recall + later
    left = recall - begun
    return begun + (left / 2 if left <= -2 * later else left + later)


@cache
def forecasts() -> list[Demand]:
    """Forecast each world from its first three years."""
    known = [visit_history(lived(seed), last_day=CUT) for seed in range(WORLDS)]
    return [
        forecast_demand(
            each, first=day_number(START), last=day_number(CUT), months_ahead=AHEAD,
            rng=np.random.default_rng(seed), draws=Draws(futures=200, rates=20),
        )
        for seed, each in enumerate(known)
    ]  # fmt: skip


def came(later_months: float, second_attempts: float) -> np.ndarray:
    """Count what comes in the months ahead, all worlds together, shape (months, kinds)."""
    ahead, counts = forecasts()[0].months.ahead, np.zeros((AHEAD, len(KINDS)))
    for seed in range(WORLDS):
        visits = lived(seed, later_months=later_months, second_attempts=second_attempts)
        month = visits["slot_start"].dt.to_period("M")
        kind = visits["booking_kind"].cat.codes
        for place, each in enumerate(ahead):
            counts[place] += np.bincount(kind[month == each], minlength=len(KINDS))[: len(KINDS)]
    return counts


def foretold(later_months: float, second_attempts: float) -> np.ndarray:
    """Sum what the forecasts say changes, shape (months, kinds)."""
    changes = np.zeros((AHEAD, len(KINDS)))
    for demand in forecasts():
        fewer = np.full(len(demand.others), second_attempts)
        after, before = (
            changed_returns(demand, change).expected[0] for change in (Change(later_months, fewer), Change())
        )
        changes += after - before
    return changes


@cache
def as_it_was() -> np.ndarray:
    return came(0.0, 1.0)


@pytest.mark.parametrize("later_months", [-2.0, 2.0])
def test_recalls_moved_change_visits_as_foretold(later_months: float) -> None:
    truth, said = came(later_months, 1.0) - as_it_was(), foretold(later_months, 1.0)
    # about 1,000 recalls fewer or more in the first two months of six worlds; the log's own rates are known to 3 in 100,
    # and weeks of four that the table is made of move a recall by up to two
    assert said[:2, RECALL].sum() == pytest.approx(truth[:2, RECALL].sum(), rel=0.1)
    assert said.sum() == pytest.approx(truth.sum(), rel=0.1)
    # whoever is not called yet comes with symptoms first: the other way round, and far fewer
    assert np.sign(said[:, SYMPTOMS].sum()) == np.sign(truth[:, SYMPTOMS].sum()) == np.sign(later_months)
    assert said[:, SYMPTOMS].sum() == pytest.approx(truth[:, SYMPTOMS].sum(), rel=0.25)


def test_half_as_many_second_attempts_come_as_foretold() -> None:
    truth, said = came(0.0, 0.5) - as_it_was(), foretold(0.0, 0.5)
    assert said[:, SECOND].sum() == pytest.approx(truth[:, SECOND].sum(), rel=0.1)
