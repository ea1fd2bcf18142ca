"""The sheet of what to record: what lacks first, what is well recorded ticked, nothing of anybody."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.answers.record_sheet import record_sheet
from analysis.answers.trust_words import NEEDS
from analysis.cli import main
from analysis.clinic import Clinic
from analysis.present import words
from analysis.report.sheet import sheet_html, write_sheet
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml
from tests import log_world as world

PAGE = Path(__file__).parents[3] / "shared" / "what_to_record.md"


@pytest.fixture(scope="module")
def clinic():
    return world.rounding(world.clean_clinic(np.random.default_rng(4), days=60), "Elm")


def test_what_lacks_comes_first_and_what_is_recorded_is_ticked(clinic):
    sheet = record_sheet(clinic)
    assert sheet.lacking[0].today == "0%"
    assert {"Start and end", "Attendance", "Occlusion grade"} <= {line.what for line in sheet.well}
    assert not any(line.well for line in sheet.lacking)
    assert len(sheet.lacking) + len(sheet.well) == len(NEEDS) - 1


def test_a_habit_against_which_the_log_speaks_is_not_ticked(clinic):
    told = {line.what: (line.well, line.today) for line in record_sheet(clinic).habits}
    assert told["To the minute"] == (False, "some are not")
    assert told["Not from the diary"] == (True, "no sign against it")
    assert told["One number for one patient"] == (False, "not yet known")


def test_an_empty_log_gives_a_sheet_without_a_tick():
    empty = Clinic(typed_frame(VISITS, pd.DataFrame()), typed_frame(EAR_ROWS, pd.DataFrame()))
    sheet = record_sheet(empty)
    assert sheet.well == ()
    assert "☑" not in sheet_html(empty)


def test_nothing_of_a_patient_or_a_practitioner_stands_on_it(clinic, tmp_path):
    page = write_sheet(clinic, tmp_path / "reports").read_text(encoding="utf-8")
    assert not [name for name in world.PRACTITIONERS if name in page]
    assert not [key for key in clinic.visits["patient_key"].unique() if f">{key}<" in page]
    assert "http" not in page


def test_the_clinics_name_is_escaped():
    empty = typed_frame(VISITS, pd.DataFrame()), typed_frame(EAR_ROWS, pd.DataFrame())
    clinic = Clinic(*empty, settings=settings_from_toml('[clinic]\nname = "<script>x</script>"'))
    assert "<script>" not in sheet_html(clinic)


def test_the_written_page_names_every_fact_and_every_one_is_ours():
    page = PAGE.read_text(encoding="utf-8")
    missing = [
        fact
        for fact in NEEDS
        if words.label(fact) not in page.replace("start of the visit and end", "start of the visit")
    ]
    assert sorted(missing) == ["minutes", "patient_key"]
    assert "patient's number" in page
    assert "start of the visit and end" in page


def test_the_command_writes_the_page_beside_the_reports(tmp_path, capsys):
    (tmp_path / "exports").mkdir()
    (tmp_path / "exports" / "log.csv").write_text("Date,Grade left\n2026-03-02,full\n", encoding="utf-8")
    assert main(["intake", str(tmp_path), "--quiet"]) == 0
    assert main(["sheet", str(tmp_path), "--quiet"]) == 0
    assert (tmp_path / "reports" / "what_to_record.html").exists()
    assert "one page to print" in capsys.readouterr().out
