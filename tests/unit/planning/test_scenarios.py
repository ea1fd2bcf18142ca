"""The what-if machine on clinics simple enough to reckon by hand."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.models.demand_changed import ChangedReturns
from analysis.models.returns_ahead import RECALL
from analysis.models.visit_history import KINDS, NEW, SECOND
from analysis.planning.scenarios import Advice, FoundStates, Played, VisitWork, moved_shares, play, sessions_drawn

ROWS, MONTHS = 3, 2
SYMPTOMS = KINDS.index("symptoms_return")


def returns(recalls: float, second: float = 0.0, months_since: float = 12.0) -> ChangedReturns:
    expected = np.zeros((ROWS, MONTHS, len(KINDS)))
    expected[..., RECALL], expected[..., SECOND] = recalls, second
    return ChangedReturns(expected, np.full((ROWS, MONTHS), np.log(months_since)))


def nobody_new() -> np.ndarray:
    return np.zeros((ROWS, MONTHS, len(KINDS)))


def work(minutes: float = 15.0, slot: float = 20.0, lost: float = 0.0) -> VisitWork:
    return VisitWork(
        np.full((ROWS, len(KINDS)), minutes), np.full(len(KINDS), slot), np.full((ROWS, len(KINDS)), lost), 200.0
    )


def half_open(slope: float = 0.0) -> FoundStates:
    return FoundStates(
        shares=np.tile([0.5, 0.25, 0.25], (len(KINDS), 1)),
        minutes=np.tile([10.0, 15.0, 20.0], (ROWS, 1)),
        again=np.tile([0.0, 0.1, 0.3], (ROWS, 1)),
        slope=np.full(ROWS, slope),
    )


def test_without_a_change_visits_fill_their_slots() -> None:
    today = returns(100)
    played = play(today, today, nobody_new(), work(), states=half_open())
    assert played.visits.sum(axis=2) == pytest.approx(np.full((ROWS, MONTHS), 100))
    assert played.chair_minutes == pytest.approx(np.full((ROWS, MONTHS), 1500))
    assert played.sessions == pytest.approx(np.full((ROWS, MONTHS), 10))


def test_lost_slots_and_visits_longer_than_their_slot_take_more() -> None:
    today = returns(100)
    assert play(today, today, nobody_new(), work(lost=0.1)).sessions[0, 0] == pytest.approx(11)
    assert play(today, today, nobody_new(), work(minutes=30)).sessions[0, 0] == pytest.approx(15)


def test_recalls_twice_as_late_find_ears_fuller_and_take_longer() -> None:
    # slope 1, twice the months: odds of being fuller double, so half open becomes a third
    slope_one = half_open(slope=1.0)
    played = play(returns(100, months_since=24), returns(100), nobody_new(), work(), states=slope_one)
    # shares 1/3, 4/15, 2/5 in place of 1/2, 1/4, 1/4: minutes 3.33 + 4 + 8 = 15.33 in place of 13.75
    assert played.chair_minutes[0, 0] / 100 == pytest.approx(15 + 15.3333 - 13.75, abs=1e-3)
    sooner = play(returns(100, months_since=6), returns(100), nobody_new(), work(), states=slope_one)
    assert sooner.chair_minutes[0, 0] < 1500


def test_fuller_ears_at_recall_bring_more_second_attempts() -> None:
    today, later = returns(100, second=10), returns(100, second=10, months_since=24)
    played = play(later, today, nobody_new(), work(), states=half_open(slope=1.0))
    # failing shares: 4/15 * 0.1 + 2/5 * 0.3 = 0.14667 in place of 0.1
    assert played.visits[0, 0, SECOND] == pytest.approx(10 * 0.146667 / 0.1, rel=1e-3)


def test_fewer_recalls_among_returns_bring_more_second_attempts_if_recalls_are_easier() -> None:
    states = half_open()
    states.shares[RECALL] = [1.0, 0.0, 0.0]  # recalls are all found open and need no second attempt
    today, fewer = returns(50, second=10), returns(0, second=10)
    for each in (today, fewer):
        each.expected[..., SYMPTOMS] = 50
    played = play(fewer, today, nobody_new(), work(), states=states)
    # the table follows every return by the mean of both kinds; left are those of the harder kind alone
    assert played.visits[0, 0, SECOND] == pytest.approx(20)


def test_advice_shortens_only_the_visits_it_newly_reaches() -> None:
    newly = np.zeros(len(KINDS))
    newly[RECALL] = 0.5
    advice = Advice(newly, np.array([4.0, 2.0, 6.0]), np.ones(ROWS))
    today = returns(100)
    played = play(today, today, nobody_new(), work(), advice=advice)
    assert played.chair_minutes[:, 0] == pytest.approx([1300, 1400, 1200])
    assert played.sessions == pytest.approx(np.full((ROWS, MONTHS), 10))  # slots stay as long as they are


def test_another_slot_counts_as_far_as_visits_fit_in() -> None:
    today = returns(100)
    shorter = np.full(len(KINDS), 10.0)
    assert play(today, today, nobody_new(), work(), slot=shorter).sessions[0, 0] == pytest.approx(7.5)


def test_new_patients_are_alike_under_every_scenario() -> None:
    others = nobody_new()
    others[..., NEW] = 40
    played = play(returns(80), returns(100), others, work())
    assert (played.visits[..., NEW] == 40).all()


def test_shares_always_add_up_and_move_one_way() -> None:
    shares = np.array([0.0, 0.3, 0.7])
    moved = moved_shares(shares, np.linspace(-3, 3, 7))
    assert moved.sum(axis=-1) == pytest.approx(np.ones(7))
    assert (np.diff(moved[:, 2]) > 0).all()
    assert moved_shares(shares, np.array(0.0)) == pytest.approx(shares, abs=1e-5)


def test_the_sessions_of_a_future_move_with_its_visits() -> None:
    visits = np.zeros((4, MONTHS, len(KINDS)))
    visits[..., RECALL] = 100
    start: Played = play(returns(100), returns(100), nobody_new(), work())
    own_sessions = np.full((4, MONTHS), 10.4)
    fewer = sessions_drawn(0.9 * visits, visits, own_sessions, start, start, 200.0)
    assert fewer == pytest.approx(np.full((4, MONTHS), 9.4))
