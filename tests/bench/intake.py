"""Speed and memory of intake on large INVENTED exports, beside a bare floor measured in the same run.

The floor is Polars scanning the same CSV and writing it as Parquet, without
understanding anything. Each line runs in a process of its own, so that its memory
is its own; the best of a few runs counts.
"""

from __future__ import annotations

import multiprocessing
import multiprocessing.connection
import resource
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import analysis  # noqa: F401  # isort: skip  # before Polars, whose memory it settles, as the command does
import polars as pl

from analysis.intake.store import intake_folder
from tests.bench.line import Line
from tests.large_export import files_of, write_large_export

SIZES = (100_000, 1_000_000)
REPEATS = 2
IN_TURN_ONLY = 1_000_000
"""Above so many visits pandas is not asked, which would need more memory than there is."""


def lines(sizes: Sequence[int]) -> Iterator[Line]:
    """Take exports of each size in with each engine."""
    for visits in sizes:
        with tempfile.TemporaryDirectory() as made:
            folder = Path(made)
            write_large_export(folder / "exports", visits, files=files_of(visits))
            bare, _ = _best(floor, folder)
            for engine in ["polars"] if visits > IN_TURN_ONLY else ["polars", "pandas"]:
                took = _best(intake, folder, engine)
                yield Line(f"intake on {engine}", visits, *took, beside="scan and write only", beside_seconds=bare)


def floor(folder: Path) -> None:
    """Scan the exports and write them as Parquet."""
    exports = str(folder / "exports" / "*.csv")
    pl.scan_csv(exports, separator=";", infer_schema=False).sink_parquet(folder / "floor.parquet")


def intake(folder: Path, engine: str) -> None:
    """Take the exports in and write the store."""
    (folder / "clinic.toml").write_text(f'[export]\nengine = "{engine}"\n', encoding="utf-8")
    intake_folder(folder)


def _best(work: Callable[..., None], *told: object) -> tuple[float, float]:
    """Give seconds and peak gigabytes of the best of a few runs, each in a process of its own."""
    return min(_measured(work, told) for _ in range(REPEATS))


def _measured(work: Callable[..., None], told: tuple[object, ...]) -> tuple[float, float]:
    """Run some work in a process of its own."""
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
