"""A large INVENTED export in the demo's wording, for measuring speed: rows of the demo, drawn again with new days and patients."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import polars as pl

DEMO_CSV = Path("data_demo/exports/visits_2023-10_to_2025-03.csv")
DROPPED = (
    "L regraded", "L TM", "L middle ear", "R regraded", "R TM", "R middle ear", "Complications", "Referred", "Fee", "Notes",
    "Tray", "Cotton buds", "Oil in chair", "L wax type", "R wax type", "L canal", "R canal", "Slot (min)", "Clinic", "Mobile",
)  # fmt: skip
"""Columns left out, so that 25 stay, as in a lean export."""
FIRST_DAY = dt.date(2016, 1, 4)
YEARS = 10
VISITS_A_PATIENT = 3


def files_of(visits: int) -> int:
    """Say how many files so large a log comes in: one a million visits, a year or more each."""
    return max(visits // 1_000_000, 1)


def write_large_export(folder: Path, visits: int, *, files: int = 1, seed: int = 1) -> list[Path]:
    """Write an export of so many visits in some files, oldest first; UTF-8, semicolons, one row a visit."""
    demo = pl.read_csv(DEMO_CSV, separator=";", encoding="windows-1252", infer_schema=False).drop(*DROPPED)
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for number in range(files):
        rows = visits // files
        path = folder / f"visits_{number + 1:02d}.csv"
        _rows(demo, rows, number * rows, rng, (YEARS * 365 * number // files, YEARS * 365 // files), visits).write_csv(
            path, separator=";"
        )
        paths.append(path)
    return paths


def _rows(
    demo: pl.DataFrame, rows: int, before: int, rng: np.random.Generator, days: tuple[int, int], visits: int
) -> pl.DataFrame:
    """Draw rows of the demo with new visit numbers, patients and days."""
    drawn = demo[rng.integers(0, len(demo), rows)]
    day = pl.Series(np.sort(days[0] + rng.integers(0, days[1], rows))).cast(pl.Int64)
    dates = pl.select(pl.lit(FIRST_DAY) + pl.duration(days=day)).to_series()
    patient = pl.Series(10_000 + rng.integers(0, max(visits // VISITS_A_PATIENT, 1), rows))
    return drawn.with_columns(
        pl.Series("Visit no", np.arange(before + 1, before + rows + 1)).cast(pl.String).str.zfill(8).str.head(8),
        patient.cast(pl.String).alias("Patient no"),
        dates.dt.strftime("%d/%m/%Y").alias("Appt date"),
        dates.dt.offset_by("-9d").dt.strftime("%d/%m/%Y").alias("Date booked"),
    )
