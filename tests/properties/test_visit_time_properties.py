"""Whatever the log: its order does not matter, more of it narrows ranges, and longer slots never lengthen waits."""

from __future__ import annotations

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.derive.attempts import attempts
from analysis.derive.sessions import sessions
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.visit_time import fit_visit_time
from analysis.planning.session import ON_TIME_MINUTES, Bookings, run_sessions, run_template
from analysis.settings import VisitTimePart
from analysis.stats.gamma import gamma_shape, mixture_quantile
from tests.visit_world import invented_log

FEW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
SEEDS = st.integers(0, 10_000)


def fitted(visits: pd.DataFrame, ears: pd.DataFrame) -> FittedVisitTime:
    worked = attempts(visits, ears, second_attempt_days=28, last_day=visits["slot_start"].max())
    return fit_visit_time(visits, worked, ears, VisitTimePart())


@FEW
@given(SEEDS)
def test_the_order_of_rows_does_not_matter(seed):
    rng = np.random.default_rng(seed)
    visits, ears = invented_log(rng, visits=300)
    mixed = visits.iloc[rng.permutation(len(visits))], ears.iloc[rng.permutation(len(ears))]
    plain, again = fitted(visits, ears), fitted(*(each.reset_index(drop=True) for each in mixed))
    assert plain.overhead == again.overhead
    pd.testing.assert_frame_equal(plain.added, again.added)
    pd.testing.assert_frame_equal(sessions(visits), sessions(mixed[0]))


@FEW
@given(SEEDS)
def test_every_visit_twice_leaves_the_figures_and_narrows_the_ranges_where_others_come(seed):
    visits, ears = invented_log(np.random.default_rng(seed), visits=400)
    once = fitted(visits, ears)
    same, others = (twice(visits, ears, new_patients=each) for each in (False, True))
    for found in (same, others):
        assert np.allclose(once.added["minutes"], found.added["minutes"], rtol=1e-6)
        assert np.isclose(once.overhead.value, found.overhead.value, rtol=1e-6)
    assert np.allclose(width(same) / width(once), 1.0, rtol=1e-6)
    narrower = width(others) / width(once)  # by the root of two, and a little more, for small logs are allowed for
    assert (narrower <= np.sqrt(0.5) + 1e-6).all()
    assert (narrower > 0.5).all()


def twice(visits: pd.DataFrame, ears: pd.DataFrame, *, new_patients: bool) -> FittedVisitTime:
    keys = ("again " if new_patients else "") + visits["patient_key"]
    more = visits.assign(visit_id="again " + visits["visit_id"], patient_key=keys)
    also = ears.assign(visit_id="again " + ears["visit_id"])
    return fitted(pd.concat([visits, more], ignore_index=True), pd.concat([ears, also], ignore_index=True))


def width(found: FittedVisitTime) -> np.ndarray:
    return (found.added["high"] - found.added["low"]).to_numpy()


def some_bookings(rng: np.random.Generator, bookings: int, sessions_: int, categories: int) -> Bookings:
    shape = (bookings, sessions_)
    return Bookings(
        rng.integers(0, categories, shape), rng.gamma(3, 6, shape), rng.random(shape) > 0.15, rng.normal(-3, 8, shape)
    )


@settings(max_examples=80, deadline=None)
@given(SEEDS, st.integers(1, 12), st.floats(0, 10), st.lists(st.integers(1, 8), min_size=3, max_size=3))
def test_waits_and_idle_minutes_are_never_negative_and_minutes_add_up(seed, bookings, turnaround, steps):
    met = some_bookings(np.random.default_rng(seed), bookings, 20, 3)
    slots = 5.0 * np.array(steps)[met.category]
    runs = run_sessions(
        np.cumsum(slots, axis=0) - slots, met.minutes, met.attends, met.late_minutes, turnaround_minutes=turnaround
    )
    assert (runs.wait_minutes >= 0).all()
    assert (runs.idle_minutes >= 0).all()
    assert (runs.wait_minutes[~met.attends] == 0).all()
    in_use = ((met.minutes + turnaround) * met.attends).sum(axis=0)
    assert np.allclose(runs.free_at_minutes, in_use + runs.idle_minutes)


@settings(max_examples=80, deadline=None)
@given(SEEDS, st.integers(0, 2), st.lists(st.integers(1, 8), min_size=3, max_size=3))
def test_a_longer_slot_never_lengthens_anybodys_wait(seed, which, steps):
    met = some_bookings(np.random.default_rng(seed), 10, 20, 3)
    longer = np.array(steps)
    longer[which] += 1

    def waits(each: np.ndarray) -> np.ndarray:
        slots = 5.0 * each[met.category]
        return run_sessions(np.cumsum(slots, axis=0) - slots, met.minutes, met.attends, met.late_minutes).wait_minutes

    assert (waits(longer) <= waits(np.array(steps)) + 1e-9).all()


@settings(max_examples=80, deadline=None)
@given(SEEDS, st.lists(st.integers(2, 8), min_size=2, max_size=2), st.sampled_from([60.0, 210.0, 215.0]))
def test_a_templates_figures_stay_within_what_they_can_be(seed, steps, session):
    met = some_bookings(np.random.default_rng(seed), 21, 15, 2)
    found = run_template(5.0 * np.array(steps), met, session_minutes=session, turnaround_minutes=2.0)
    assert 0 <= found.on_time_share <= 1
    assert found.patients_per_session <= session / (5 * min(steps))
    assert found.idle_minutes <= session + found.overtime_minutes + max(0.0, met.late_minutes.max())
    assert min(found.mean_wait_minutes, found.overtime_minutes, found.idle_minutes) >= 0
    assert found.on_time_share > 0 or found.mean_wait_minutes > ON_TIME_MINUTES or found.patients_per_session == 0


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.floats(1, 60), min_size=1, max_size=8),
    st.floats(0.5, 60),
    st.floats(0.01, 0.98),
    st.floats(1.01, 3),
)
def test_a_higher_share_or_a_longer_mean_never_lowers_the_quantile(means, shape, share, factor):
    some, even = np.array(means), np.ones(len(means))
    found = mixture_quantile(share, some, even, shape)
    assert mixture_quantile(min(share * factor, 0.99), some, even, shape) >= found - 1e-6
    assert np.isclose(mixture_quantile(share, some * factor, even, shape), found * factor, rtol=1e-6)


@settings(max_examples=80, deadline=None)
@given(SEEDS, st.floats(1, 40), st.floats(0.1, 50))
def test_the_shape_does_not_hang_on_the_unit_of_minutes(seed, shape, factor):
    means = np.random.default_rng(seed).uniform(5, 40, 60)
    amounts = np.random.default_rng(seed + 1).gamma(shape, means / shape)
    assert np.isclose(gamma_shape(amounts, means), gamma_shape(amounts * factor, means * factor), rtol=1e-6)
