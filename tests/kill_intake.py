"""Kill runs at random moments (``kill -9``) and look at what they leave.

``python -m tests.kill_intake`` kills 50 writes of a store, 50 of a report and 20
whole runs of ``earclinic intake``; the tests kill fewer. After each kill the store
must hold one whole set of tables with its own record and every file of the report
must be whole; a run after the last one must leave nothing but that.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

from analysis.clinic import TABLES
from analysis.intake.generations import replace_store
from analysis.report.all_or_none import all_or_none

TABLE_BYTES = 300_000
REPORT_FILES = ("quarterly_report.html", "quarterly_report.pptx", "quarterly_report.xlsx", "results.json")
LONGEST_WRITE_SECONDS, LONGEST_RUN_SECONDS = 0.08, 2.5
LOGS = {
    2: "Date,Time,Patient no,Status,L wax\n02/03/2026,09:00,1,Attended,full\n13/03/2026,09:00,2,Attended,semi\n",
    1: "Date,Time,Patient no,Status,L wax\n02/03/2026,09:00,7,Attended,clear\n",
}


def write_marked(store: Path, mark: str) -> None:
    """Write a store whose tables and record all carry one mark."""

    def write(folder: Path) -> None:
        for name in TABLES:
            (folder / f"{name}.parquet").write_bytes(mark.encode() * (TABLE_BYTES // len(mark)))

    replace_store(store, {"mark": mark}, write)


def mark_found(store: Path) -> str:
    """Give the one mark a store carries; fail where its files are of different runs, or cut short."""
    record = json.loads((store / "intake.json").read_text(encoding="utf-8"))
    for name in TABLES:
        found = (store / record["tables"] / f"{name}.parquet").read_bytes()
        wanted = record["mark"].encode() * (TABLE_BYTES // len(record["mark"]))
        assert found == wanted, f"{name} is not of the run {record['mark']}"
    return record["mark"]


def killed(write: Callable[[Path, str], None], place: Path, kills: int, seed: int) -> Iterator[str]:
    """Kill a process that writes one mark after another; give what its marks began with, after each kill."""
    draw = random.Random(seed)
    write(place, "0" * 8)
    for kill in range(1, kills + 1):
        pid = os.fork()
        if pid == 0:
            for step in count():
                write(place, f"{kill:04d}{step % 10_000:04d}")
        time.sleep(draw.uniform(0.0, LONGEST_WRITE_SECONDS))
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        yield f"{kill:04d}"
    write(place, "9" * 8)


def kill_writes(kills: int, seed: int) -> Counter[str]:
    """Kill writes of a store; tell how often one left something unfinished."""
    seen: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "store"
        for began in killed(write_marked, store, kills, seed):
            seen["new store" if mark_found(store).startswith(began) else "old store"] += 1
            seen["left unfinished"] += any(path.name.startswith(".new-") for path in store.iterdir())
        assert mark_found(store) == "9" * 8
        assert sorted(path.name[:7] for path in store.iterdir()) == ["intake.", "tables-"]
    return seen


def write_report(folder: Path, mark: str) -> None:
    """Write a report whose files all carry one mark."""
    with all_or_none(folder) as new:
        for name in REPORT_FILES:
            (new / name).write_bytes(mark.encode() * (TABLE_BYTES // len(mark)))


def kill_reports(kills: int, seed: int) -> Counter[str]:
    """Kill writes of a report; tell how often files of two runs stood side by side."""
    seen: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "2026-Q3"
        for _ in killed(write_report, folder, kills, seed):
            found = [(folder / file).read_bytes() for file in REPORT_FILES]
            assert all(each == each[:8] * (TABLE_BYTES // 8) for each in found), "a file is cut short"
            seen["one run" if len(set(found)) == 1 else "two runs"] += 1
        assert sorted(path.name for path in folder.iterdir()) == sorted(REPORT_FILES)
    return seen


def kill_runs(kills: int, seed: int) -> Counter[str]:
    """Kill whole runs of ``earclinic intake`` over exports that change from one to the next."""
    from analysis.clinic import open_clinic

    draw = random.Random(seed)
    seen: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "exports").mkdir()
        start = "import sys; from analysis.cli import main; sys.exit(main())"
        run = [sys.executable, "-c", start, "intake", "--quiet", str(folder)]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        _write_log(folder, 2)
        subprocess.run(run, check=True, **quiet)
        for kill in range(kills):
            _write_log(folder, 1 + kill % 2)
            started = subprocess.Popen(run, **quiet)
            time.sleep(draw.uniform(0.5, LONGEST_RUN_SECONDS))
            seen["killed" if started.poll() is None else "had ended"] += 1
            started.kill()
            started.wait()
            clinic = open_clinic(folder)
            assert len(clinic.visits) == len(clinic.ears) == clinic.record["rows_kept"], "tables and record differ"
        _write_log(folder, 2)
        subprocess.run(run, check=True, **quiet)  # no lock is left behind
        assert len(open_clinic(folder).visits) == len(LOGS[2].splitlines()) - 1
        assert sorted(path.name[:7] for path in (folder / "store").iterdir()) == ["intake.", "tables-"]
    return seen


def _write_log(folder: Path, rows: int) -> None:
    """Put the log with so many rows into the clinic folder."""
    (folder / "exports" / "log.csv").write_text(LOGS[rows], encoding="utf-8")


def main() -> None:
    """Kill as often as asked and print what was seen."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--writes", type=int, default=50)
    parser.add_argument("--reports", type=int, default=50)
    parser.add_argument("--runs", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    if asked.writes:
        sys.stdout.write(f"writes killed {asked.writes}: {dict(kill_writes(asked.writes, asked.seed))}\n")
    if asked.reports:
        sys.stdout.write(f"reports killed {asked.reports}: {dict(kill_reports(asked.reports, asked.seed))}\n")
    if asked.runs:
        sys.stdout.write(f"runs killed {asked.runs}: {dict(kill_runs(asked.runs, asked.seed))}\n")


if __name__ == "__main__":
    main()
