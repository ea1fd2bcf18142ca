"""The planted share of patients who never call of themselves, and months until occluding beside it."""

from functools import cache

import numpy as np
import pytest

from analysis.derive.gaps import gaps
from analysis.models.recall import FittedRecall, fit_recall
from analysis.settings import RecallPart
from tests.truth.recall_world import World

SEEDS = range(8)


@cache
def fits(recall_only: float) -> list[FittedRecall]:
    world = World(recall_only=recall_only)
    tables = [gaps(*world.log(7000 + seed), symptom_window_days=60, last_day=world.last_day) for seed in SEEDS]
    return [fit_recall(table, RecallPart()) for table in tables]


@pytest.mark.parametrize("planted", [0.0, 0.2, 0.4])
def test_the_share_who_come_at_recalls_only_is_found(planted):
    found = [fit.silent_share for fit in fits(planted)]
    # eight clinics' mean; a single one's standard error is about 0.02
    assert np.mean([each.value for each in found]) == pytest.approx(planted, abs=0.05)
    assert all(each.low <= each.value <= each.high for each in found)


@pytest.mark.parametrize("planted", [0.0, 0.2])
@pytest.mark.parametrize("group", ["hearing_aid", "no_hearing_aid"])
def test_months_are_right_whether_or_not_some_come_at_recalls_only(planted, group):
    truth = World().months_until(0.3, hearing_aid=group == "hearing_aid")
    mean = np.mean([fit.curves[group].months_until(0.3).value for fit in fits(planted)])
    # three standard errors of eight clinics' mean; taking all for callers, a fifth at recalls only made it 5 % late
    assert mean == pytest.approx(truth, rel=0.032)
