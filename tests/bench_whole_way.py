"""Time and memory of the whole way on large INVENTED logs: intake, then the quarter's report with its PDF.

Run by ``make bench-whole-way``. Each command runs as the owner would start it, in a
process of its own, so that its memory is its own.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.large_export import write_large_export

COMMANDS = ("intake", "report")


def run(command: str, folder: Path) -> tuple[float, float]:
    """Run one command on a clinic's folder; give its seconds and peak gigabytes."""
    begun = time.perf_counter()
    process = subprocess.Popen(
        [Path(sys.executable).with_name("earclinic"), command, folder], stdout=subprocess.DEVNULL
    )
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)  # 1 where rows are left to mend, as in these logs
    return time.perf_counter() - begun, used.ru_maxrss / 1024**2


def main() -> None:
    """Print the table of DEVELOPERS.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--visits", type=int, nargs="+", default=[11_000, 100_000, 1_000_000])
    sys.stdout.write("| visits | intake, s | report, s | together, s | peak GB |\n|---|---|---|---|---|\n")
    for visits in parser.parse_args().visits:
        with tempfile.TemporaryDirectory() as made:
            write_large_export(Path(made) / "exports", visits)
            (intake, _), (report, _) = took = [run(command, Path(made)) for command in COMMANDS]
            if not list(Path(made).glob("reports/*/quarterly_report.html")):
                raise SystemExit("There is no report.")
            peak = max(gigabytes for _, gigabytes in took)
            sys.stdout.write(f"| {visits:,} | {intake:.1f} | {report:.1f} | {intake + report:.1f} | {peak:.1f} |\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
