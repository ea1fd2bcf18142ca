"""Recall rules from a curve known beforehand."""

import numpy as np
import pandas as pd
import pytest

from analysis.models.recall import FittedRecall
from analysis.models.recall_curve import RecallCurve
from analysis.models.recall_unseen import Unseen
from analysis.planning.recall_policy import recall_rules
from analysis.settings import RecallPart
from analysis.stats.averaged_times import AveragedTimes
from analysis.stats.censored import TimeRegression
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import WEIBULL

DAYS_A_MONTH = 30.4375
NONE_UNSEEN = Unseen(np.zeros(2, int), np.zeros(2, int))


def fitted(median_months: float, *, watched_months: float = 36.0, error: float = 0.1) -> FittedRecall:
    """An exponential curve: half the ears by the median, three in four by twice that."""
    scale = np.log(median_months * DAYS_A_MONTH / np.log(2))
    fit = TimeRegression(np.array([scale]), 0.0, np.diag([error**2, 0.0]), 0.0, 300, 0.95)
    curves = {
        "everyone": RecallCurve(
            "everyone", 300, 200, 100, True, watched_months, AveragedTimes.over(fit, np.ones((1, 1)))
        )
    }
    day = pd.Timestamp("2025-01-01")
    share = Estimate(0.8, 0.7, 0.9, 0.95, 300, "")
    return FittedRecall(curves, curves, share, None, True, 0, 0, 0, 36.0, day, day, WEIBULL, NONE_UNSEEN)


def rule(median_months: float, share: float, today_months: int = 12, **more):
    return recall_rules(fitted(median_months, **more), RecallPart(share=share, today_months=today_months))["everyone"]


def test_months_are_rounded_down_so_that_the_share_is_not_yet_passed():
    found = rule(10.9, 0.5)
    assert found.months_until.value == pytest.approx(10.9)
    assert (found.recall_months.value, found.recall_months.low, found.recall_months.high) == (10, 8, 13)


def test_todays_interval_is_read_off_the_same_curve():
    assert rule(6.0, 0.5, today_months=12).share_today.value == pytest.approx(0.75)


def test_the_soonest_recall_is_one_month():
    assert rule(0.5, 0.5).recall_months.value == 1


@pytest.mark.parametrize(("watched_months", "beyond"), [(10.0, True), (12.0, False)])
def test_a_figure_beyond_what_was_watched_is_marked(watched_months, beyond):
    assert rule(11.0, 0.5, watched_months=watched_months).beyond_the_log is beyond
