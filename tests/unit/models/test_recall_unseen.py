"""Ears whose filling nobody saw: counted, stood in for, and told where too many were."""

import numpy as np
import pandas as pd
import pytest

from analysis.models.recall_unseen import Unseen, stand_for
from analysis.schema import GAPS, typed_frame


def table(**columns) -> pd.DataFrame:
    return typed_frame(GAPS, pd.DataFrame(columns))


def test_looks_at_open_ears_are_counted_by_kind_of_visit():
    gaps = table(
        return_kind=["symptoms_return", "routine_recall", None],
        left_at_calls=[0, 2, 0],
        left_otherwise=[1, 0, 3],
        cleaned_open=[True, False, False],
    )
    found = Unseen.of(gaps)
    assert (found.cleaned.tolist(), found.looks.tolist()) == ([1, 0], [3, 4])
    assert found.share == pytest.approx(1 / 7)


def test_ears_left_alone_stand_for_those_cleaned_so_that_none_is_lost_on_average():
    rng = np.random.default_rng(5)
    cleaned = rng.random(20_000) < 0.4
    gaps = table(left_otherwise=(~cleaned).astype(int), cleaned_open=cleaned)
    weights = stand_for(gaps, Unseen.of(gaps))
    assert weights.sum() == pytest.approx(20_000)
    assert set(weights[cleaned]) == {0.0}


def test_ears_graded_when_worked_on_stand_for_those_that_were_not():
    gaps = table(occluding_by_days=[100.0] * 75 + [None] * 35, ended_ungraded=[False] * 75 + [True] * 25 + [False] * 10)
    unseen = Unseen.of(gaps)
    assert (unseen.ungraded, unseen.ended) == (25, 100)
    weights = stand_for(gaps, unseen)
    assert weights[:75] == pytest.approx(np.full(75, 4 / 3))
    assert set(weights[75:100]) == {0.0}
    assert set(weights[100:]) == {1.0}


def test_where_hardly_any_ear_worked_on_is_graded_none_stands_for_others():
    gaps = table(occluding_by_days=[100.0] * 5 + [None] * 95, ended_ungraded=[False] * 5 + [True] * 95)
    assert set(stand_for(gaps, Unseen.of(gaps))) == {1.0}


def test_each_kind_of_visit_is_made_up_for_by_its_own_share():
    unseen = Unseen(np.array([75, 20]), np.array([100, 100]))
    gaps = table(left_at_calls=[1, 0], left_otherwise=[0, 1], cleaned_open=[False, False])
    assert stand_for(gaps, unseen).tolist() == pytest.approx([4.0, 1.25])


def test_a_kind_of_visit_seen_too_rarely_goes_with_all_looks():
    unseen = Unseen(np.array([5, 45]), np.array([5, 95]))
    assert unseen.allowed_for.tolist() == pytest.approx([0.5, 45 / 95])
    assert not unseen.too_often


def test_where_few_looks_tell_nothing_is_made_up_for():
    unseen = Unseen(np.array([3, 3]), np.array([6, 6]))
    gaps = table(left_at_calls=[1, 0], left_otherwise=[0, 0], cleaned_open=[False, True])
    assert stand_for(gaps, unseen).tolist() == [1.0, 1.0]


def test_where_most_are_cleaned_many_left_alone_still_stand_for_all_and_few_do_not():
    assert not Unseen(np.array([0, 900]), np.array([0, 1000])).too_often
    assert Unseen(np.array([0, 90]), np.array([0, 100])).too_often
    assert Unseen(np.array([0, 96_000]), np.array([0, 100_000])).too_often  # each would stand for twenty-five


def test_where_nearly_every_open_ear_is_cleaned_at_recalls_only_calls_are_made_up_for():
    unseen = Unseen(np.array([50, 95]), np.array([100, 100]))
    assert unseen.too_often
    gaps = table(
        return_kind=["symptoms_return", "routine_recall", None],
        left_at_calls=[0, 0, 1],
        left_otherwise=[0, 0, 1],
        cleaned_open=[True, True, False],
    )
    assert stand_for(gaps, unseen).tolist() == [0.0, 1.0, 2.0]
