"""Whatever happens to a run, the last good store stays: kills, full disks, folders that may not be written, two runs."""

import json
import os
import stat
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import pandas as pd
import pytest

from analysis.clinic import RECORD_FILE, TABLES, open_clinic
from analysis.intake import keys
from analysis.intake.generations import replace_store
from analysis.intake.lock import LOCK_FILE, only_run
from analysis.intake.store import intake_folder
from analysis.problems import DataProblem

LOG = "Date,Time,Patient no,Status,L wax\n02/03/2026,09:00,1,Attended,full\n13/03/2026,09:00,2,Attended,semi\n"
MORE = LOG + "14/03/2026,09:00,3,Attended,clear\n"
posix = pytest.mark.skipif(os.name == "nt", reason="Windows has no such limit, user or kill")
INTAKE = "import sys; from analysis.cli import main; sys.exit(main(['intake', '--quiet', sys.argv[1]]))"

AS_SOMEBODY_ELSE = (
    "import os; from analysis import cli; from analysis.intake import store; os.geteuid() or os.seteuid(65534); "
)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "exports").mkdir()
    (tmp_path / "exports" / "log.csv").write_text(LOG, encoding="utf-8")
    return tmp_path


def log_is(folder, text):
    (folder / "exports" / "log.csv").write_text(text, encoding="utf-8")


def names_in(store):
    return sorted(path.name[:7] for path in store.iterdir())


@posix
def test_killed_writes_and_runs_leave_one_whole_store():
    """Twelve kills at random moments of writing, two of whole runs; the long form is ``python -m tests.kill_intake``."""
    told = subprocess.run(
        [sys.executable, "-m", "tests.kill_intake", "--writes", "12", "--reports", "12", "--runs", "2"],
        cwd=Path(__file__).parents[3], capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert told.returncode == 0, told.stderr
    assert "writes killed 12" in told.stdout
    assert "runs killed 2" in told.stdout


@posix
def test_a_full_disk_leaves_the_last_good_store(folder):
    """The system refuses to write more than 1,000 bytes into any one file, as a full disk does."""
    intake_folder(folder)
    log_is(folder, MORE)
    limit = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000)); "
    told = subprocess.run(
        [sys.executable, "-B", "-c", limit + INTAKE, str(folder)], capture_output=True, text=True, check=False
    )
    assert told.returncode == 1
    assert "The store cannot be written" in told.stderr
    assert "the last good store is as it was" in told.stderr
    assert "Traceback" not in told.stderr
    assert len(open_clinic(folder).visits) == 2
    assert names_in(folder / "store") == ["intake.", "tables-"]


@posix
def test_a_folder_that_may_not_be_written_is_told_plainly():
    """Run as somebody who may read the folder and not write it."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "exports").mkdir()
        log_is(folder, LOG)
        for each in (folder, folder / "exports"):
            each.chmod(0o555)
        told = subprocess.run(
            [sys.executable, "-B", "-c", AS_SOMEBODY_ELSE + INTAKE, name], capture_output=True, text=True, check=False
        )
        for each in (folder, folder / "exports"):
            each.chmod(0o755)
        assert told.returncode == 1, told.stderr
        assert "Nothing can be written in this folder (Permission denied)" in told.stderr
        assert "Traceback" not in told.stderr
        assert sorted(path.name for path in folder.iterdir()) == ["exports"]


def test_the_second_of_two_runs_says_so_and_changes_nothing(folder):
    intake_folder(folder)
    log_is(folder, MORE)
    with only_run(folder), pytest.raises(DataProblem, match="Another run is taking this clinic's exports in"):
        intake_folder(folder)
    assert len(open_clinic(folder).visits) == 2
    intake_folder(folder)
    assert len(open_clinic(folder).visits) == 3


def test_the_lock_file_of_a_killed_run_blocks_nobody(folder):
    (folder / LOCK_FILE).write_text("", encoding="utf-8")
    intake_folder(folder)
    assert len(open_clinic(folder).visits) == 2


def test_what_a_killed_run_left_is_swept_and_other_files_are_not(folder):
    intake_folder(folder)
    store = folder / "store"
    (store / ".new-1234").mkdir()
    (store / ".new-1234" / "visits.parquet").write_bytes(b"half")
    (store / ".new-1234.json").write_text("{", encoding="utf-8")
    (store / ("tables-" + "0" * 16)).mkdir()
    (store / "notes of the owner.txt").write_text("mine", encoding="utf-8")
    intake_folder(folder)
    assert names_in(store) == ["intake.", "notes o", "tables-"]


def test_a_store_of_the_first_layout_opens_and_is_then_replaced(folder):
    intake_folder(folder)
    store = folder / "store"
    record = json.loads((store / RECORD_FILE).read_text(encoding="utf-8"))
    tables = store / record.pop("tables")
    for path in tables.iterdir():
        path.rename(store / path.name)
    tables.rmdir()
    (store / RECORD_FILE).write_text(json.dumps(record), encoding="utf-8")
    assert len(open_clinic(folder).visits) == 2
    intake_folder(folder)
    assert names_in(store) == ["intake.", "tables-"]


def test_tables_damaged_after_they_were_written_are_told_and_made_anew(folder):
    intake_folder(folder)
    (path,) = (folder / "store").glob("tables-*/visits.parquet")
    path.write_bytes(b"PAR1" + b"\0" * 50)
    with pytest.raises(DataProblem, match="The store is damaged"):
        open_clinic(folder)
    intake_folder(folder)
    assert len(open_clinic(folder).visits) == 2


@pytest.mark.parametrize("text", ['{"tables": "../../elsewhere"}', '{"tables": 3}', "[]", "{", ""])
def test_a_damaged_record_is_told(folder, text):
    intake_folder(folder)
    (folder / "store" / RECORD_FILE).write_text(text, encoding="utf-8")
    with pytest.raises(DataProblem, match="The store is damaged"):
        open_clinic(folder)


def test_a_reader_never_sees_tables_of_two_runs(folder):
    """Readers open the clinic again and again while another thread swaps two stores."""
    intake_folder(folder)
    two, store = open_clinic(folder), folder / "store"
    log_is(folder, MORE)
    three = intake_folder(folder)
    stop = threading.Event()

    def swap():
        while not stop.is_set():
            for tables, record in ((two, two.record), (three, three.record)):

                def write(place, tables=tables):
                    for name in TABLES:
                        getattr(tables, name).to_parquet(place / f"{name}.parquet", index=False)

                replace_store(store, record, write)

    swapping = threading.Thread(target=swap)
    swapping.start()
    try:
        seen = set()
        for _ in range(40):
            clinic = open_clinic(folder)
            seen.add((len(clinic.visits), len(clinic.ears), clinic.record["rows_kept"]))
    finally:
        stop.set()
        swapping.join()
    assert seen <= {(2, 2, 2), (3, 3, 3)}


@posix
def test_a_key_others_could_read_is_closed_and_told(folder):
    key, told = keys.read_key(folder), []
    (folder / keys.KEY_FILE).chmod(0o644)
    assert keys.read_key(folder, told.append) == key
    assert stat.S_IMODE((folder / keys.KEY_FILE).stat().st_mode) == 0o600
    assert told == ["the key could be read by others; it is yours alone again"]


def test_a_run_killed_while_making_the_key_leaves_none_and_the_next_makes_it(folder):
    (folder / keys.UNFINISHED_KEY).write_text("12ab", encoding="ascii")
    assert len(keys.read_key(folder)) == keys.KEY_BYTES
    assert not (folder / keys.UNFINISHED_KEY).exists()


def test_a_key_that_is_a_folder_is_told(folder):
    (folder / keys.KEY_FILE).mkdir()
    with pytest.raises(DataProblem, match="The key for pseudonyms cannot be read"):
        keys.read_key(folder)


def test_patients_cannot_be_joined_back_under_another_key(folder):
    """The same numbers under another key share no pseudonym, so that a guess of every number tells nothing."""
    first = intake_folder(folder).visits["patient_key"]
    (folder / keys.KEY_FILE).unlink()
    second = intake_folder(folder).visits["patient_key"]
    assert len({*first, *second}) == 4
    pd.testing.assert_series_equal(second, intake_folder(folder).visits["patient_key"])
