"""The store's files: a new set of tables is written whole beside the old one, then one file is swapped."""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from analysis.clinic import RECORD_FILE, TABLES, TABLES_FOLDER, TABLES_KEY

UNFINISHED = ".new-"
NAME_LETTERS = 16


def replace_store(store: Path, record: dict[str, Any], write: Callable[[Path], None]) -> None:
    """Write a new set of tables and its record, and make it the store in one step.

    The tables go into a folder of their own, named after their content. Only
    when they and the record are on the disk is ``intake.json``, which names that
    folder, swapped for the new one: a reader finds the old set or the new one,
    never some of each, whenever a run is killed or the disk is full.

    Parameters
    ----------
    store : Path
        The folder ``store/`` of a clinic; the caller holds the clinic's lock.
    record : dict
        What intake did.
    write : callable
        Writes ``visits.parquet``, ``ears.parquet`` and ``set_aside.parquet`` into the folder it is given.

    Raises
    ------
    OSError
        If the disk is full or may not be written; the store is then as it was.
    """
    store.mkdir(parents=True, exist_ok=True)
    sweep(store)
    new = store / f"{UNFINISHED}{secrets.token_hex(4)}"
    pointer = new.with_suffix(".json")
    try:
        new.mkdir()
        write(new)
        for name in TABLES:
            _to_disk(new / f"{name}.parquet")
        _to_disk(new)
        tables = _put_in_place(new, store)
        text = json.dumps({TABLES_KEY: tables} | record, indent=2, ensure_ascii=False) + "\n"
        pointer.write_text(text, encoding="utf-8")
        _to_disk(pointer)
        pointer.replace(store / RECORD_FILE)
        _to_disk(store)
    finally:
        sweep(store)


def sweep(store: Path) -> None:
    """Take away what a killed run left, and tables that ``intake.json`` no longer names.

    What a reader holds open on a system that forbids taking it away stays until
    the next run; files that are not the store's own are left alone.

    Parameters
    ----------
    store : Path
    """
    named = _tables_named(store)
    for path in sorted(store.iterdir()):
        unnamed = named is not None and path.name != named and re.fullmatch(TABLES_FOLDER, path.name)
        if path.name.startswith(UNFINISHED) or unnamed:
            if path.is_dir():
                shutil.rmtree(path, ignore_errors=True)
            else:
                path.unlink(missing_ok=True)
    if named:
        for name in TABLES:  # stores of the first layout had their tables here
            (store / f"{name}.parquet").unlink(missing_ok=True)


def _tables_named(store: Path) -> str | None:
    """Give the folder of tables the store's record names: empty where there is no record, None where it cannot be read."""
    try:
        return str(json.loads((store / RECORD_FILE).read_text(encoding="utf-8")).get(TABLES_KEY, ""))
    except FileNotFoundError:
        return ""
    except (OSError, ValueError, AttributeError):
        return None  # what cannot be told apart is not taken away


def _put_in_place(new: Path, store: Path) -> str:
    """Name the new folder after its content; tables that are there already, and whole, stay."""
    mark = _content_mark(new)
    name, again = f"tables-{mark}", 1
    while (store / name).exists():
        if _content_mark(store / name) == mark:
            return name
        again += 1  # damaged since it was written, and perhaps being read
        name = f"tables-{mark}-{again}"
    new.rename(store / name)
    return name


def _content_mark(folder: Path) -> str:
    """Give a mark of what the tables in a folder hold; empty where one is missing."""
    digest = hashlib.blake2b(digest_size=NAME_LETTERS // 2)
    for name in TABLES:
        path = folder / f"{name}.parquet"
        if not path.is_file():
            return ""
        with path.open("rb") as file:
            digest.update(hashlib.file_digest(file, "sha256").digest())
    return digest.hexdigest()


def _to_disk(path: Path) -> None:
    """See that a file, or a folder's list of files, has reached the disk."""
    if path.is_dir() and os.name == "nt":
        return  # Windows keeps the list of files itself, and opens no folder
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
