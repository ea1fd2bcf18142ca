"""What a session brings in: fees added up by half-day, refused where they are not recorded."""

import pandas as pd
import pytest

from analysis.answers.income import what_a_session_brings
from analysis.clinic import Clinic
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml


def clinic(fees: list[float | None], *, days: int = 20, **columns) -> Clinic:
    """Make mornings of these fees."""
    rows = [
        {"slot_start": pd.Timestamp("2026-07-01 09:00") + pd.Timedelta(days=day, minutes=20 * place), "fee": fee}
        for day in range(days)
        for place, fee in enumerate(fees)
    ]
    visits = pd.DataFrame(rows).assign(**({"attendance": "attended", "practitioner": "Elm"} | columns))
    visits["visit_id"] = [f"v{row}" for row in visits.index]
    settings = settings_from_toml('[clinic]\nlast_day = 2026-09-30\n[softening_worth]\ncurrency = "euros"')
    return Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, pd.DataFrame()), settings=settings)


def test_a_morning_of_three_visits_brings_their_fees():
    answer = what_a_session_brings(clinic([40.0, 60.0, 50.0]), "2026-Q3")
    assert answer.rows[0].value == pytest.approx(150)
    assert "150 euros" in answer.headline


def test_a_visit_without_its_fee_counts_as_the_mean_of_the_others():
    answer = what_a_session_brings(clinic([40.0, None, 50.0]), "2026-Q3")
    assert answer.rows[0].value == pytest.approx(135)


def test_fees_of_missed_visits_bring_nothing():
    attendance = ["attended", "missed"] * 20
    answer = what_a_session_brings(clinic([40.0, 60.0], attendance=attendance), "2026-Q3")
    assert answer.rows[0].value == pytest.approx(40)


@pytest.mark.parametrize(("fees", "days"), [([None, None, 40.0], 20), ([None], 20), ([40.0], 7)])
def test_few_fees_or_few_sessions_give_no_answer(fees, days):
    assert not what_a_session_brings(clinic(fees, days=days), "2026-Q3").answered


@pytest.mark.parametrize("column", ["fee", "attendance", "slot_start", "practitioner"])
def test_each_column_may_be_lacking(column):
    whole = clinic([40.0, 60.0])
    visits = typed_frame(VISITS, whole.visits.drop(columns=column))
    assert what_a_session_brings(Clinic(visits, whole.ears, settings=whole.settings), "2026-Q3").headline
