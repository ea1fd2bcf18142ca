"""The answer on how full ears are at return."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.answers.recall_grades import how_full_at_return
from analysis.answers.recall_grades_fit import do_grades_fit, fit_check
from analysis.clinic import Clinic
from analysis.models.grade_at_return import fit_grades_at_return
from analysis.problems import NotEnough
from analysis.schema import EAR_ROWS, GAPS, GRADES, VISITS, typed_frame
from tests.truth.recall_world import World


def planted(slope: float = 0.8, many: int = 3000) -> pd.DataFrame:
    """Ears whose odds of being fuller rise with the logarithm of months, as planted."""
    rng = np.random.default_rng(3)
    months = rng.uniform(1, 30, many)
    latent = slope * np.log(months) + rng.logistic(size=many)
    place = np.searchsorted([1.0, 2.0, 3.5], latent)
    days = months * 30.4375
    frame = pd.DataFrame(
        {
            "patient_key": [f"p{each}" for each in range(many)],
            "ear": "left",
            "cleared_on": pd.Timestamp("2024-01-01"),
            "open_until_days": np.where(place < 2, days, 0.0),
            "occluding_by_days": np.where(place >= 2, days, np.nan),
            "watched_days": 1000.0,
            "returned": True,
            "return_days": days,
            "return_kind": "routine_recall",
            "grade_at_return": np.array(list(GRADES))[place],
        }
    )
    return typed_frame(GAPS, frame)


def test_planted_chances_are_found_again():
    fitted = fit_grades_at_return(planted(), 50)
    found = fitted.of(symptoms=False).chances(np.array([6.0, 24.0]))
    at = 0.8 * np.log([6.0, 24.0])
    fully = 1 - 1 / (1 + np.exp(-(3.5 - at)))
    # 3,000 ears leave a standard error of about 0.02
    assert found[:, 3] == pytest.approx(fully, abs=0.04)
    assert found.sum(axis=1) == pytest.approx([1.0, 1.0])


def test_the_answer_holds_every_grade_with_its_range():
    visits, ears = World(patients=1500).log(11)
    found = how_full_at_return(Clinic(visits, ears))
    assert found.answered
    assert "months after they were cleared" in found.headline
    assert all(row.low <= row.value <= row.high for row in found.rows)
    assert any(check.name == "Fit beside what was seen" for check in found.checks)


@pytest.mark.parametrize("spoiled", ["empty", "nobody came back", "no grades"])
def test_a_log_that_lacks_something_has_a_plain_sentence(spoiled):
    visits, ears = World(patients=400).log(11)
    if spoiled == "empty":
        visits, ears = visits.iloc[:0], ears.iloc[:0]
    if spoiled == "nobody came back":
        visits = visits.drop_duplicates("patient_key")
        ears = ears[ears["visit_id"].isin(visits["visit_id"])]
    if spoiled == "no grades":
        ears = typed_frame(EAR_ROWS, ears.drop(columns="grade"))
    found = how_full_at_return(Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, ears)))
    assert not found.answered
    assert found.headline.startswith("No figure yet.")


def test_all_ears_in_one_grade_settle_nothing():
    gaps = typed_frame(GAPS, planted().assign(grade_at_return="clear"))
    with pytest.raises(NotEnough, match="same state"):
        fit_grades_at_return(gaps, 50)


def test_the_fit_is_shown_group_by_group_for_both_kinds():
    visits, ears = World(patients=1500).log(11)
    found = do_grades_fit(Clinic(visits, ears))
    assert found.answered
    assert set(found.table["came_for"]) == {"symptoms", "another reason"}
    sums = found.table.groupby(["came_for", "months_since"])[["share_seen", "share_fitted"]].sum()
    # groups of the same mean month are summed together: whole numbers, and alike
    assert sums.to_numpy() == pytest.approx(sums.round().to_numpy())
    assert sums["share_seen"].to_numpy() == pytest.approx(sums["share_fitted"].to_numpy())
    assert (found.table["share_seen_low"] <= found.table["share_seen"]).all()
    assert found.checks[0].result == "passed"
    assert "chance alone" in found.headline


def test_a_wrong_shape_fails_its_check():
    """Chances fitted to ears of which every third was then found fully occluding instead."""
    fitted = fit_grades_at_return(planted(), 50)
    spoilt = fitted.seen["grade"].mask(np.arange(len(fitted.seen)) % 3 == 0, "fully_occluding")
    assert fit_check(fitted).result == "passed"
    assert fit_check(replace(fitted, seen=fitted.seen.assign(grade=spoilt))).result == "failed"


def test_chances_are_held_beyond_the_months_seen():
    kind = fit_grades_at_return(planted(), 50).of(symptoms=False)
    far = kind.chances(np.array([kind.latest, 120.0, 0.0, kind.earliest]))
    assert far[0] == pytest.approx(far[1])
    assert far[2] == pytest.approx(far[3])
