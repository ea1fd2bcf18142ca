"""Slots on the grid, the floor they keep, and the comparison with today's."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.derive.attempts import attempts
from analysis.models.attendance import attendance
from analysis.models.booking_minutes import fit_booking_minutes
from analysis.models.visit_time import fit_visit_time
from analysis.planning.session import Bookings
from analysis.planning.slot_evidence import SlotEvidence, draw_bookings, draw_luck, slot_evidence
from analysis.planning.slot_search import best_slots, run_slots, session_cost, slot_floors
from analysis.planning.slots import COST, QUANTITIES, RECOMMENDED, TODAY, SlotPlan, plan_slots
from analysis.problems import DataProblem
from analysis.schema import VISITS, typed_frame
from analysis.settings import SlotsPart, VisitTimePart
from tests.visit_world import invented_log


def gathered(visits: pd.DataFrame, ears: pd.DataFrame) -> SlotEvidence:
    worked = attempts(visits, ears, second_attempt_days=28, last_day=visits["slot_start"].max())
    fitted = fit_visit_time(visits, worked, ears, VisitTimePart())
    expected = fit_booking_minutes(visits, ears, fitted, VisitTimePart())
    return slot_evidence(visits, fitted, expected, lateness=attendance(visits).lateness)


@pytest.fixture(scope="module")
def evidence() -> SlotEvidence:
    return gathered(*invented_log(np.random.default_rng(21), visits=1500))


def plan(evidence: SlotEvidence, settings: SlotsPart) -> SlotPlan:
    return plan_slots(evidence, settings, level=0.95, rng=np.random.default_rng(1), redraws=40)


def test_bookings_are_drawn_as_the_log_has_them(evidence):
    model = evidence.model()
    drawn = draw_bookings(model, draw_luck(np.random.default_rng(2), bookings=10, sessions=20_000))
    assert np.bincount(drawn.category.ravel()) / drawn.category.size == pytest.approx(model.mix, abs=0.005)
    assert 1 - drawn.attends.mean() == pytest.approx(float(model.absent @ model.mix), abs=0.004)
    assert drawn.late_minutes.mean() == pytest.approx(model.arrivals.mean(), abs=0.05)
    for category in range(2):
        mine = model.category == category
        means = np.repeat(model.means[mine], model.weights[mine].astype(int))
        minutes = drawn.minutes[drawn.category == category]
        assert minutes.mean() == pytest.approx(means.mean(), rel=0.005)
        assert np.quantile(minutes, 0.9) == pytest.approx(
            np.quantile(np.random.default_rng(3).gamma(model.shape, np.repeat(means, 200) / model.shape), 0.9),
            rel=0.01,
        )


def test_counting_every_booking_once_leaves_the_model_as_it_is(evidence):
    once, plain = evidence.model(np.ones(len(evidence.held_kind))), evidence.model()
    assert once.mix == pytest.approx(plain.mix)
    assert once.means == pytest.approx(plain.means, rel=1e-8)


def test_alike_visits_together_give_each_category_the_minutes_of_its_visits(evidence):
    model, fitted = evidence.model(), evidence.fitted
    for category in range(len(evidence.names)):
        mine, alike = evidence.visit_category == category, model.category == category
        assert model.weights[alike].sum() == mine.sum()
        assert np.average(model.means[alike], weights=model.weights[alike]) == pytest.approx(
            fitted.minutes[mine].mean()
        )


def test_no_slot_leaves_less_than_the_protected_minutes_beside_the_ears(evidence):
    fitted = evidence.fitted
    floors = slot_floors(evidence, SlotsPart(protected_minutes=12.0))
    for category, floor in enumerate(floors):
        ears = np.median(fitted.ear_means[evidence.visit_category == category])
        assert 12.0 + ears <= floor < 12.0 + ears + 5


def test_without_graded_ears_half_of_the_visits_fit_the_shortest_slot():
    visits, ears = invented_log(np.random.default_rng(22))
    evidence = gathered(visits, ears.iloc[:0])
    minutes = evidence.fitted.sample.visits["minutes"].to_numpy()
    for category, floor in enumerate(slot_floors(evidence, SlotsPart(protected_minutes=0.0))):
        assert (minutes[evidence.visit_category == category] <= floor).mean() >= 0.5


def like_visits(minutes: float, sessions: int = 50) -> Bookings:
    shape = (20, sessions)
    return Bookings(np.zeros(shape, int), np.full(shape, minutes), np.ones(shape, bool), np.zeros(shape))


def test_visits_of_always_the_same_length_get_the_slot_they_fill():
    settings = SlotsPart(session_minutes=200.0, turnaround_minutes=0.0)
    assert best_slots(like_visits(20.0), np.array([5.0]), settings).tolist() == [20.0]


def test_turnaround_is_part_of_the_slot():
    settings = SlotsPart(session_minutes=200.0, turnaround_minutes=5.0)
    assert best_slots(like_visits(20.0), np.array([5.0]), settings).tolist() == [25.0]


def test_the_search_finds_what_trying_every_template_finds(evidence):
    settings = SlotsPart()
    bookings = draw_bookings(evidence.model(), draw_luck(np.random.default_rng(4), bookings=21, sessions=800))
    grid = np.arange(10.0, 45.0, 5.0)
    every = [np.array([first, second]) for first in grid for second in grid]
    costs = [session_cost(run_slots(each, bookings, settings), settings) for each in every]
    assert best_slots(bookings, np.array([10.0, 10.0]), settings).tolist() == every[int(np.argmin(costs))].tolist()


def test_dearer_waiting_lengthens_and_dearer_idling_shortens_the_slots(evidence):
    plain = plan(evidence, SlotsPart(protected_minutes=0.0)).slots["recommended_minutes"]
    waiting = plan(evidence, SlotsPart(protected_minutes=0.0, price_wait=10.0)).slots["recommended_minutes"]
    idling = plan(evidence, SlotsPart(protected_minutes=0.0, price_idle=10.0)).slots["recommended_minutes"]
    assert waiting.sum() > plain.sum() > idling.sum()


def test_today_is_the_commonest_slot_of_the_log_unless_the_owner_says_otherwise(evidence):
    found = plan(evidence, SlotsPart(today={"new": 45})).slots["today_minutes"].to_dict()
    assert found == {"new": 45.0, "routine_recall": 20.0}


def test_both_templates_are_compared_and_the_differences_add_up(evidence):
    found = plan(evidence, SlotsPart(today={"new": 45, "routine_recall": 45}))
    for quantity in QUANTITIES:
        new, old = found.figures[RECOMMENDED, quantity], found.figures[TODAY, quantity]
        assert found.differences[quantity].value == pytest.approx(new.value - old.value)
        assert new.low <= new.value <= new.high
    assert found.told_apart
    assert found.differences["patients_per_session"].low > 0


def test_todays_own_slots_recommended_are_the_same_template(evidence):
    best = plan(evidence, SlotsPart()).slots["recommended_minutes"].astype(int).to_dict()
    again = plan(evidence, SlotsPart(today=best))
    assert again.same
    assert not again.told_apart
    assert again.differences[COST].value == 0


def test_the_floor_binds_where_a_shorter_slot_would_have_been_chosen(evidence):
    free = plan(evidence, SlotsPart(protected_minutes=0.0)).slots
    kept = plan(evidence, SlotsPart(protected_minutes=40.0)).slots
    assert not free["floor_binds"].any()
    assert kept["floor_binds"].all()
    assert (kept["recommended_minutes"] >= kept["floor_minutes"]).all()


def test_slots_lie_on_the_grid_of_ten_even_where_it_does_not_divide_the_session(evidence):
    found = plan(evidence, SlotsPart(grid_minutes=10, session_minutes=205.0))
    assert (found.slots["recommended_minutes"] % 10 == 0).all()
    assert 0 < found.figures[RECOMMENDED, "patients_per_session"].value < 21


def test_without_slots_in_the_log_nothing_is_compared():
    visits, ears = invented_log(np.random.default_rng(23))
    found = plan(gathered(typed_frame(VISITS, visits.drop(columns="slot_minutes")), ears), SlotsPart())
    assert found.differences == {}
    assert {policy for policy, _ in found.figures} == {RECOMMENDED}


def test_a_kind_booked_a_few_times_has_no_slot_and_is_counted():
    visits, ears = invented_log(np.random.default_rng(24))
    kind = visits["booking_kind"].astype("object")
    kind[:12] = "second_attempt"
    found = gathered(typed_frame(VISITS, visits.assign(booking_kind=kind)), ears)
    assert found.no_slot == {"second_attempt": 12}
    assert found.names == ["new", "routine_recall"]


def test_without_arrivals_everyone_is_punctual():
    visits, ears = invented_log(np.random.default_rng(25))
    found = gathered(typed_frame(VISITS, visits.drop(columns="arrived_at")), ears)
    assert not found.model().arrivals.any()


def test_prices_of_nought_are_refused_in_words(evidence):
    with pytest.raises(DataProblem, match="no slot is better than another"):
        plan(evidence, SlotsPart(price_wait=0.0, price_idle=0.0, price_overtime=0.0))


def test_protected_minutes_longer_than_a_session_are_refused_in_words(evidence):
    with pytest.raises(DataProblem, match="longer than the session"):
        plan(evidence, SlotsPart(protected_minutes=60.0, session_minutes=30.0))
