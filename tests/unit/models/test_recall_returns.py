"""Who is gone, who is late and who waits for a recall: small logs in which it can be counted by hand."""

import numpy as np
import pandas as pd
import pytest

from analysis.models.recall_returns import AFTER_CLEARANCE, AFTER_RETURN, Returns, patient_returns
from analysis.schema import GAPS, typed_frame
from analysis.stats.kaplan_meier import kaplan_meier

WINDOW = 60


def table(*groups: tuple[int, dict]) -> pd.DataFrame:
    """So many patients of each kind, an ear each, watched for 900 days; keys, as pseudonyms, say nothing of the kind."""
    rows = [
        {"ear": "left", "cleared_on": "2024-01-01", "watched_days": 900.0,
         "open_until_days": 0.0, "returned": "return_days" in facts} | facts
        for many, facts in groups
        for _ in range(many)
    ]  # fmt: skip
    dealt = np.random.default_rng(1).permutation(len(rows))
    return typed_frame(GAPS, pd.DataFrame(rows).assign(patient_key=[f"p{each:04d}" for each in dealt]))


def back(days: float, kind: str, *, occluding: bool = True) -> dict:
    found = {"occluding_by_days": days} if occluding else {"open_until_days": days}
    return {"return_days": days, "return_kind": kind, "first_return_kind": kind} | found


def test_whoever_comes_at_recalls_only_and_has_not_taken_one_up_yet_is_late_and_not_gone():
    """Of 200 callers 100 have called by the recall. It brings half of the other 100 and half of 80 silent, half of them filled.

    The other callers come later, 40 silent still wait, and 80 patients are gone.
    """
    log = table(
        (100, back(200.0, "symptoms_return")), (70, back(365.0, "routine_recall", occluding=False)),
        (20, back(365.0, "routine_recall")), (50, back(600.0, "symptoms_return")), (120, {}),
    )  # fmt: skip
    plain, told = patient_returns(log)[AFTER_CLEARANCE], patient_returns(log, WINDOW)[AFTER_CLEARANCE]
    assert plain.never == pytest.approx(120 / 360)
    assert told.never == told.calls.never == pytest.approx(80 / 360, abs=0.002)
    assert told.calls.silent == pytest.approx(80 / 280, abs=0.002)
    assert told.calls.not_recalled(900.0) == pytest.approx(1 / 2, abs=0.002)
    assert 0.02 < told.error < 0.1


def test_where_recalls_do_not_tell_how_many_are_gone_the_error_says_so():
    """All callers have called by the only recall: the 200 away may be gone, or may all come at recalls only."""
    log = table((150, back(200.0, "symptoms_return")), (50, back(365.0, "routine_recall")), (200, {}))
    told = patient_returns(log, WINDOW)[AFTER_CLEARANCE]
    assert told.never == pytest.approx(0.25)
    assert told.never - told.error < 0.01
    assert told.never + told.error > 0.49


def test_with_nobody_silent_the_share_gone_is_the_level_at_which_returns_come_to_rest():
    log = table((150, back(200.0, "symptoms_return")), (50, back(365.0, "routine_recall", occluding=False)), (100, {}))
    assert patient_returns(log, WINDOW)[AFTER_CLEARANCE].never == pytest.approx(1 / 3)


def test_a_lent_share_bends_the_curve_so_that_nobody_late_is_made_of_the_gone():
    """A group's curve rests at 0.4 where everyone's does at 0.2: its absent are as surely gone as before."""
    days, came = np.array([100.0] * 30 + [200.0] * 30 + [900.0] * 40), np.array([True] * 60 + [False] * 40)
    own = Returns(kaplan_meier(days, came), 900.0, 0.4, 0.05)
    whole = Returns(kaplan_meier(days, came), 900.0, 0.2, 0.01)
    lent = own.lent(whole)
    assert own.gone(np.array([300.0]), 0.2) == pytest.approx([0.5])
    assert lent.gone(np.array([300.0]), lent.never) == pytest.approx([1.0])
    # half of those not gone are back by day 150: 0.2 / (0.2 + 0.8 / 2)
    assert lent.gone(np.array([150.0]), lent.never) == pytest.approx([1 / 3])
    assert (lent.never, lent.error) == (0.2, 0.01)


def test_patients_who_had_come_back_are_not_gone_while_new_ones_who_return_are_still_away():
    """Watched for 400 days after their return, half are back; of new patients not gone half are back by then too."""
    new = (30, back(100.0, "symptoms_return")), (30, back(600.0, "symptoms_return")), (20, {})
    again = {"known_before": True, "watched_days": 400.0}
    soon = back(100.0, "symptoms_return") | again
    first, later = patient_returns(table(*new, (30, soon), (30, again)))
    assert first.never == pytest.approx(0.25)
    assert later.never == pytest.approx(0.0)
    # of those away three quarters, a half may be as late as new ones: (3/4 - 1/2) / (1 - 1/2)
    assert patient_returns(table(*new, (30, soon), (90, again)))[AFTER_RETURN].never == pytest.approx(0.5)
