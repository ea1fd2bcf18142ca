"""Which ears and visits softening is compared on, and when there is no figure."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.models.softening import did_as_advised, fit_minutes, fit_softening
from analysis.models.softening_sample import compared_ears, compared_visits, other_ears
from analysis.problems import NotEnough
from analysis.schema import ATTEMPTS, typed_frame
from tests.softening_log import invented_attempts

UNTIL = pd.Timestamp("2026-08-31")
PLAIN = {
    "patient_key": "p",
    "ear": "left",
    "day": pd.Timestamp("2026-03-02"),
    "attempt_number": 1,
    "grade": "partly_occluding",
    "success": True,
    "contraindicated": False,
    "minutes": 15.0,
    "minutes_quality": "timed",
    "softening_advised": True,
    "softening_used": True,
    "booking_kind": "new",
}


def attempts_of(*rows: dict) -> pd.DataFrame:
    """Make attempts of what sets them apart from an ordinary one."""
    return typed_frame(ATTEMPTS, pd.DataFrame([{**PLAIN, "visit_id": f"v{i}", **row} for i, row in enumerate(rows)]))


def log(**changes) -> pd.DataFrame:
    """Give an invented log with some columns set to one value throughout."""
    table = invented_attempts(np.random.default_rng(2), patients=400).attempts
    return typed_frame(ATTEMPTS, table.assign(**changes))


def pay(table: pd.DataFrame, contrast: str = "advised", fewest_ears: int = 50):
    return fit_softening(table, contrast=contrast, level=0.95, fewest_ears=fewest_ears, followed_until=UNTIL)


def test_each_ear_left_out_is_counted_once_under_its_first_reason():
    table = attempts_of(
        {},
        {"attempt_number": 2},
        {"booking_kind": "second_attempt"},
        {"day": pd.Timestamp("2026-09-01"), "success": False},
        {"day": pd.Timestamp("2026-08-31")},
        {"grade": None},
        {"grade": "non_occluding"},
        {"contraindicated": True, "softening_advised": None},
        {"contraindicated": None},
        {"softening_advised": None},
        {"success": None},
    )
    sample = compared_ears(table, contrast="advised", followed_until=UNTIL)
    assert sample.rows["visit_id"].tolist() == ["v0", "v4", "v8"]
    assert sample.left_out == {
        "later_attempt": 2,
        "too_recent": 1,
        "grade_not_recorded": 1,
        "not_occluding": 1,
        "contraindicated": 1,
        "arm_not_recorded": 1,
        "outcome_not_recorded": 1,
    }


def test_an_ear_that_was_not_occluding_is_a_control_beside_an_occluding_first_attempt_only():
    table = attempts_of(
        {"visit_id": "pair", "ear": "left", "grade": "non_occluding"},
        {"visit_id": "pair", "ear": "right", "grade": "fully_occluding"},
        {"visit_id": "alone", "ear": "left", "grade": "non_occluding"},
        {"visit_id": "again", "ear": "left", "grade": "non_occluding"},
        {"visit_id": "again", "ear": "right", "grade": "fully_occluding", "attempt_number": 2},
        {"visit_id": "both", "ear": "left", "grade": "non_occluding"},
        {"visit_id": "both", "ear": "right", "grade": "non_occluding"},
        {"visit_id": "unknown", "ear": "left", "grade": "non_occluding"},
        {"visit_id": "unknown", "ear": "right", "grade": None},
    )
    beside = other_ears(table, contrast="advised", followed_until=UNTIL, beside_occluding=True)
    assert beside.rows[["visit_id", "ear"]].values.tolist() == [["pair", "left"]]
    assert beside.left_out["no_occluding_ear_beside"] == 5
    every = other_ears(table, contrast="advised", followed_until=UNTIL, beside_occluding=False)
    assert every.rows["visit_id"].tolist() == ["pair", "alone", "again", "both", "both", "unknown"]


def test_contraindicated_ears_can_be_kept_to_see_what_hangs_on_them():
    table = attempts_of({}, {"contraindicated": True})
    kept = compared_ears(table, contrast="advised", followed_until=UNTIL, keep_contraindicated=True)
    assert kept.rows["visit_id"].tolist() == ["v0", "v1"]


def test_a_visit_counts_only_if_all_its_ears_do():
    table = attempts_of(
        {"visit_id": "both"},
        {"visit_id": "both", "ear": "right", "grade": "non_occluding"},
        {"visit_id": "again"},
        {"visit_id": "again", "ear": "right", "attempt_number": 2},
        {"visit_id": "perforated"},
        {"visit_id": "perforated", "ear": "right", "contraindicated": True},
        {"visit_id": "easy", "grade": "non_occluding"},
        {"visit_id": "guessed", "minutes_quality": "filled_from_slot"},
        {"visit_id": "unknown", "success": None},
    )
    sample = compared_visits(table, contrast="used")
    assert sample.rows["visit_id"].tolist() == ["both", "both", "unknown"]
    assert sample.left_out == {
        "later_attempt": 1,
        "grade_not_recorded": 0,
        "not_occluding": 1,
        "contraindicated": 1,
        "arm_not_recorded": 0,
        "minutes_not_measured": 1,
    }


def test_patients_without_a_number_are_one_a_visit():
    table = attempts_of({"patient_key": None}, {"patient_key": None}, {"patient_key": "v0"})
    assert len(set(compared_ears(table, contrast="advised", followed_until=UNTIL).whose)) == 3


def test_the_two_contrasts_compare_different_arms():
    table = log()
    advised, used = pay(table, "advised"), pay(table, "used")
    assert advised.arms["unadjusted"].n_treated == (table["softening_advised"]).sum()
    assert used.arms["unadjusted"].n_treated == (table["softening_used"]).sum()
    assert advised.rows == used.rows == len(table)
    assert advised.patients == 400
    assert set(advised.variations) == {"contraindicated_kept", "debris_not_adjusted"}


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"softening_advised": None}, "does not say where softening was advised"),
        ({"grade": None}, "no occlusion grades"),
        ({"success": None}, "recorded outcome"),
        ({"softening_advised": False}, "Only 0 ears can be compared with softening advised; at least 50 are needed"),
        ({"success": True}, r"only 0 failed"),
        ({"softening_advised": True}, "Only 0 ears can be compared with softening not advised"),
    ],
)
def test_a_log_that_lacks_a_fact_says_which(changes, says):
    with pytest.raises(NotEnough, match=says):
        pay(log(**changes))


def test_an_empty_log_says_so():
    with pytest.raises(NotEnough, match="no ear that was worked on"):
        pay(typed_frame(ATTEMPTS, pd.DataFrame()))


def test_too_few_ears_says_how_many_more():
    with pytest.raises(NotEnough) as reason:
        pay(log().head(60), fewest_ears=50)
    fewer = min((log().head(60)["softening_advised"]).sum(), 60 - (log().head(60)["softening_advised"]).sum())
    assert reason.value.why.startswith(f"Not enough ears yet: {50 - fewer} more with softening advised.")


def test_a_fact_recorded_nowhere_is_named_and_the_rest_is_adjusted_for():
    fit = pay(log(debris=None, canal=None))
    assert fit.mix.unrecorded == ["debris", "canal"]
    assert fit.arms["standardised"].treated > 0


def test_facts_blank_in_the_same_rows_do_no_harm():
    table = log()
    old = table.index < 250
    for fact in ("debris", "canal", "impacted"):
        table.loc[old, fact] = pd.NA
    fit = pay(table)
    assert fit.mix.not_recorded == {"impacted": 250, "debris": 250, "canal": 250}
    assert 0 < fit.arms["standardised"].treated < 1


def test_one_ear_only_and_no_patient_number_still_give_figures():
    table = log()
    lefts = typed_frame(ATTEMPTS, table[table["ear"] == "left"].assign(patient_key=None))
    assert pay(lefts).patients == len(lefts)
    assert fit_minutes(lefts, contrast="advised", level=0.95, fewest_visits=50).rows == len(lefts)


def test_minutes_are_compared_a_visit():
    table = log()
    fit = fit_minutes(table, contrast="advised", level=0.95, fewest_visits=50)
    visits = table.drop_duplicates("visit_id")
    advised = visits["softening_advised"].to_numpy(dtype=bool)
    assert fit.rows == 400
    assert fit.arms["unadjusted"].treated == pytest.approx(visits["minutes"][advised].mean())


@pytest.mark.parametrize("quality", ["filled_from_slot", "missing", "implausible", None])
def test_minutes_not_measured_give_no_figure(quality):
    with pytest.raises(NotEnough, match="no measured minutes"):
        fit_minutes(log(minutes_quality=quality), contrast="used", level=0.95, fewest_visits=50)


def test_who_did_as_advised_is_counted_by_visit():
    table = attempts_of(
        {"visit_id": "a"},
        {"visit_id": "a", "ear": "right"},
        {"visit_id": "b", "softening_used": False},
        {"visit_id": "c", "softening_advised": False, "softening_used": False},
        {"visit_id": "d", "softening_used": None},
    )
    did = did_as_advised(table, level=0.95)
    assert (did.used_if_advised.value, did.used_if_advised.n) == (0.5, 2)
    assert (did.used_if_not.value, did.used_if_not.n) == (0.0, 1)


def test_who_did_as_advised_is_empty_without_either_fact():
    did = did_as_advised(log(softening_used=None), level=0.95)
    assert did.used_if_advised is None
    assert did.used_if_not is None
