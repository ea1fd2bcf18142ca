"""The invented clinic's planted effects of softening beside what the log says: misleading plain, found like with like.

The invented clinic is told whom to advise by a suspicion nobody writes down; it
also moves whether people soften. That leaves advice about half a success in 100
too good even like with like, well within the errors allowed here.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import pandas as pd
import pytest

from analysis.answers.softening import does_softening_pay, does_softening_save_minutes
from analysis.clinic import Clinic
from analysis.demo import Invented, invented_clinic
from analysis.derive.attempts import attempts
from analysis.models.softening_sample import compared_ears
from analysis.present.answer import Answer, ResultRow


@cache
def asked() -> tuple[Invented, Clinic, Answer, Answer]:
    invented = invented_clinic()
    clinic = Clinic(invented.visits, invented.ears, invented=True)
    return invented, clinic, does_softening_pay(clinic), does_softening_save_minutes(clinic)


def truth(contrast: str) -> dict[str, Any]:
    return asked()[0].truth["softening"][contrast]


def figure(quantity: str, contrast: str, estimator: str) -> ResultRow:
    _, _, pay, save = asked()
    group = {"contrast": contrast, "estimator": estimator}
    return next(row for row in (*pay.rows, *save.rows) if row.quantity == quantity and row.group == group)


def standard_error(row: ResultRow) -> float:
    return (row.high - row.low) / (2 * 1.96)


PLANTED = [("risk_difference", "risk_difference"), ("minutes_saved", "minutes_saved")]


@pytest.mark.parametrize("contrast", ["advised", "used"])
@pytest.mark.parametrize(("quantity", "planted"), PLANTED)
def test_like_with_like_the_planted_effect_is_within_three_standard_errors(quantity, planted, contrast):
    row = figure(quantity, contrast, "standardised")
    assert abs(row.value - truth(contrast)[planted]) < 3 * standard_error(row)
    assert row.low > 0


def test_three_of_the_four_ranges_hold_what_was_planted():
    rows = [(figure(q, c, "standardised"), truth(c)[p]) for q, p in PLANTED for c in ("advised", "used")]
    assert sum(row.low <= planted <= row.high for row, planted in rows) >= 3


def test_as_they_are_the_advised_seem_worse_off():
    row = figure("risk_difference", "advised", "unadjusted")
    assert row.high < 0 < truth("advised")["risk_difference"]
    # the truth's own plain figure counts a few ears that the log leaves out (contraindicated, too recent)
    assert row.value == pytest.approx(truth("advised")["unadjusted_risk_difference"], abs=0.01)


@pytest.mark.parametrize("contrast", ["advised", "used"])
@pytest.mark.parametrize(("quantity", "planted"), PLANTED)
def test_as_they_are_every_comparison_falls_short_of_what_was_planted(quantity, planted, contrast):
    assert figure(quantity, contrast, "unadjusted").high < truth(contrast)[planted]


@pytest.mark.parametrize(("arm", "planted"), [("softened", "with"), ("not_softened", "without")])
@pytest.mark.parametrize("contrast", ["advised", "used"])
def test_both_arms_are_near_their_planted_shares(contrast, arm, planted):
    group = {"contrast": contrast, "estimator": "standardised", "arm": arm}
    row = next(row for row in asked()[2].rows if row.quantity == "success_share" and row.group == group)
    assert abs(row.value - truth(contrast)[f"success_share_{planted}"]) < 3 * standard_error(row)


def test_nearly_all_eligible_ears_are_compared():
    """What the log leaves out of the planted count is only what is too recent."""
    invented, clinic, _, _ = asked()
    table = attempts(clinic.visits, clinic.ears, second_attempt_days=28, last_day=clinic.last_day)
    everything = compared_ears(table, contrast="used", followed_until=clinic.last_day)
    planted = invented.truth["softening"]["eligible_ears"]
    recent = everything.rows["day"] > clinic.last_day - pd.Timedelta(days=28)
    assert len(everything.rows) + everything.left_out["outcome_not_recorded"] == pytest.approx(planted, rel=0.02)
    assert recent.mean() < 0.05
