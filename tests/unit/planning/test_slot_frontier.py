"""Templates none of which is better in every way."""

from __future__ import annotations

import numpy as np

from analysis.planning.session import Bookings
from analysis.planning.slot_frontier import frontier, measure, undominated
from analysis.settings import SlotsPart

SETTINGS = SlotsPart(session_minutes=200.0)


def chance() -> Bookings:
    rng = np.random.default_rng(1)
    shape = (20, 400)
    return Bookings(rng.integers(0, 2, shape), rng.gamma(6, 2.5, shape), rng.random(shape) > 0.1, np.zeros(shape))


def test_along_the_frontier_less_waiting_costs_room_minutes_and_no_slot_is_below_its_floor():
    floors = np.array([15.0, 20.0])
    found = frontier(chance(), chance(), floors, SETTINGS)
    waits = [each.figures.mean_wait_minutes for each in found]
    rooms = [each.room_minutes for each in found]
    assert len(found) > 3
    assert waits == sorted(waits)
    assert rooms == sorted(rooms, reverse=True)
    assert all((np.array(each.slots) >= floors).all() for each in found)


def test_a_template_worse_in_both_is_dropped():
    good = measure(np.array([15.0, 15.0]), 0, chance(), SETTINGS)
    long = measure(np.array([100.0, 100.0]), 0, chance(), SETTINGS)
    gap = measure(np.array([100.0, 100.0]), 3, chance(), SETTINGS)
    assert undominated([long, good, gap])[-1] is good
    assert len(undominated([good, good])) == 1


def test_a_gap_lowers_the_waiting_of_the_same_patients():
    slots = np.array([15.0, 15.0])
    plain, gap = (measure(slots, every, chance(), SETTINGS).figures.mean_wait_minutes for every in (0, 3))
    assert gap < plain
