"""Who calls of themselves, from what recalls find: small logs in which it can be counted by hand."""

import numpy as np
import pandas as pd
import pytest

from analysis.models.recall import _silent_share
from analysis.models.recall_callers import Calls, first_calls
from analysis.models.recall_evidence import ear_evidence, first_clearances
from analysis.models.recall_returns import AFTER_CLEARANCE, patient_returns
from analysis.schema import GAPS, typed_frame
from analysis.stats.kaplan_meier import kaplan_meier

WINDOW = 60


def table(*groups: tuple[int, dict]) -> pd.DataFrame:
    """So many patients of each kind, an ear each, watched for 900 days."""
    rows = [
        {"patient_key": f"p{g}-{each}", "ear": "left", "cleared_on": "2024-01-01", "watched_days": 900.0,
         "open_until_days": 0.0, "returned": "return_days" in facts} | facts
        for g, (many, facts) in enumerate(groups)
        for each in range(many)
    ]  # fmt: skip
    return typed_frame(GAPS, pd.DataFrame(rows))


def calls_of(log: pd.DataFrame, never: float, window: int) -> Calls:
    curve = kaplan_meier(
        log["return_days"].fillna(log["watched_days"]).to_numpy(), log["returned"].to_numpy(dtype=bool)
    )
    return first_calls(log, curve, never, window)


def would_call(calls: Calls, silent: float, *watched: float) -> list[float]:
    """Chance of a call of patients not seen since their clearance."""
    days = np.array(watched)
    return calls.would_call(np.full_like(days, silent), np.zeros_like(days), days, silent, WINDOW).tolist()


def called(days: float) -> dict:
    return {
        "return_days": days,
        "occluding_by_days": days,
        "open_until_days": days - WINDOW,
        "return_kind": "symptoms_return",
        "first_return_kind": "symptoms_return",
    }


def recalled(days: float, *, occluding: bool) -> dict:
    found = {"occluding_by_days": days} if occluding else {"open_until_days": days}
    return {"return_days": days, "return_kind": "routine_recall", "first_return_kind": "routine_recall"} | found


def test_where_recalls_find_only_what_calls_foretell_nobody_is_silent():
    calls = calls_of(table((50, called(200.0)), (50, recalled(365.0, occluding=False))), 0.0, WINDOW)
    assert calls.silent == 0.0
    assert calls.recalls == 50
    assert would_call(calls, calls.silent, 100.0, 500.0) == [1.0, 1.0]


def test_of_patients_half_of_whose_ears_fill_those_found_at_recalls_are_the_silent():
    """Of 80 callers and 20 silent, half have filled by the recall: 40 have called, 10 are found at it, 50 are open."""
    log = table((40, called(200.0)), (10, recalled(365.0, occluding=True)), (50, recalled(365.0, occluding=False)))
    calls = calls_of(log, 0.0, WINDOW)
    # ears occluding beyond what calls foretell, 10 x 0.6, over 60 x 0.4: odds of a quarter
    assert calls.silent == pytest.approx(0.2)
    assert 0.02 < calls.error < 0.1
    assert would_call(calls, 0.2, 100.0, 300.0) == pytest.approx([0.8, (0.8 - 0.4) / 0.6])
    # of the 40 callers not back by the recall and the 20 silent, all of the latter are found if they have filled: 10 of 10
    assert calls.found_silent(np.zeros(1), np.array([365.0]), 0.2, WINDOW).tolist() == [1.0]


def test_those_gone_for_good_are_no_part_of_the_share():
    alike = (40, called(200.0)), (10, recalled(365.0, occluding=True)), (50, recalled(365.0, occluding=False))
    calls = calls_of(table(*alike, (100, {})), 0.5, WINDOW)
    assert calls.silent == pytest.approx(0.2, abs=0.01)


@pytest.mark.parametrize("log", [
    table((40, called(200.0)), (24, recalled(365.0, occluding=True))),
    table((40, {}), (40, recalled(365.0, occluding=True))),
    table((40, recalled(365.0, occluding=True) | {"first_return_kind": None})),
])  # fmt: skip
def test_too_few_recalls_no_calls_or_no_kinds_noted_tell_nothing(log):
    calls = calls_of(log, 0.0, WINDOW)
    assert (calls.silent, calls.error) == (0.0, np.inf)
    assert calls.silent_moved(1.0) == 0.0


def test_an_absent_patients_ear_counts_as_open_only_with_the_chance_of_a_call():
    log = table(
        (40, called(200.0)), (10, recalled(365.0, occluding=True)), (50, recalled(365.0, occluding=False)), (1, {})
    )
    first, plain, telling = first_clearances(log), patient_returns(log), patient_returns(log, WINDOW)
    absent = first.index[~first["returned"].astype(bool)][0]
    weights = [ear_evidence(first, returns, [0.0, 0.0], WINDOW).weight[absent] for returns in (plain, telling)]
    calls = telling[AFTER_CLEARANCE].calls
    assert weights == pytest.approx([1.0, would_call(calls, calls.silent, 900.0)[0]])
    assert weights[1] < 0.8


MIXED = (60, called(200.0)), (20, called(390.0)), (30, recalled(365.0, occluding=True))
OPEN = (60, recalled(365.0, occluding=False))


def test_an_ear_found_occluding_at_a_recall_became_so_lately_if_its_patient_calls():
    log = table(*MIXED, OPEN)
    first, returns = first_clearances(log), patient_returns(log, WINDOW)
    calls, found = returns[AFTER_CLEARANCE].calls, first.index[first["return_kind"] == "routine_recall"]
    evidence = ear_evidence(first, returns, [0.0, 0.0], WINDOW)
    silent = calls.found_silent(np.zeros(1), np.array([365.0]), calls.silent, WINDOW)[0]
    of = np.flatnonzero(evidence.row == found[0])
    assert 0 < silent < 1
    assert [(evidence.low[each], evidence.high[each]) for each in of] == [(0.0, 365.0), (325.0, 365.0)]
    assert evidence.weight[of] == pytest.approx([silent, 1 - silent])


def test_whoever_has_come_with_symptoms_at_any_time_would_call():
    twice = [
        {"cleared_on": "2024-01-01", **recalled(365.0, occluding=True)},
        {"cleared_on": "2024-12-31", "watched_days": 535.0, **called(200.0)},
    ]
    log = table(*MIXED, OPEN, *((1, each | {"patient_key": "both"}) for each in twice))
    first, returns = first_clearances(log), patient_returns(log, WINDOW)
    evidence = ear_evidence(first, returns, [0.0, 0.0], WINDOW)
    mine = evidence.row == first.index[first["patient_key"] == "both"][0]
    assert first.loc[first["patient_key"] == "both", "has_called"].all()
    assert sorted(zip(evidence.low[mine], evidence.weight[mine], strict=True)) == [(0.0, 0.0), (325.0, 1.0)]


def test_by_chance_the_share_comes_out_below_nought_and_is_kept_but_shown_as_none():
    log = table((50, called(200.0)), (40, called(390.0)), (60, recalled(365.0, occluding=False)))
    returns = patient_returns(log, WINDOW)[AFTER_CLEARANCE]
    assert returns.calls.silent < 0
    shown = _silent_share(returns, 0.95)
    assert (shown.value, shown.low) == (0.0, 0.0)
