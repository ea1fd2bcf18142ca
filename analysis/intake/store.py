"""The clinic folder's store: written whole or not at all."""

from __future__ import annotations

import datetime as dt
import json
import os
import secrets
import tempfile
from collections.abc import Callable
from pathlib import Path

from analysis.clinic import export_files, read_settings
from analysis.intake.privacy import KEY_BYTES
from analysis.intake.taking import Intake, take_in
from analysis.intake.typed_tables import write_table
from analysis.problems import DataProblem

KEY_FILE = "pseudonym.key"
OWNER_ONLY = 0o600
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
        If there are no exports, none can be used, or a setting is wrong; the store is then as it was.
    """
    say = progress or (lambda _: None)
    folder = Path(folder)
    settings = read_settings(folder)
    now = max(today or dt.date.today(), settings.clinic.last_day or dt.date.min)
    latest = dt.datetime.combine(now, dt.time()) + A_YEAR_AHEAD
    taken = take_in(export_files(folder), settings, read_key(folder), latest=latest, progress=progress)
    say("writing the store")
    try:
        write_store(folder / "store", taken)
    except OSError as error:
        raise DataProblem(
            f"The store cannot be written ({error.strerror or error}).",
            "See that there is room on the disk and that you may write there; the last good store is as it was.",
            file="store",
        ) from error
    return taken


def read_key(folder: Path) -> bytes:
    """Read the clinic's secret; make it, readable by its owner only, where there is none.

    Parameters
    ----------
    folder : Path
        The clinic folder.

    Returns
    -------
    bytes

    Raises
    ------
    DataProblem
        If the key file is damaged: a new key would part every patient from their past.
    """
    path = folder / KEY_FILE
    if not path.exists():
        made = secrets.token_hex(KEY_BYTES)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWNER_ONLY)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(made + "\n")
    try:
        key = bytes.fromhex(path.read_text(encoding="ascii").strip())
    except ValueError:
        key = b""
    if len(key) < KEY_BYTES:
        raise DataProblem(
            "The key for pseudonyms is damaged.",
            "Put back a copy of it; if there is none, delete the file, and all exports must be taken in anew.",
            file=KEY_FILE,
        )
    return key


def write_store(store: Path, taken: Intake) -> None:
    """Write the tables and the record beside the old ones, then put them in their place.

    Parameters
    ----------
    store : Path
        The folder ``store/`` of a clinic.
    taken : Intake
    """
    store.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".new-", dir=store) as name:
        new = Path(name)
        for table, frame in taken.tables.items():
            write_table(new / f"{table}.parquet", frame)
        record = json.dumps(taken.record, indent=2, ensure_ascii=False) + "\n"
        (new / "intake.json").write_text(record, encoding="utf-8")
        for path in sorted(new.iterdir()):
            path.replace(store / path.name)

