"""The invented clinic's minutes are of the size that published ones are: plausibility, no more.

Published figures and how each is known stand in ``values/consultation_times.json``. They are of other
places, methods and tasks, so only their orders of size are held against ours.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from analysis.answers.visit_log import timed_visits
from analysis.clinic import Clinic
from analysis.demo import invented_clinic
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.stats.quantiles import quantiles

FILE = Path(__file__).parent / "values" / "consultation_times.json"
PUBLISHED = {name: each["value"] for name, each in json.loads(FILE.read_text("utf-8"))["figures"].items()}


@pytest.fixture(scope="module")
def fitted() -> FittedVisitTime:
    made = invented_clinic()
    return timed_visits(Clinic(made.visits, made.ears)).fitted


def test_eight_in_ten_visits_stay_within_minutes_that_are_booked_elsewhere(fitted):
    eight = float(quantiles(fitted.minutes, [0.8])[0])
    assert PUBLISHED["appointment_shortest_minutes"] <= eight <= PUBLISHED["appointment_longest_minutes"]


def test_a_full_ear_adds_minutes_between_the_published_means_of_one_ear(fitted):
    full = fitted.added[(fitted.added["grade"] == "fully_occluding") & fitted.added["minutes"].notna()]
    assert (
        full["minutes"]
        .between(PUBLISHED["one_ear_shortest_mean_minutes"], PUBLISHED["one_ear_longest_mean_minutes"])
        .all()
    )
    assert full["high"].max() < PUBLISHED["suction_longest_minutes"]


def test_the_overhead_is_of_the_size_of_a_consultation(fitted):
    # Within half to twice a nurse's mean consultation: consent, history and aftercare are much of one.
    assert 0.5 < fitted.overhead.value / PUBLISHED["nurse_consultation_mean_minutes"] < 2
