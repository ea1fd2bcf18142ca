"""The clinic folder's store: written whole or not at all."""

from __future__ import annotations

import datetime as dt
import importlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Thread

from analysis.clinic import TABLES, export_files, read_settings
from analysis.intake.generations import replace_store
from analysis.intake.keys import read_key
from analysis.intake.lock import only_run
from analysis.intake.taking import Intake, take_in
from analysis.intake.typed_tables import write_table
from analysis.problems import DataProblem
from analysis.settings import Settings

A_YEAR_AHEAD = dt.timedelta(days=366)
"""Bookings may be made so far ahead; a later date is a slip."""


def intake_folder(
    folder: Path, *, today: dt.date | None = None, progress: Callable[[str], None] | None = None
) -> Intake:
    """Take in the exports of a clinic folder and write its store.

    Parameters
    ----------
    folder : Path
        Holds ``exports/`` and, where the clinic has settings, ``clinic.toml``.
    today : date, optional
        Rows dated more than a year after it (and after the setting
        ``last_day``) are set aside; the computer's own date by default.
    progress : callable, optional
        Told the name of each step as it begins.

    Returns
    -------
    Intake
        ``record["problems"]`` names the files that could not be used.

    Raises
    ------
    DataProblem
        If there are no exports, none can be used, a setting is wrong, another run holds the folder, or the disk
        is full or may not be written; the store is then as it was.
    """
    say = progress or (lambda _: None)
    folder = Path(folder)
    settings = read_settings(folder)
    now = max(today or dt.date.today(), settings.clinic.last_day or dt.date.min)
    latest = dt.datetime.combine(now, dt.time()) + A_YEAR_AHEAD
    files = export_files(folder)
    Thread(target=_load_contract, daemon=True).start()
    with only_run(folder):
        taken = take_in(files, settings, read_key(folder, say), latest=latest, progress=progress)
        say("writing the store")
        try:
            write_store(folder / "store", taken, settings)
        except OSError as error:
            raise DataProblem(
                f"The store cannot be written ({error.strerror or error}).",
                "See that there is room on the disk and that you may write there; the last good store is as it was.",
                file="store",
            ) from error
    return taken


def _load_contract() -> None:
    """Load what checks the tables, which takes a second, while the rows are worked on."""
    importlib.import_module("analysis.intake.contract")._pandera("polars")


def write_store(store: Path, taken: Intake, settings: Settings) -> None:
    """Make what was taken in the store, whole or not at all, if it keeps the tables' contract.

    Parameters
    ----------
    store : Path
        The folder ``store/`` of a clinic.
    taken : Intake
    settings : Settings

    Raises
    ------
    DataProblem
        If a table breaks its own rules, with all that is wrong; the store is then as it was.
    OSError
        If the disk is full or may not be written; likewise.
    """
    from analysis.intake.contract import check_tables  # loaded by then; see _load_contract

    def write(folder: Path) -> None:
        with ThreadPoolExecutor(1) as beside:  # a table that breaks its rules is written, and swept away again
            checked = beside.submit(check_tables, taken.parts, settings)
            for name in TABLES:
                write_table(folder / f"{name}.parquet", taken.tables[name])
            checked.result()

    replace_store(store, taken.record, write)
