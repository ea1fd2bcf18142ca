"""Time and memory of the whole way on large INVENTED logs: intake, then the quarter's report with its PDF.

Each command runs as the owner would start it, in a process of its own, so that its
memory is its own.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.bench.line import Line
from tests.large_export import files_of, write_large_export

SIZES = (11_000, 100_000, 1_000_000)
COMMANDS = ("intake", "report")


def lines(sizes: Sequence[int]) -> Iterator[Line]:
    """Run both commands at each size."""
    for visits in sizes:
        with tempfile.TemporaryDirectory() as made:
            write_large_export(Path(made) / "exports", visits, files=files_of(visits))
            took = [run(command, Path(made)) for command in COMMANDS]
            if not list(Path(made).glob("reports/*/quarterly_report.html")):
                raise SystemExit("There is no report.")
        for command, (seconds, gigabytes) in zip(COMMANDS, took, strict=True):
            yield Line(f"earclinic {command}", visits, seconds, gigabytes)
        yield Line("the whole way", visits, sum(each for each, _ in took), max(each for _, each in took))


def run(command: str, folder: Path) -> tuple[float, float]:
    """Run one command on a clinic's folder; give its seconds and peak gigabytes."""
    begun = time.perf_counter()
    process = subprocess.Popen(
        [Path(sys.executable).with_name("earclinic"), command, folder], stdout=subprocess.DEVNULL
    )
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)  # 1 where rows are left to mend, as in these logs
    return time.perf_counter() - begun, used.ru_maxrss / 1024**2
