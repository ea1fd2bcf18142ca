"""Speed of each part on the invented clinic, beside a bare floor measured in the same run.

Run by ``make bench``. Seconds drift from hour to hour on a shared machine; the
ratios are what to compare. The floor is Polars scanning the same CSV export and
writing it as Parquet, without understanding anything.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl

from analysis.clinic import open_clinic
from analysis.demo import invented_clinic
from analysis.demo.exports import write_exports
from analysis.intake.store import intake_folder
from analysis.planning.session import run_sessions
from analysis.report.questions import PARTS

REPEATS = 3


def seconds(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """Give the best of a few runs."""
    took = []
    for _ in range(repeats):
        begun = time.perf_counter()
        work()
        took.append(time.perf_counter() - begun)
    return min(took)


def simulate() -> None:
    """Play 20,000 sessions of 16 bookings."""
    rng = np.random.default_rng(1)
    minutes = rng.gamma(9, 2, (16, 20_000))
    run_sessions(15.0 * np.arange(16)[:, None], minutes, rng.random(minutes.shape) < 0.9)


def main() -> None:
    """Print the table of DEVELOPERS.md."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        write_exports(folder, invented_clinic())
        csv = next((folder / "exports").glob("*.csv"))
        floor = seconds(
            lambda: pl.scan_csv(csv, separator=";", encoding="utf8-lossy", infer_schema=False).sink_parquet(
                folder / "floor.parquet"
            )
        )
        rows = [
            ("floor: Polars scans the CSV and writes Parquet", floor),
            ("inventing the clinic", seconds(invented_clinic, 1)),
            ("intake of all four exports", seconds(lambda: intake_folder(folder), 2)),
            ("20,000 sessions of 16 bookings, draws included", seconds(simulate)),
        ]
        clinic = open_clinic(folder)
        for _, questions in PARTS:
            rows += [(f"answer: {name}", seconds(lambda ask=ask: ask(clinic, "2026-Q3"), 1)) for name, ask in questions]
    sys.stdout.write("| part | seconds | times the floor |\n|---|---|---|\n")
    for name, took in rows:
        sys.stdout.write(f"| {name} | {took:.2f} | {took / floor:.0f} |\n")


if __name__ == "__main__":
    main()
