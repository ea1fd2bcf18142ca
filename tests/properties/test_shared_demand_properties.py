"""Whatever is drawn: shares add up, recalls moved lose nobody, more sessions never lengthen a wait."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from analysis.models.closures import learn_closures
from analysis.models.demand_changed import recall_clock
from analysis.models.diary_days import weekday
from analysis.models.site_shares import SiteVisits, drawn_by_site, expected_by_site
from analysis.models.visit_history import KINDS
from analysis.models.weeks_ahead import Weeks, caught_up_later, drawn_by_week
from analysis.planning.scenarios import moved_shares
from analysis.planning.waiting_list import sessions_for_short_waits, waiting_list

MONTHS = 2
COUNTS = arrays(np.int64, (5, MONTHS, len(KINDS)), elements=st.integers(0, 300)).map(lambda drawn: drawn.astype(float))
SPREADS = st.floats(1.0, 40.0)
WORK = arrays(np.float64, (6, 4), elements=st.floats(0.0, 50.0))
quick = settings(max_examples=60, deadline=None)


@quick
@given(COUNTS, arrays(np.float64, (3, len(KINDS)), elements=st.floats(0, 500)), SPREADS)
def test_sites_always_add_up(drawn: np.ndarray, counts: np.ndarray, spread: float) -> None:
    counts[:, 0] += 1.0
    sites = SiteVisits(("a", "b", ""), counts, {}, spread, 100.0, 12, moved=False)
    found = drawn_by_site(drawn, sites, np.random.default_rng(1))
    assert (found.sum(axis=3) == drawn).all()
    assert (found >= 0).all()
    np.testing.assert_allclose(expected_by_site(drawn[0], sites).sum(axis=2), drawn[0], atol=1e-9)


@quick
@given(COUNTS, arrays(np.float64, (MONTHS, 6), elements=st.floats(0, 1)), SPREADS)
def test_weeks_always_add_up_and_closed_ones_are_empty(drawn: np.ndarray, share: np.ndarray, spread: float) -> None:
    share[:, 0] += 0.1
    share[:, 5] = 0.0
    share /= share.sum(axis=1, keepdims=True)
    nothing = np.zeros(6)
    weeks = Weeks(nothing, nothing, nothing, nothing, share, spread, 100.0, nothing, nothing)
    found = drawn_by_week(drawn, weeks, np.random.default_rng(1))
    assert (found.sum(axis=1) == drawn.sum(axis=1)).all()
    assert (found[:, 5] == 0).all()


@quick
@given(st.integers(0, 30_000), arrays(np.bool_, 800), st.integers(1, 800), st.booleans())
def test_no_day_the_log_was_open_on_is_expected_closed(
    first: int, opened: np.ndarray, days: int, by_a_day: bool
) -> None:
    past, opened = first + np.arange(days), opened[:days]
    shares = np.bincount(weekday(past), weights=opened, minlength=7) / np.maximum(np.bincount(weekday(past)).max(), 1)
    found = learn_closures(past[opened], past, shares[weekday(past)], told_by_a_day=by_a_day)
    assert not found.on(past[opened]).any()


@quick
@given(arrays(np.float64, 30, elements=st.sampled_from([0.0, 0.5, 1.0])), st.floats(0, 1))
def test_catching_up_adds_no_more_than_what_was_missed(opened: np.ndarray, share: float) -> None:
    usual = np.ones(30)
    bears = caught_up_later(opened, usual, share)
    assert (bears >= opened).all()
    assert (bears[opened == 0] == 0).all()
    assert bears.sum() <= opened.sum() + share * (opened == 0).sum() + 1e-9


@quick
@given(st.integers(1, 60), st.floats(-30, 30))
def test_the_recall_clock_never_runs_backwards(weeks: int, later: float) -> None:
    reading = np.arange(weeks + 1) + recall_clock(weeks, later)
    assert (np.diff(reading) >= -1e-9).all()
    assert abs(reading[-1] - weeks) <= abs(later) + 1e-9


@quick
@given(
    arrays(np.float64, 3, elements=st.floats(0.01, 1)).map(lambda shares: shares / shares.sum()),
    st.floats(-5, 5),
    st.floats(-5, 5),
)
def test_moving_shares_twice_is_moving_them_once(shares: np.ndarray, first: float, second: float) -> None:
    once = moved_shares(shares, np.array(first + second))
    np.testing.assert_allclose(once.sum(), 1.0)
    assert (once >= 0).all()
    # shares are held a millionth off nought and one
    np.testing.assert_allclose(moved_shares(moved_shares(shares, np.array(first)), np.array(second)), once, atol=1e-3)


@quick
@given(WORK, st.floats(1.0, 60.0), st.floats(1.0, 3.0), st.floats(0.0, 100.0))
def test_more_sessions_never_lengthen_a_wait(needed: np.ndarray, there: float, times: float, waiting: float) -> None:
    weeks = np.full(4, 4.3)
    few = waiting_list(needed, np.full(4, there), weeks, waiting)
    many = waiting_list(needed, np.full(4, times * there), weeks, waiting)
    assert (many.wait_weeks <= few.wait_weeks + 1e-9).all()


@quick
@given(WORK, st.floats(1.0, 60.0), st.floats(0.0, 8.0), st.floats(0.0, 100.0))
def test_the_sessions_said_to_be_enough_are(needed: np.ndarray, there: float, longest: float, waiting: float) -> None:
    capacity, weeks = np.full(4, there), np.full(4, 4.3)
    times = sessions_for_short_waits(needed, capacity, weeks, waiting=waiting, longest_weeks=longest, sure=0.8)
    if not times:
        assert needed.max() + waiting < 1e-4
        return
    held = waiting_list(needed, times * capacity, weeks, waiting).wait_weeks
    assert (held <= longest + 1e-6).all(axis=1).mean() >= 0.8
