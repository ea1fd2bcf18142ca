"""A quarter's bookings by practitioner: numbered, and only where nobody's count is small."""

import pandas as pd

from analysis.answers.quarter import activity
from analysis.clinic import Clinic
from analysis.derive.practitioner_labels import practitioner_labels
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml


def diary(**kept: dict[str, int]) -> pd.DataFrame:
    """Make bookings of summer 2026: for each practitioner how many of each attendance."""
    rows = [
        {"practitioner": who, "attendance": how}
        for who, counts in kept.items()
        for how, many in counts.items()
        for _ in range(many)
    ]
    table = pd.DataFrame(rows)
    table["slot_start"] = pd.date_range("2026-07-01 09:00", "2026-09-30 16:00", periods=len(table))
    return typed_frame(VISITS, table.assign(visit_id=[f"v{row}" for row in table.index]))


def shown(visits: pd.DataFrame, toml: str = "") -> pd.DataFrame:
    clinic = Clinic(visits, typed_frame(EAR_ROWS, pd.DataFrame()), settings=settings_from_toml(toml))
    table = activity(clinic, "2026-Q3").table
    return table[table["part"].str.startswith("practitioner")] if "part" in table else table.iloc[:0]


BUSY = {"missed": 6, "cancelled_late": 5, "attended": 40}


def test_practitioners_are_numbered_by_their_first_booking_and_not_named():
    table = shown(diary(Zoe=BUSY, Ann=BUSY))
    assert table["part"].unique().tolist() == ["practitioner 1", "practitioner 2"]
    assert table["this_quarter"].tolist() == [40, 6, 5, 40, 6, 5]
    assert table["out_of"].unique().tolist() == [51]


def test_names_are_shown_where_the_clinic_wants_them():
    table = shown(diary(Zoe=BUSY, Ann=BUSY), "[clinic]\nshow_practitioner_names = true")
    assert set(table["part"]) == {"practitioner Zoe", "practitioner Ann"}


def test_one_small_count_leaves_every_practitioner_out_and_the_whole_clinic_as_it_is():
    visits = diary(Zoe=BUSY, Ann=BUSY | {"missed": 3})
    assert shown(visits).empty
    answer = activity(Clinic(visits, typed_frame(EAR_ROWS, pd.DataFrame())), "2026-Q3")
    assert answer.table.set_index("measure")["this_quarter"]["missed"] == 9
    assert any("Practitioners are not listed" in check.sentence for check in answer.checks)
    assert not shown(visits, "[clinic]\nhide_below = 1").empty


def test_nobody_missed_is_no_small_count():
    table = shown(diary(Zoe=BUSY, Ann=BUSY | {"missed": 0}))
    assert table["this_quarter"].tolist() == [40, 6, 5, 40, 0, 5]


def test_a_single_practitioner_is_the_whole_clinic():
    assert shown(diary(Zoe=BUSY)).empty


def test_a_label_stays_the_same_whatever_the_order_of_the_rows():
    visits = diary(Zoe=BUSY, Ann=BUSY)
    forward = practitioner_labels(visits, show_names=False)
    backward = practitioner_labels(visits.iloc[::-1], show_names=False)
    assert forward.sort_index().tolist() == backward.sort_index().tolist()
