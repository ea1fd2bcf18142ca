"""The clinic folder's store: whole or not at all, and the key for its owner only."""

import json
import os
import stat

import pandas as pd
import pytest

from analysis.clinic import open_clinic
from analysis.intake import keys, store, typed_tables
from analysis.problems import DataProblem

LOG = "Date,Time,Patient no,Status,L wax\n02/03/2026,09:00,1,Attended,full\n13/03/2026,09:00,2,Attended,semi\n"


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "exports").mkdir()
    (tmp_path / "exports" / "log.csv").write_text(LOG, encoding="utf-8")
    return tmp_path


def contents(folder):
    """Give the bytes of every file of the store."""
    return {
        path.relative_to(folder / "store").as_posix(): path.read_bytes()
        for path in sorted((folder / "store").rglob("*"))
        if path.is_file()
    }


def test_taking_in_twice_gives_the_same_store_byte_for_byte_which_opens(folder):
    store.intake_folder(folder)
    first = contents(folder)
    assert sorted(name.split("/")[-1] for name in first) == [
        "ears.parquet",
        "intake.json",
        "set_aside.parquet",
        "visits.parquet",
    ]
    store.intake_folder(folder)
    assert contents(folder) == first
    clinic = open_clinic(folder)
    assert len(clinic.visits) == clinic.record["rows_kept"] == 2
    assert str(clinic.ears["grade"].dtype) == "category"


@pytest.mark.parametrize("numbered", [True, False])
def test_another_key_changes_nothing_that_answers_are_asked_of(tmp_path, numbered):
    patients = [7, 3, 9, 3, "", 1, 9, 4, 8, 2]
    days = [f"2026-03-{2 + row // 3:02d},{patient},full" for row, patient in enumerate(patients)]  # three at one time
    rows = ["Date,Patient no,L wax", *days]
    if numbered:
        rows = [f"{'Visit no' if row == 0 else f'V{row}'},{text}" for row, text in enumerate(rows)]
    clinics = []
    for name in ("one", "two", "three"):
        (tmp_path / name / "exports").mkdir(parents=True)
        (tmp_path / name / "exports" / "log.csv").write_text("\n".join(rows), encoding="utf-8")
        store.intake_folder(tmp_path / name)
        clinics.append(open_clinic(tmp_path / name))
    one, *others = clinics
    for other in others:
        pd.testing.assert_frame_equal(one.visits, other.visits)
        pd.testing.assert_frame_equal(one.ears, other.ears)
        assert not set(one.pseudonyms) & set(other.pseudonyms)
    assert one.visits["patient_key"].isna().tolist() == [False] * 4 + [True] + [False] * 5
    assert one.visits["patient_key"].nunique() == len(one.pseudonyms) == 7
    assert one.ears["visit_id"].tolist() == one.visits["visit_id"].tolist()


def test_the_key_is_made_once_for_its_owner_only(folder):
    key = keys.read_key(folder)
    path = folder / keys.KEY_FILE
    assert len(key) == keys.KEY_BYTES
    assert stat.S_IMODE(path.stat().st_mode) == 0o600 or os.name == "nt"
    assert keys.read_key(folder) == key


def test_a_damaged_key_is_not_replaced(folder):
    (folder / keys.KEY_FILE).write_text("gone", encoding="ascii")
    with pytest.raises(DataProblem, match="The key for pseudonyms is damaged"):
        keys.read_key(folder)
    assert (folder / keys.KEY_FILE).read_text(encoding="ascii") == "gone"


def test_a_failure_while_writing_leaves_the_last_good_store(folder, monkeypatch):
    store.intake_folder(folder)
    before = contents(folder)
    (folder / "exports" / "log.csv").write_text(LOG + "14/03/2026,09:00,3,Attended,clear\n", encoding="utf-8")

    def fails(path, table):
        if path.name == "set_aside.parquet":
            raise OSError("the disk is full")
        typed_tables.write_table(path, table)

    monkeypatch.setattr(store, "write_table", fails)
    with pytest.raises(DataProblem, match="The store cannot be written"):
        store.intake_folder(folder)
    assert contents(folder) == before


def test_a_folder_without_exports_gets_no_key_and_no_store(tmp_path):
    with pytest.raises(DataProblem, match="There are no exports here"):
        store.intake_folder(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_misspelt_setting_leaves_the_store_alone(folder):
    (folder / "clinic.toml").write_text("[export]\nday_frist = true\n", encoding="utf-8")
    with pytest.raises(DataProblem, match=r"export.day_frist.*Did you mean export.day_first"):
        store.intake_folder(folder)
    assert not (folder / "store").exists()


def test_the_record_written_is_the_record_given(folder):
    taken = store.intake_folder(folder)
    told = json.loads((folder / "store" / "intake.json").read_text(encoding="utf-8"))
    assert (folder / "store" / told.pop("tables")).is_dir()
    assert told == taken.record == open_clinic(folder).record
