"""The same exports, the same patients: whatever the year, the file, or how often intake is run."""

import hashlib

import pytest

from analysis.cli import main
from analysis.intake.taking import take_in
from analysis.settings import Settings

HEAD = "Date,Time,Patient no,L wax"
PLANTED = ("Orlanda Fenniquill", "07700 900123", "orla@nowhere.example")


def logs(tmp_path):
    old, new = tmp_path / "2019.csv", tmp_path / "2026.csv"
    old.write_text(f"{HEAD}\n13/03/2019,09:00,0042,full\n", encoding="utf-8")
    new.write_text(f"{HEAD}\n13/03/2026,09:00,42,full\n14/03/2026,09:00,43,full\n", encoding="utf-8")
    return [old, new]


def test_a_patient_keeps_one_pseudonym_across_files_and_years_and_another_key_gives_others(tmp_path):
    keys = take_in(logs(tmp_path), Settings(), b"k" * 32).visits["patient_key"].tolist()
    others = take_in(logs(tmp_path), Settings(), b"j" * 32).visits["patient_key"].tolist()
    assert keys[0] == keys[1] != keys[2]
    assert not set(keys) & set(others)


@pytest.fixture
def clinic(tmp_path):
    folder = tmp_path / "clinic"
    (folder / "exports").mkdir(parents=True)
    name, phone, mail = PLANTED
    (folder / "exports" / "log.csv").write_text(
        f"Date,Time,Patient name,Mobile,Email,L wax,Notes\n13/03/2026,09:00,{name},{phone},{mail},full,{name} rang\n",
        encoding="utf-8",
    )
    return folder


def stored(folder):
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted((folder / "store").rglob("*"))
        if path.is_file()
    }


def test_intake_twice_by_its_command_gives_the_same_bytes(clinic):
    assert main(["intake", str(clinic)]) == 0
    before = stored(clinic)
    assert main(["intake", str(clinic)]) == 0
    assert stored(clinic) == before


def test_what_intake_says_on_the_way_names_nobody(clinic, capsys):
    main(["intake", str(clinic)])
    said = "".join(capsys.readouterr())
    assert "log.csv" in said
    assert not [each for planted in PLANTED for each in (planted, *planted.split()) if each in said]
