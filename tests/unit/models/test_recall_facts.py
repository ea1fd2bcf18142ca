"""Facts beside clearances, and their design: small tables worked by hand."""

import numpy as np
import pandas as pd
import pytest

from analysis.derive.gaps import gaps
from analysis.models.recall_fact_table import EARLIER, FACTS, OF_FIRST, fact_design, with_facts
from analysis.models.recall_facts import fit_facts
from analysis.problems import NotEnough
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import RecallPart

LAST_DAY = pd.Timestamp("2025-12-31")


def log(*visits):
    """Visits of one patient's left ear: day, and facts of visit and ear."""
    of_visit = {"hearing_aid", "cotton_bud", "age_band", "booking_kind"}
    rows = [
        {
            "visit_id": f"v{place}",
            "patient_key": "p1",
            "attendance": "attended",
            "slot_start": day,
            "booking_kind": "new",
        }
        | {name: value for name, value in facts.items() if name in of_visit}
        for place, (day, facts) in enumerate(visits)
    ]
    ears = [
        {
            "visit_id": f"v{place}",
            "ear": "left",
            "grade": "fully_occluding",
            "outcome": "clear",
            "methods": "fine_suction",
        }
        | {name: value for name, value in facts.items() if name not in of_visit}
        for place, (_, facts) in enumerate(visits)
    ]
    frame = pd.DataFrame(rows).assign(slot_start=lambda table: pd.to_datetime(table["slot_start"]))
    return typed_frame(VISITS, frame), typed_frame(EAR_ROWS, pd.DataFrame(ears))


def facts_of(visits: pd.DataFrame, ears: pd.DataFrame) -> pd.DataFrame:
    table = gaps(visits, ears, symptom_window_days=60, last_day=LAST_DAY)
    return with_facts(table, visits, ears, LAST_DAY)


def test_debris_and_impaction_are_as_first_noted_since_the_clearance_before():
    """Stopped and impacted in January, cleared in February; cleared again in October, then of soft wax."""
    every = facts_of(
        *log(
            ("2025-01-06", {"outcome": "stopped", "debris": "hard_wax", "impacted": True}),
            ("2025-02-10", {"debris": "soft_wax", "impacted": False, "booking_kind": "second_attempt"}),
            ("2025-10-06", {"debris": "soft_wax", "impacted": False, "booking_kind": "routine_recall"}),
        )
    )
    assert every[["debris", "impacted", EARLIER]].to_numpy().tolist() == [
        ["hard_wax", "yes", "none"],
        ["soft_wax", "no", "one"],
    ]


def test_what_is_not_recorded_says_so_and_facts_are_text():
    every = facts_of(*log(("2025-01-06", {"hearing_aid": True, "canal": "narrow"})))
    assert every[list(FACTS)].iloc[0].tolist() == [
        "yes", "not_recorded", "not_recorded", "narrow", "not_recorded", "not_recorded", "none",
    ]  # fmt: skip


def frame(n: int = 400, **facts) -> pd.DataFrame:
    """Clearances graded later, half of them occluding, with facts given as lists to be repeated."""
    base = pd.DataFrame(
        {"open_until_days": np.full(n, 10.0), "occluding_by_days": np.where(np.arange(n) % 2, np.nan, 50.0)}
    )
    return base.assign(**(dict.fromkeys(FACTS, "no") | {name: np.resize(values, n) for name, values in facts.items()}))


def test_a_fact_with_one_value_or_with_too_few_ears_of_another_has_no_column():
    every = frame(hearing_aid=["no"] * 380 + ["yes"] * 20)
    found = fact_design(every, OF_FIRST, 50)
    assert (found.columns, found.beside, found.matrix.shape) == ([], {}, (400, 1))


def test_values_are_set_beside_the_plain_one_or_else_the_commonest():
    every = frame(canal=["narrow", "narrow", "narrow", "narrow", "ordinary", "ordinary"], age_band=["a", "a", "b"])
    found = fact_design(every, OF_FIRST, 50)
    assert found.beside == {"age_band": "a", "canal": "ordinary"}
    assert found.columns == [("age_band", "b"), ("canal", "narrow")]


def test_a_value_too_rare_goes_with_the_plain_one_and_not_recorded_has_its_own_column():
    values = ["no"] * 150 + ["yes"] * 150 + ["not_recorded"] * 100
    found = fact_design(frame(cotton_bud=values), OF_FIRST, 50)
    assert sorted(found.columns) == [("cotton_bud", "not_recorded"), ("cotton_bud", "yes")]


def test_a_fact_that_says_the_same_as_another_is_left_out():
    values = ["no", "no", "yes", "yes"]
    found = fact_design(frame(hearing_aid=values, cotton_bud=values), OF_FIRST, 50)
    assert found.columns == [("hearing_aid", "yes")]


def test_a_log_too_thin_is_told_so():
    visits, ears = log(("2025-01-06", {}))
    table = gaps(visits, ears, symptom_window_days=60, last_day=LAST_DAY)
    with pytest.raises(NotEnough, match="Nobody has come back yet"):
        fit_facts(facts_of(visits, ears), table, RecallPart())
