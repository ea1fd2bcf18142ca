"""The receptionist's booking template."""

from __future__ import annotations

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from analysis.clinic import Clinic
from analysis.present.answer import Answer
from analysis.report.booking_sheet import write_booking_sheet
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import ClinicPart, Settings

EMPTY = Clinic(typed_frame(VISITS, pd.DataFrame()), typed_frame(EAR_ROWS, pd.DataFrame()))


@pytest.fixture
def answer() -> Answer:
    table = pd.DataFrame(
        {
            "booking": ["new patient", "=2+2"],
            "today_minutes": [30.0, float("nan")],
            "recommended_minutes": [25.0, 20.0],
        }
    )
    return Answer("How long to book?", "Book them.", table=table)


def cells(path, name: str) -> list[list]:
    return CalamineWorkbook.from_path(str(path)).get_sheet_by_name(name).to_python()


def test_it_tells_the_minutes_of_each_booking_and_no_text_is_a_formula(tmp_path, answer):
    rows = cells(write_booking_sheet(EMPTY, answer, tmp_path), "What to book")
    assert ["new patient", 25.0, 30.0] in rows
    assert ["=2+2", 20.0, ""] in rows
    assert any("Nobody is hurried" in str(row[0]) for row in rows)


def test_a_clinic_named_like_a_formula_stays_text(tmp_path, answer):
    clinic = Clinic(EMPTY.visits, EMPTY.ears, settings=Settings(clinic=ClinicPart(name="=cmd()")))
    assert cells(write_booking_sheet(clinic, answer, tmp_path), "What to book")[0][0] == "=cmd(): minutes to book"


def test_the_session_has_a_line_for_every_step_of_the_grid(tmp_path, answer):
    rows = cells(write_booking_sheet(EMPTY, answer, tmp_path), "A session")
    assert [row[0] for row in rows[1:4]] == [0.0, 5.0, 10.0]
    assert len(rows) == 1 + 210 // 5


def test_the_same_answer_gives_the_same_file(tmp_path, answer):
    first, second = tmp_path / "first", tmp_path / "second"
    for folder in (first, second):
        folder.mkdir()
        write_booking_sheet(EMPTY, answer, folder)
    assert (first / "booking_template.xlsx").read_bytes() == (second / "booking_template.xlsx").read_bytes()


def test_without_an_answer_no_old_sheet_stays(tmp_path, answer):
    write_booking_sheet(EMPTY, answer, tmp_path)
    assert write_booking_sheet(EMPTY, Answer("How long to book?", "No figure yet."), tmp_path) is None
    assert list(tmp_path.iterdir()) == []
