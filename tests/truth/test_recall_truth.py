"""Planted re-occlusion is recovered within the error stated, and the error is stated where it is not.

Measured once, months until 30 in 100, mean error and the worst single one (``shared/recall_study.md`` has many more worlds):

- what the model assumes, and a frailty of variance 0.5 on top (60 seeds each, 2,500 patients, three years): the page;
- the invented clinic (16 seeds): 2 % late with a hearing aid and 1 % early without, worst 6 %, 31 of 32 ranges of 95 % held
  it; with a Weibull alone 8 % and 1 % late. Its patients wait 45 days on average after an ear occludes, some of them 120,
  where the symptom window of 60 days supposes 30;
- the invented clinic cut off after 18 months: 3 % and 1 % late, worst 14 %; after 12 months 9 % and 11 % early, worst 49 %;
- with nobody taken to be gone for good: 37 % and 28 % late where the model's assumptions hold, 17 % and 15 % in the invented clinic.
"""

import numpy as np
import pandas as pd
import pytest

from analysis.demo import invented_clinic
from analysis.derive.gaps import gaps
from analysis.models.recall import FittedRecall, fit_recall
from analysis.settings import RecallPart
from tests.truth.recall_world import World

GROUPS = {"hearing_aid": True, "no_hearing_aid": False}
SHARES = (0.2, 0.3, 0.5)
SEEDS = (1, 2, 3)


def fitted(world: World, seed: int) -> FittedRecall:
    visits, ears = world.log(seed)
    return fit_recall(gaps(visits, ears, symptom_window_days=60, last_day=world.last_day), RecallPart())


def errors(world: World, fits: list[FittedRecall]) -> np.ndarray:
    """Relative errors, shape (seeds, groups and shares)."""
    return np.array(
        [
            [
                fit.curves[name].months_until(share).value / world.months_until(share, hearing_aid=aid) - 1
                for name, aid in GROUPS.items()
                for share in SHARES
            ]
            for fit in fits
        ]
    )


@pytest.fixture(scope="module")
def as_assumed():
    world = World()
    return world, [fitted(world, seed) for seed in SEEDS]


def test_months_are_recovered_where_the_assumptions_hold(as_assumed):
    found = errors(*as_assumed)
    assert np.abs(found).max() < 0.10  # about three standard errors of one clinic
    assert np.abs(found.mean(axis=0)).max() < 0.06


def test_shape_and_the_share_who_never_return_are_recovered(as_assumed):
    world, fits = as_assumed
    # two standard errors of three clinics' mean
    assert np.mean([fit.shape.value for fit in fits]) == pytest.approx(world.shape, abs=0.035)
    for fit in fits:
        assert fit.shape.low < world.shape < fit.shape.high
        assert fit.return_share.value == pytest.approx(1 - world.never, abs=0.04)


def test_ranges_hold_the_truth(as_assumed):
    world, fits = as_assumed
    held = [
        fit.curves[name].months_until(share).low
        <= world.months_until(share, hearing_aid=aid)
        <= fit.curves[name].months_until(share).high
        for fit in fits
        for name, aid in GROUPS.items()
        for share in SHARES
    ]
    assert np.mean(held) >= 0.75  # 18 ranges, many of them of the same curve


def test_ignoring_those_gone_for_good_makes_every_figure_late(as_assumed):
    world, fits = as_assumed
    for fit in fits:
        for name, aid in GROUPS.items():
            late = fit.without_never[name].months_until(0.3).value / world.months_until(0.3, hearing_aid=aid)
            assert late > 1.12


def test_where_everybody_returns_both_versions_agree():
    world = World(never=0.0)
    fit = fitted(world, 4)
    assert fit.return_share.value > 0.98
    for name in GROUPS:
        with_never, without = (curves[name].months_until(0.3).value for curves in (fit.curves, fit.without_never))
        assert with_never == pytest.approx(without, rel=0.03)


def test_a_frailty_shared_by_both_ears_costs_no_more_than_stated():
    world = World(frailty_variance=0.5)
    found = errors(world, [fitted(world, seed) for seed in SEEDS])
    assert np.abs(found).max() < 0.20
    assert np.abs(found.mean(axis=0)).max() < 0.13


@pytest.mark.parametrize("seed", [20260930, 2])
def test_the_invented_clinics_truth_is_recovered_within_a_fifth(seed):
    clinic = invented_clinic(seed)
    last_day = pd.Timestamp("2026-09-30")
    fit = fit_recall(gaps(clinic.visits, clinic.ears, symptom_window_days=60, last_day=last_day), RecallPart())
    truth = clinic.truth["recall"]["months_until_share_occluded"]
    for name in GROUPS:
        for share in SHARES:
            planted = truth[name][f"at_{share * 100:.0f}_percent"]
            assert fit.curves[name].months_until(share).value == pytest.approx(planted, rel=0.20), (name, share)
        assert fit.without_never[name].months_until(0.3).value > truth[name]["at_30_percent"]
    hearing_aid, rest = (fit.curves[name].months_until(0.3) for name in GROUPS)
    assert hearing_aid.high < rest.low


def test_a_one_year_log_says_how_little_it_knows():
    clinic = invented_clinic(20260930)
    found = {}
    for last_day in ("2024-09-30", "2026-09-30"):
        table = gaps(clinic.visits, clinic.ears, symptom_window_days=60, last_day=pd.Timestamp(last_day))
        fit = fit_recall(table, RecallPart())
        months = fit.curves["everyone"].months_until(0.3)
        found[last_day] = fit.followed_months, months.high / months.low
    assert found["2024-09-30"][0] < 12 < 24 < found["2026-09-30"][0]
    assert found["2024-09-30"][1] > 1.3 > found["2026-09-30"][1]
