"""How full ears were found at the last year's visits."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.models.visit_history import KINDS, NEW
from analysis.models.visit_states import visit_states
from analysis.problems import NotEnough
from analysis.schema import EAR_ROWS, typed_frame
from tests.demand_logs import log

LAST = pd.Timestamp("2026-06-30")
GRADES = ["non_occluding", "partly_occluding", "fully_occluding"]


def year(many: int, *, kind: str = "new", minutes: float = 20.0, first: int = 0) -> tuple[pd.DataFrame, pd.DataFrame]:
    """So many visits, a third each with open, partly and fully occluding ears, five minutes apart."""
    visits = log(*((f"p{n}", "2026-05-04", kind) for n in range(many)))
    visits = visits.assign(visit_id=[f"v{first + n}" for n in range(many)])
    grade = [GRADES[n % 3] for n in range(many)]
    visits = visits.assign(
        minutes=[minutes + 5.0 * (n % 3) for n in range(many)],
        minutes_quality=pd.Categorical(["timed"] * many, visits["minutes_quality"].cat.categories),
    )
    ears = pd.DataFrame({"visit_id": visits["visit_id"], "ear": "left", "grade": grade})
    return visits, typed_frame(EAR_ROWS, ears)


def test_visits_are_counted_by_the_fuller_ear() -> None:
    visits, ears = year(60)
    other = ears.assign(ear=pd.Categorical(["right"] * 60, ears["ear"].cat.categories))
    other["grade"] = pd.Categorical(["clear"] * 60, ears["grade"].cat.categories, ordered=True)
    found = visit_states(visits, pd.concat([ears, other], ignore_index=True), last_day=LAST)
    assert found.counts[NEW].tolist() == [20, 20, 20]
    assert found.minutes[NEW].tolist() == [20, 25, 30]


def test_a_kind_seen_too_rarely_has_the_shares_and_minutes_of_all() -> None:
    visits, ears = year(60)
    few_visits, few_ears = year(3, kind="second_attempt", minutes=40.0, first=60)
    both = pd.concat([visits, few_visits], ignore_index=True)
    found = visit_states(both, pd.concat([ears, few_ears], ignore_index=True), last_day=LAST)
    second = KINDS.index("second_attempt")
    assert found.shares[second] == pytest.approx([1 / 3, 1 / 3, 1 / 3])
    assert found.minutes[second, 0] == pytest.approx((20 * 20 + 40) / 21)


def test_minutes_nobody_timed_are_missing_and_too_few_grades_are_refused() -> None:
    visits, ears = year(60)
    untimed = visits.assign(minutes=np.nan)
    assert np.isnan(visit_states(untimed, ears, last_day=LAST).minutes).all()
    with pytest.raises(NotEnough, match="Only 6 visits"):
        visit_states(*year(6), last_day=LAST)
    with pytest.raises(NotEnough, match="Only 0 visits"):
        visit_states(visits, ears, last_day=pd.Timestamp("2028-01-01"))
