"""At most four booking categories, or the owner's own."""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.models.booking_categories import booking_categories, sorted_into
from analysis.models.booking_facts import booking_facts
from analysis.problems import DataProblem
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml

KINDS = {"new": 90, "routine_recall": 80, "symptoms_return": 70, "second_attempt": 60, "other": 50}


def facts() -> pd.DataFrame:
    kinds = [kind for kind, many in KINDS.items() for _ in range(many)]
    aid = ["yes" if place % 3 else "no" for place in range(len(kinds))]
    return pd.DataFrame({"booking_kind": kinds, "hearing_aid": aid}, index=[f"v{place}" for place in range(len(kinds))])


def test_five_kinds_make_four_categories_the_rarest_going_with_the_others():
    categories, _ = booking_categories(facts(), {})
    assert categories["visits"].to_dict() == {"new": 90, "routine_recall": 80, "symptoms_return": 70, "other": 110}


def test_a_split_is_left_out_where_it_would_make_a_fifth():
    categories, _ = booking_categories(facts(), {"new": "hearing_aid"})
    assert len(categories) == 4
    assert (categories["fact"] == "").all()


def test_two_kinds_may_both_be_split():
    two = facts()[lambda each: each["booking_kind"].isin(["new", "routine_recall"])]
    categories, _ = booking_categories(two, {"new": "hearing_aid", "routine_recall": "hearing_aid"})
    assert len(categories) == 4


def test_the_owners_kinds_are_kept_and_all_others_are_one():
    categories, of_visit = booking_categories(facts(), {"new": "hearing_aid"}, own=["new"])
    assert categories["booking_kind"].tolist() == ["new", "new", "other"]
    assert categories["visits"].tolist()[-1] == 260
    assert set(of_visit) == set(categories.index)


def test_further_visits_are_sorted_as_the_first_were():
    categories, of_visit = booking_categories(facts(), {"new": "hearing_aid"}, own=["new"])
    assert sorted_into(facts(), categories).tolist() == of_visit.tolist()


def test_the_ears_worked_on_last_time_are_known_at_the_next_booking():
    visits = pd.DataFrame(
        {
            "visit_id": ["a", "b", "c"],
            "patient_key": "p",
            "slot_start": pd.to_datetime(["2026-01-05", "2026-03-05", "2026-05-05"]),
            "attendance": "attended",
        }
    )
    ears = pd.DataFrame(
        {
            "visit_id": ["a", "a", "b"],
            "ear": ["left", "right", "left"],
            "methods": "wide_suction",
            "grade": "partly_occluding",
        }
    )
    told = booking_facts(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, ears))["last_ears"]
    assert told.fillna("").tolist() == ["", "two", "one"]


def test_own_categories_are_read():
    text = '[slots.categories]\nnew = ""\nroutine_recall = "last_grade"'
    assert settings_from_toml(text).slots.categories == {"new": "", "routine_recall": "last_grade"}


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('newish = ""', "Did you mean slots.categories.new?"),
        ('new = "star sign"', "hearing_aid, softened, last_ears or last_grade"),
        ("new = 30", "hearing_aid, softened, last_ears or last_grade"),
        ('new = "softened"\nroutine_recall = "softened"\nother = ""', "more than four booking categories"),
    ],
)
def test_categories_that_cannot_be_used_are_said_plainly(line, said):
    with pytest.raises(DataProblem) as told:
        settings_from_toml(f"[slots.categories]\n{line}")
    assert said in str(told.value)
