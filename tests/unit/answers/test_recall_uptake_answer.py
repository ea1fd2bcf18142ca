"""Did people come when due: counted by hand."""

import pandas as pd
import pytest

from analysis.answers.recall_uptake import did_people_come_when_due
from analysis.clinic import Clinic
from analysis.models.quarter_recall import patients_due
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml


def diary(*visits: tuple[str, str]) -> pd.DataFrame:
    keys, days = zip(*visits, strict=True)
    return pd.DataFrame({"patient_key": keys, "slot_start": pd.to_datetime(days), "attendance": "attended"})


@pytest.mark.parametrize(
    ("back", "came"),
    [("2026-01-02", [True]), ("2026-05-02", [True]), ("2026-05-03", [False]), ("2026-01-01", [])],
)
def test_sixty_days_around_the_due_day_count_and_earlier_means_not_due(back, came):
    due = patients_due(diary(("p", "2025-03-03"), ("p", back)), months=12)
    assert due.loc[due.index == 0, "came"].tolist() == came


def clinic(**columns) -> Clinic:
    """Make 40 patients seen in June 2025, of whom 30 are back a year later; recall bookings, 5 of 35 missed."""
    rows = [
        {"patient_key": f"p{who}", "slot_start": pd.Timestamp("2025-06-10"), "attendance": "attended"}
        for who in range(40)
    ]
    rows += [
        {
            "patient_key": f"p{who}",
            "slot_start": pd.Timestamp("2026-07-06"),
            "attendance": "attended" if who < 30 else "missed",
            "booking_kind": "routine_recall",
        }
        for who in range(35)
    ]
    visits = pd.DataFrame(rows).assign(**columns)
    visits["visit_id"] = [f"v{row}" for row in visits.index]
    toml = "[clinic]\nhide_below = 1\nlast_day = 2026-09-30\n[recall]\ntoday_months = 12"
    return Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, pd.DataFrame()), settings=settings_from_toml(toml))


def test_both_shares_are_told():
    table = did_people_come_when_due(clinic(), "2026-Q3").table.set_index("measure")
    assert table.loc["patients due who came", ["this_quarter", "out_of"]].tolist() == [30, 40]
    assert table.loc["recall bookings kept", ["this_quarter", "out_of"]].tolist() == [30, 35]


@pytest.mark.parametrize("column", ["patient_key", "booking_kind", "attendance", "slot_start"])
def test_each_column_may_be_lacking(column):
    whole = clinic()
    visits = typed_frame(VISITS, whole.visits.drop(columns=column))
    assert did_people_come_when_due(Clinic(visits, whole.ears, settings=whole.settings), "2026-Q3").headline
