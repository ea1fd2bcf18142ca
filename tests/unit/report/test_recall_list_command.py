"""``earclinic recall-list`` from an export to the sheet the clinic opens, read back as a spreadsheet does."""

import datetime as dt
import re
import shutil
import zipfile

import pytest
from python_calamine import CalamineWorkbook

from analysis.cli import main
from analysis.clinic import open_clinic
from analysis.report.recall_list import CAUTIONS, HEADINGS, OWN_USE

LOG = """\
Date,Patient number,Attendance,Booking type,Site,Grade left,Method left,Outcome left
2026-02-02,A1,attended,new,=South,full,fine suction,clear
2025-11-03,=1+1,attended,new,North,full,fine suction,clear
2026-08-30,A3,attended,new,North,full,fine suction,clear
"""
OWN_MONTHS = "[recall_cost]\nlist_months = 6\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A clinic folder taken in, its list written once."""
    folder = tmp_path_factory.mktemp("clinic")
    (folder / "exports").mkdir()
    (folder / "exports" / "log.csv").write_text(LOG, encoding="utf-8")
    (folder / "clinic.toml").write_text(OWN_MONTHS, encoding="utf-8")
    assert main(["intake", str(folder), "--quiet"]) == 0
    assert main(["recall-list", str(folder)]) == 0
    return folder


def read(folder):
    return CalamineWorkbook.from_path(folder / "private" / "recall_list.xlsx").get_sheet_by_index(0).to_python()


def listed(folder):
    """The rows of the list, below its headings."""
    rows = read(folder)
    return rows[rows.index(list(HEADINGS)) + 1 :]


def unpacked(path) -> str:
    """Everything a file says, also within the parts of a workbook or of slides."""
    if not zipfile.is_zipfile(path):
        return path.read_bytes().decode("utf-8", errors="replace")
    with zipfile.ZipFile(path) as parts:
        return "".join(parts.read(name).decode("utf-8", errors="replace") for name in parts.namelist())


def test_the_command_writes_the_list_and_says_whose_it_is(folder, capsys):
    capsys.readouterr()
    assert main(["recall-list", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "2 people due a recall" in said
    assert str(folder / "private" / "recall_list.xlsx") in said
    assert OWN_USE in said


def test_the_sheet_holds_due_months_as_dates_the_longest_overdue_first(folder):
    found = listed(folder)
    assert [row[0] for row in found] == [dt.date(2026, 5, 1), dt.date(2026, 8, 1)]
    assert [row[2] for row in found] == [3.0, 0.0]
    assert [row[3] for row in found] == [dt.date(2025, 11, 3), dt.date(2026, 2, 2)]
    assert [row[4] for row in found] == ["everyone", "everyone"]


def test_above_the_list_stand_whose_it_is_the_rule_and_the_cautions(folder):
    above = [row[0] for row in read(folder)[: read(folder).index(list(HEADINGS))]]
    assert above[0] == OWN_USE
    assert any("6 months for everyone" in str(line) for line in above)
    assert any("1 due later" in str(line) for line in above)
    assert set(CAUTIONS) <= set(above)


def test_patients_stand_by_pseudonym_only_and_no_text_begins_like_a_formula(folder):
    texts = [cell for row in read(folder) for cell in row if isinstance(cell, str)]
    assert not [text for text in texts if re.match(r"[=+\-@]", text)]
    names = [row[1] for row in listed(folder)]
    assert len(set(names)) == 2
    assert set(names) <= set(open_clinic(folder).pseudonyms)
    assert not {"A1", "=1+1", "'=1+1"} & set(texts)


def test_the_report_written_afterwards_knows_nothing_of_it(folder):
    names = [row[1] for row in listed(folder)]
    assert main(["report", str(folder), "--quarter", "2026-Q1", "--no-pdf", "--quiet"]) == 0
    written = [each for each in (folder / "reports").rglob("*") if each.is_file()]
    assert written
    assert not [each for each in written if "recall_list" in each.name]
    for each in written:
        told = unpacked(each)
        assert not [name for name in names if name in told], each.name


def test_without_a_rule_and_too_thin_a_log_the_owner_is_told_what_to_set(folder, tmp_path, capsys):
    thin = shutil.copytree(folder, tmp_path / "thin", ignore=shutil.ignore_patterns("private", "reports"))
    (thin / "clinic.toml").write_text("", encoding="utf-8")
    capsys.readouterr()
    assert main(["recall-list", str(thin)]) == 1
    told = capsys.readouterr().err.strip()
    assert told.splitlines()[-1].startswith("This log does not say yet when to call back.")
    assert told.endswith("set list_months under [recall_cost] in clinic.toml.")
    assert not (thin / "private").exists()


def test_before_intake_it_says_what_to_run(tmp_path, capsys):
    assert main(["recall-list", str(tmp_path)]) == 1
    assert "earclinic intake" in capsys.readouterr().err
