"""Minutes by the mix of coming visits, on figures simple enough to reckon by hand."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.models.returns_ahead import RECALL
from analysis.models.visit_history import KINDS, NEW
from analysis.models.visit_states import VisitStates
from analysis.planning.visit_mix import VisitMix, chair_minutes, fully_occluding_share, visit_mix

ROWS, MONTHS = 101, 2


def states(timed: float = 1e9) -> VisitStates:
    shape = (len(KINDS), 1)
    return VisitStates(
        counts=np.tile([5e8, 2.5e8, 2.5e8], shape),
        visits=1000,
        minutes=np.tile([10.0, 14.0, 22.0], shape),
        spread=np.tile([1.0, 1.0, 1.0], shape),
        timed=np.full((len(KINDS), 3), timed),
    )


def mix(later: float = 0.0, slope: float = 1.0, timed: float = 1e9) -> VisitMix:
    return visit_mix(
        states(timed), slope=np.full(ROWS, slope), later=np.full((ROWS, MONTHS), later), turnaround_minutes=2.0,
        rng=np.random.default_rng(1),
    )  # fmt: skip


def visits(recalls: float = 0.0, new: float = 0.0, futures: int = 400) -> np.ndarray:
    drawn = np.zeros((futures, MONTHS, len(KINDS)))
    drawn[..., RECALL], drawn[..., NEW] = recalls, new
    return drawn


def test_minutes_are_those_of_the_states_by_their_shares_with_turnaround() -> None:
    assert mix().minutes[0] == pytest.approx(np.full((MONTHS, len(KINDS)), 5 + 3.5 + 5.5 + 2))


def test_recalls_twice_as_late_are_fuller_and_other_visits_are_not() -> None:
    # odds of being fuller doubled: 1/3, 4/15, 2/5 in place of 1/2, 1/4, 1/4
    later = mix(later=np.log(2)).minutes[0, 0]
    assert later[RECALL] == pytest.approx(10 / 3 + 14 * 4 / 15 + 22 * 2 / 5 + 2)
    assert later[NEW] == pytest.approx(16)


def test_one_visits_spread_counts_within_states_and_between_them() -> None:
    between = 0.5 * (10 - 14) ** 2 + 0.25 * 0 + 0.25 * (22 - 14) ** 2
    assert mix().spread[0, NEW] == pytest.approx(np.sqrt(1 + between))


def test_minutes_few_visits_stand_behind_are_less_sure() -> None:
    assert mix(timed=4.0).minutes[1:, 0, NEW].std() > 0.2
    assert mix().minutes[1:, 0, NEW].std() < 0.01


def test_drawn_hours_have_the_mean_and_spread_of_the_visits() -> None:
    drawn = chair_minutes(visits(new=100, futures=4000), mix(), np.random.default_rng(2))[:, 0]
    assert drawn.mean() == pytest.approx(1600, rel=0.005)
    assert drawn.std() == pytest.approx(10 * np.sqrt(25), rel=0.05)


def test_no_visit_takes_no_minute() -> None:
    assert chair_minutes(visits(), mix(), np.random.default_rng(2)).max() == 0
    assert fully_occluding_share(np.zeros((MONTHS, len(KINDS))), mix()).max() == 0


def test_the_share_of_full_ears_goes_by_what_kinds_are_expected() -> None:
    later = mix(later=np.log(2))
    assert fully_occluding_share(visits(recalls=1, new=1)[0], later)[0] == pytest.approx(
        np.full(MONTHS, (0.4 + 0.25) / 2)
    )
