"""Minutes foretold from what is known at booking, and who comes when."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.derive.attempts import attempts
from analysis.models.attendance import attendance
from analysis.models.booking_categories import booking_categories
from analysis.models.booking_facts import booking_facts
from analysis.models.booking_minutes import booking_quantiles, fit_booking_minutes
from analysis.models.visit_time import fit_visit_time
from analysis.problems import NotEnough
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import VisitTimePart
from tests.visit_world import invented_log


def foretold(visits: pd.DataFrame, ears: pd.DataFrame) -> tuple:
    worked = attempts(visits, ears, second_attempt_days=28, last_day=visits["slot_start"].max())
    fitted = fit_visit_time(visits, worked, ears, VisitTimePart())
    return fitted, fit_booking_minutes(visits, ears, fitted, VisitTimePart())


@pytest.fixture(scope="module")
def plain() -> tuple:
    return foretold(*invented_log(np.random.default_rng(11), visits=3000))


def test_each_kind_of_booking_is_a_category_and_the_last_fifth_checks_its_minutes(plain):
    fitted, expected = plain
    assert expected.categories["booking_kind"].tolist() == ["new", "routine_recall"]
    assert expected.categories["visits"].sum() == len(fitted.means)
    assert not expected.gains["chosen"].any()
    for share, found in expected.held_out.items():
        assert found.n == pytest.approx(0.2 * len(fitted.means), abs=1)
        assert found.value == pytest.approx(share, abs=0.05)


def test_quantiles_lie_near_the_logs_own_and_in_their_ranges(plain):
    fitted, expected = plain
    minutes = fitted.sample.visits["minutes"].to_numpy()
    found = booking_quantiles(fitted, expected, rng=np.random.default_rng(1), draws=50)
    for (name, share), figure in found.items():
        assert figure.value == pytest.approx(np.quantile(minutes[expected.of_visit == name], share), abs=0.8)
        assert figure.low < figure.value < figure.high
    assert found["new", 0.5].value < found["new", 0.8].value < found["new", 0.9].value


def test_a_fact_that_tells_minutes_apart_splits_its_kind():
    visits, ears = invented_log(np.random.default_rng(12), visits=3000)
    aid = np.random.default_rng(1).random(len(visits)) < 0.5
    longer = np.where((visits["booking_kind"] == "new") & aid, 12.0, 0.0)
    visits = visits.assign(hearing_aid=pd.array(aid, dtype="boolean"), minutes=visits["minutes"] + longer)
    _, expected = foretold(visits, ears)
    assert expected.gains.query("chosen")[["booking_kind", "fact"]].to_numpy().tolist() == [["new", "hearing_aid"]]
    assert list(expected.categories.index) == ["new, hearing_aid=no", "new, hearing_aid=yes", "routine_recall"]


def test_a_short_log_is_not_checked_and_says_nothing_of_facts():
    _, expected = foretold(*invented_log(np.random.default_rng(13), visits=300))
    assert expected.held_out == {}
    assert expected.gains.empty


def test_rare_kinds_are_put_together_as_other():
    facts = pd.DataFrame({"booking_kind": ["new"] * 40 + ["routine_recall"] * 20 + ["second_attempt"] * 15})
    categories, of_visit = booking_categories(facts, {})
    assert categories["visits"].to_dict() == {"new": 40, "other": 35}
    assert set(of_visit[40:]) == {"other"}


def test_thirty_visits_are_enough_for_a_category():
    facts = pd.DataFrame({"booking_kind": ["new"] * 30 + ["routine_recall"] * 29})
    categories, of_visit = booking_categories(facts, {})
    assert list(categories.index) == ["new"]
    assert set(of_visit[30:]) == {None}


def test_a_visit_whose_fact_is_not_known_goes_with_the_commoner_level():
    facts = pd.DataFrame({"booking_kind": "new", "softened": ["yes"] * 30 + ["no"] * 50 + [None] * 5})
    categories, _ = booking_categories(facts, {"new": "softened"})
    assert categories["visits"].to_dict() == {"new, softened=no": 55, "new, softened=yes": 30}
    assert categories["or_not_known"].tolist() == [True, False]


def test_what_is_known_at_booking():
    visits = typed_frame(
        VISITS,
        pd.DataFrame(
            {
                "visit_id": ["v1", "v2", "v3", "v4", "v5"],
                "patient_key": ["p", "p", "p", "q", None],
                "slot_start": pd.to_datetime(["2026-01-05", "2026-03-05", "2026-05-05", "2026-01-06", "2026-01-07"]),
                "attendance": ["attended", "missed", "attended", "attended", "attended"],
                "booking_kind": ["new", "routine_recall", "routine_recall", "new", None],
                "softener": ["olive_oil", None, "none", None, None],
                "softening_advised": [True, True, True, False, None],
                "hearing_aid": [True, True, True, False, None],
            }
        ),
    )
    ears = pd.DataFrame({"visit_id": ["v1", "v1"], "ear": ["left", "right"], "grade": ["clear", "fully_occluding"]})
    found = booking_facts(visits, typed_frame(EAR_ROWS, ears))
    assert found["booking_kind"].tolist() == ["new", "routine_recall", "routine_recall", "new", "other"]
    assert found["softened"].fillna("?").tolist() == ["yes", "?", "no", "no", "?"]
    assert found["hearing_aid"].fillna("?").tolist() == ["yes", "yes", "yes", "no", "?"]
    # The missed booking in between showed nothing: what was seen before it still stands.
    assert found["last_grade"].fillna("?").tolist() == ["?", "full", "full", "?", "?"]


def test_missed_bookings_are_a_share_of_those_that_kept_their_slot():
    visits = typed_frame(
        VISITS,
        pd.DataFrame(
            {
                "attendance": ["attended"] * 6 + ["missed"] * 3 + ["cancelled_late"] + ["cancelled", "moved"] * 5,
                "booking_kind": ["new"] * 20,
            }
        ),
    )
    found = attendance(visits)
    assert (found.missed["new"].value, found.missed["new"].n) == (0.3, 10)
    assert found.cancelled_late["new"].value == 0.1


def test_lateness_is_in_order_without_slips():
    start = pd.Series(pd.Timestamp("2026-03-02 09:00"), index=range(40))
    late = np.array([-5.0, 60.0, 61.0, -300.0] + [0.0] * 36)
    visits = pd.DataFrame(
        {"attendance": "attended", "slot_start": start, "arrived_at": start + pd.to_timedelta(late, "min")}
    )
    found = attendance(typed_frame(VISITS, visits))
    assert found.slips == 2
    assert found.lateness[[0, -1]].tolist() == [-5.0, 60.0]
    assert len(found.lateness) == 38


def test_a_few_arrivals_tell_nothing_of_lateness():
    start = pd.Series(pd.Timestamp("2026-03-02 09:00"), index=range(29))
    visits = pd.DataFrame({"attendance": "attended", "slot_start": start, "arrived_at": start})
    assert len(attendance(typed_frame(VISITS, visits)).lateness) == 0


def test_bookings_that_all_gave_their_slot_up_tell_nothing_of_attendance():
    visits = typed_frame(VISITS, pd.DataFrame({"attendance": ["moved"] * 9, "booking_kind": "new"}))
    with pytest.raises(NotEnough):
        attendance(visits)
