"""Recall: what each gap counts for, who may be gone, and what a log too thin is told."""

import numpy as np
import pandas as pd
import pytest

from analysis.models.recall import _return_share, fit_recall
from analysis.models.recall_evidence import absence_tells, ear_evidence, first_clearances
from analysis.models.recall_returns import AFTER_CLEARANCE, patient_returns
from analysis.problems import NotEnough
from analysis.schema import GAPS, typed_frame
from analysis.settings import RecallPart

SETTINGS = RecallPart(fewest_ears=50)


def gap(patient="p1", ear="left", cleared_on="2025-01-01", **facts):
    """One gap: never seen again unless told otherwise."""
    row = {"patient_key": patient, "ear": ear, "cleared_on": cleared_on, "open_until_days": 0.0, "watched_days": 400.0}
    return row | {"returned": "return_days" in facts, "hearing_aid": False} | facts


def table(*rows):
    return typed_frame(GAPS, pd.DataFrame(list(rows)))


def many(n=200, *, aid=False, name="p", pace=1.0):
    """Patients recalled once, from the second month to the eighteenth, more of them occluding the later; one in five never back."""
    rng = np.random.default_rng(7)
    rows = []
    for place in range(n):
        days = float(60 + 480 * place / n)
        facts = {"patient": f"{name}{place}", "hearing_aid": aid, "watched_days": 900.0}
        if place % 5 > 0:
            facts |= {"return_days": days, "return_kind": "routine_recall"}
            occluding = rng.random() < 1 - np.exp(-pace * (days / 500) ** 1.5)
            facts["occluding_by_days" if occluding else "open_until_days"] = days
        rows.append(gap(**facts))
    return rows


def test_each_ear_counts_once_and_a_gap_ended_by_a_later_clearance_is_not_running():
    first = first_clearances(
        table(
            gap(open_until_days=90.0, return_days=90.0),
            gap(cleared_on="2025-04-01", watched_days=310.0),
            gap(ear="right", cleared_on="2025-04-01", watched_days=310.0),
        )
    )
    assert first["ear"].tolist() == ["left", "right"]
    assert first["unended"].tolist() == [False, True]
    assert first["after_return"].tolist() == [False, True]


def test_an_ear_cleared_at_a_second_attempt_is_not_after_a_return():
    first = first_clearances(
        table(gap(return_days=200.0), gap(ear="right", cleared_on="2025-01-12", return_days=189.0))
    )
    assert first["after_return"].tolist() == [False, False]


def test_an_absent_patients_ear_is_shared_between_open_and_unknown():
    rows = [gap(patient=f"p{place}", return_days=100.0, occluding_by_days=100.0) for place in range(60)]
    rows += [gap(patient=f"q{place}") for place in range(40)]
    gaps = table(*rows)
    returns = patient_returns(gaps)
    assert returns[AFTER_CLEARANCE].never == pytest.approx(0.4)
    first = first_clearances(gaps)
    evidence = ear_evidence(first, returns, [0.1, 0.0], symptom_window_days=60)
    absent = first["unended"].to_numpy()[evidence.row]
    still_open, gone = evidence.low[absent][:40], evidence.low[absent][40:]
    assert set(still_open) == {370.0}  # half a symptom window before the log's end
    assert set(gone) == {0.0}
    assert set(np.round(evidence.weight[absent], 9)) == {0.75, 0.25}  # 0.1 of the 0.4 not back are gone
    assert set(evidence.weight[~absent]) == {1.0}


def test_whoever_came_back_before_is_not_taken_for_gone_with_those_who_never_did():
    rows = [gap(patient=f"p{place}", return_days=100.0, open_until_days=100.0) for place in range(60)]
    gaps = table(*rows, *(gap(patient=f"q{place}") for place in range(40)))
    evidence = ear_evidence(first_clearances(gaps), patient_returns(gaps), [0.4, 0.0], symptom_window_days=60)
    seen = evidence.row < 60
    assert evidence.weight[seen & (evidence.low == 370)].tolist() == [1.0] * 60


def test_a_log_with_few_later_spells_takes_returned_patients_to_be_like_the_others():
    after_clearance, after_return = patient_returns(table(*many()))
    assert after_return.never == after_clearance.never == pytest.approx(0.2)


def test_returns_that_have_come_to_rest_leave_the_level_as_the_share_who_never_return():
    rows = [gap(patient=f"p{n}", return_days=10.0 + n, watched_days=900.0) for n in range(70)]
    rows += [gap(patient=f"q{n}", watched_days=900.0) for n in range(30)]
    returns = patient_returns(table(*rows))[AFTER_CLEARANCE]
    assert (returns.until_days, returns.never) == (900.0, pytest.approx(0.3))


def test_returns_still_coming_steadily_leave_nobody_gone():
    rows = [gap(patient=f"p{n}", return_days=5.7 * (n + 1), watched_days=400.0) for n in range(70)]
    rows += [gap(patient=f"q{n}", watched_days=400.0) for n in range(30)]
    returns = patient_returns(table(*rows))[AFTER_CLEARANCE]
    assert returns.never == 0
    assert returns.error > 0.1


def test_a_group_that_fills_faster_is_called_back_sooner():
    fitted = fit_recall(table(*many(name="a", aid=True, pace=2.5), *many(name="b")), SETTINGS)
    months = {name: curve.months_until(0.3) for name, curve in fitted.curves.items()}
    assert list(months) == ["hearing_aid", "no_hearing_aid", "everyone"]
    assert months["hearing_aid"].value < months["everyone"].value < months["no_hearing_aid"].value
    assert all(curve.own and curve.ears >= 200 for curve in fitted.curves.values())
    assert fitted.return_share.value == pytest.approx(0.8)


def test_a_small_group_shows_the_whole_clinics_curve_and_says_so():
    fitted = fit_recall(table(*many(name="a", n=30, aid=True), *many(name="b")), SETTINGS)
    small, whole = fitted.curves["hearing_aid"], fitted.curves["everyone"]
    assert not small.own
    assert (small.ears, small.seen_again) == (30, 24)
    assert small.months_until(0.3).value == whole.months_until(0.3).value
    assert fitted.curves["no_hearing_aid"].own


def test_without_notes_on_hearing_aids_there_is_one_curve():
    rows = [row | {"hearing_aid": None} for row in many()]
    fitted = fit_recall(table(*rows), SETTINGS)
    assert list(fitted.curves) == ["everyone"]
    assert fitted.ungrouped == 200


def test_where_all_were_called_whoever_stays_away_says_nothing():
    """With and without the absent the curve is the same, and there is no second opinion."""
    with_absent = fit_recall(table(*many()), SETTINGS)
    came = fit_recall(table(*(row for row in many() if row["returned"])), SETTINGS)
    assert not with_absent.absence_tells
    assert with_absent.without_never is None
    months = [fitted.curves["everyone"].months_until(0.3).value for fitted in (with_absent, came)]
    assert months[0] == pytest.approx(months[1], rel=1e-6)
    assert months[0] == pytest.approx(500 * (-np.log(0.7)) ** (1 / 1.5) / 30.4375, rel=0.15)  # drawn at random


def test_one_return_with_symptoms_makes_staying_away_tell():
    rows = many()
    rows[-1] |= {"return_kind": "symptoms_return"}
    assert absence_tells(table(*rows))
    assert absence_tells(table(*(row | {"return_kind": None} for row in rows)))


def test_a_second_opinion_that_settles_no_curve_is_left_out():
    """Watched for long, all who stay away would be open for long, beside ears that occluded early."""
    rows = many()
    rows[-1] |= {"return_kind": "symptoms_return"}
    fitted = fit_recall(table(*rows), SETTINGS)
    assert fitted.without_never is None
    assert fitted.curves["everyone"].months_until(0.3).value > 0


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        ([], "The log holds no cleared ear of a known patient."),
        ([gap(patient=f"p{n}") for n in range(80)], "Nobody has come back yet after an ear was cleared."),
        (
            [gap(patient=f"p{n}", return_days=90.0) for n in range(80)],
            "No ear was graded when its patient came back.",
        ),
        (
            [gap(patient=f"p{n}", return_days=90.0, occluding_by_days=90.0) for n in range(12)],
            "Only 12 cleared ears were graded at a later visit, 12 of them occluding; "
            "a curve needs 50, 10 of them occluding.",
        ),
        (
            [gap(patient=f"p{n}", return_days=90.0, open_until_days=90.0) for n in range(80)],
            "Only 80 cleared ears were graded at a later visit, 0 of them occluding; "
            "a curve needs 50, 10 of them occluding.",
        ),
        (
            [gap(patient=f"p{n}", return_days=90.0 + n, occluding_by_days=90.0 + n) for n in range(80)],
            "The ears seen again do not settle a curve: nearly all were found in the same state.",
        ),
        (
            [gap(patient=f"p{n}", return_days=90.0 + n % 28, occluding_by_days=90.0 + n % 28) for n in range(80)],
            "Nearly all ears seen again were seen about 3 months after they were cleared. That says how many are occluding "
            "by then, but not how many sooner or later.",
        ),
    ],
    ids=[
        "no patient number",
        "no later visit",
        "no grades",
        "few ears",
        "all open",
        "all occluding",
        "all in one month",
    ],
)
def test_a_log_too_thin_is_told_what_it_lacks(rows, why):
    frame = table(*rows) if rows else typed_frame(GAPS, pd.DataFrame())
    with pytest.raises(NotEnough) as told:
        fit_recall(frame, SETTINGS)
    assert told.value.why == why
    assert told.value.record


def test_whom_the_log_knows_from_before_says_nothing_of_how_many_never_return():
    rows = [gap(patient=f"p{n}", return_days=10.0 + n, watched_days=900.0) for n in range(70)]
    rows += [gap(patient=f"q{n}", watched_days=900.0) for n in range(30)]
    known = [gap(patient=f"k{n}", return_days=10.0 + n, watched_days=900.0, known_before=True) for n in range(100)]
    new, back_before = patient_returns(table(*rows, *known))
    assert new.never == pytest.approx(0.3)
    assert back_before.never == pytest.approx(0.0)
    assert first_clearances(table(*rows, *known))["after_return"].sum() == 100


def test_with_hardly_any_new_patient_everybody_counts_as_new():
    rows = [gap(patient=f"q{n}", watched_days=900.0) for n in range(10)]
    known = [gap(patient=f"k{n}", return_days=10.0 + n, watched_days=900.0, known_before=True) for n in range(60)]
    known += [gap(patient=f"a{n}", watched_days=900.0, known_before=True) for n in range(30)]
    after_clearance, _ = patient_returns(table(*rows, *known))
    assert after_clearance.never == pytest.approx(0.4)


def back_share(last_back_days: float):
    """160 patients back ever more slowly, the last after so many days, and 60 never: the share who come back."""
    rows = [gap(patient=f"q{n}", watched_days=900.0) for n in range(60)]
    slowly = [1.0 + round(last_back_days * (n / 160) ** 2) for n in range(160)]
    rows += [gap(patient=f"p{n}", watched_days=900.0, return_days=days) for n, days in enumerate(slowly)]
    return _return_share(patient_returns(table(*rows))[AFTER_CLEARANCE], 0.95)


def test_while_returns_still_come_more_may_come_back_by_what_the_last_third_brought():
    still, rest = back_share(750.0), back_share(550.0)
    assert rest.value == pytest.approx(160 / 220)
    assert rest.high - rest.value < 0.07  # twice the standard error of a share of 220
    assert still.high - still.value > 0.08  # 17 of 220 came back in the last third of 900 days
