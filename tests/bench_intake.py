"""Speed and memory of intake on large INVENTED exports, beside a bare floor measured in the same run.

Run by ``make bench-intake``. The floor is Polars scanning the same CSV and writing
it as Parquet, without understanding anything. Each line runs in a process of its
own, so that its memory is its own; the best of a few runs counts, and ratios are
what to compare.
"""

from __future__ import annotations

import argparse
import multiprocessing
import multiprocessing.connection
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import analysis  # noqa: F401  # isort: skip  # before Polars, whose memory it settles, as the command does
import polars as pl

from analysis.intake.store import intake_folder
from tests.large_export import write_large_export

FILES = {10_000_000: 10}
"""Ten million visits come in ten files of a year each; fewer in one."""


def floor(folder: Path) -> None:
    """Scan the exports and write them as Parquet."""
    exports = str(folder / "exports" / "*.csv")
    pl.scan_csv(exports, separator=";", infer_schema=False).sink_parquet(folder / "floor.parquet")


def intake(folder: Path, engine: str) -> None:
    """Take the exports in and write the store."""
    (folder / "clinic.toml").write_text(f'[export]\nengine = "{engine}"\n', encoding="utf-8")
    intake_folder(folder)


def measured(work: Callable[..., None], *told: object) -> tuple[float, float]:
    """Give seconds and peak gigabytes of some work in a process of its own."""
    receiver, sender = multiprocessing.Pipe(duplex=False)
    process = multiprocessing.get_context("spawn").Process(target=_told, args=(sender, work, told))
    process.start()
    seconds, peak = receiver.recv()
    process.join()
    return seconds, peak


def _told(sender: multiprocessing.connection.Connection, work: Callable[..., None], told: tuple[object, ...]) -> None:
    """Do the work, and send what it took."""
    begun = time.perf_counter()
    work(*told)
    seconds = time.perf_counter() - begun
    sender.send((seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2))


def main() -> None:
    """Print the table of DEVELOPERS.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--visits", type=int, nargs="+", default=[100_000, 1_000_000])
    parser.add_argument("--repeats", type=int, default=2)
    options = parser.parse_args()
    sys.stdout.write("| visits | what | seconds | times the floor | peak GB |\n|---|---|---|---|---|\n")
    for visits in options.visits:
        with tempfile.TemporaryDirectory() as made:
            folder = Path(made)
            write_large_export(folder / "exports", visits, files=FILES.get(visits, 1))
            engines = ["polars"] if visits > 1_000_000 else ["polars", "pandas"]
            works = [("floor", floor, ()), *((f"intake on {engine}", intake, (engine,)) for engine in engines)]
            took = {}
            for what, work, told in works:
                took[what] = min(measured(work, folder, *told) for _ in range(options.repeats))
                seconds, peak = took[what]
                ratio = seconds / took["floor"][0]
                sys.stdout.write(f"| {visits:,} | {what} | {seconds:.1f} | {ratio:.1f} | {peak:.1f} |\n")
                sys.stdout.flush()


if __name__ == "__main__":
    main()
