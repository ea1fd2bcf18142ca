"""The recall list: for the clinic alone, and nowhere near the report."""

import os
import stat
import zipfile

import pandas as pd
import pytest

from analysis.answers.recall_due import who_is_due
from analysis.clinic import Clinic
from analysis.problems import DataProblem
from analysis.report.quarterly import build_report
from analysis.report.recall_list import OWN_USE, write_recall_list
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml


def clinic(toml: str = "[recall_cost]\nlist_months = 6", keys=("=1+1", "patient-pseudonym-7")) -> Clinic:
    """Both were cleared in February; somebody else came on the log's last day."""
    visits = pd.DataFrame(
        {
            "visit_id": ["v1", "v2", "v3"],
            "patient_key": [*keys, "somebody-else"],
            "attendance": "attended",
            "site": "+South",
            "slot_start": pd.to_datetime(["2026-02-02 09:00", "2026-02-02 09:30", "2026-09-30 09:00"]),
        }
    )
    ears = pd.DataFrame({"visit_id": visits["visit_id"], "ear": "left", "grade": "fully_occluding"})
    ears = ears.assign(methods="fine_suction", outcome="clear")
    return Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, ears), settings=settings_from_toml(toml))


def texts(path) -> str:
    with zipfile.ZipFile(path) as parts:
        return "".join(parts.read(name).decode() for name in parts.namelist() if name.endswith(".xml"))


def test_the_list_says_whose_it_is_and_holds_no_formula(tmp_path):
    path, found = write_recall_list(clinic(), tmp_path)
    written = texts(path)
    assert path == tmp_path / "private" / "recall_list.xlsx"
    assert OWN_USE in written.replace("&apos;", "'")
    assert "patient-pseudonym-7" in written
    assert "'=1+1" in written.replace("&apos;", "'")
    assert "<f>" not in written
    assert "as soon as symptoms appear" in written
    assert set(found.due["patient_key"]) == {"=1+1", "patient-pseudonym-7"}


@pytest.mark.skipif(os.name != "posix", reason="rights of this kind are unknown here")
def test_only_its_owner_may_read_it(tmp_path):
    path, _ = write_recall_list(clinic(), tmp_path)
    again, _ = write_recall_list(clinic(), tmp_path)
    assert again == path
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_no_pseudonym_stands_in_anything_the_report_writes(tmp_path):
    asked = clinic(keys=("unused", "patient-pseudonym-7"))
    path, _ = write_recall_list(asked, tmp_path)
    build_report(asked, "2026-Q3", tmp_path / "reports")
    written = [each for each in (tmp_path / "reports").rglob("*") if each.is_file()]
    assert len(written) >= 3
    assert path not in written
    for each in written:
        told = texts(each) if zipfile.is_zipfile(each) else each.read_text(encoding="utf-8", errors="replace")
        assert "patient-pseudonym-7" not in told, each.name


def test_without_an_interval_of_its_own_or_of_the_log_the_owner_is_told_what_to_set():
    with pytest.raises(DataProblem, match="list_months"):
        who_is_due(clinic(""))


def test_a_log_without_a_clearance_lists_nobody():
    empty = Clinic(typed_frame(VISITS, pd.DataFrame()), typed_frame(EAR_ROWS, pd.DataFrame()))
    with pytest.raises(DataProblem, match="no cleared ear"):
        who_is_due(empty)
