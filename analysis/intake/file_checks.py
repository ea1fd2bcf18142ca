"""What is looked at before a file is read: its kind, name, place, size and the length of its lines."""

from __future__ import annotations

import os
from pathlib import Path
from typing import BinaryIO

from analysis.intake.limits import CHUNK_BYTES, LARGEST_BYTES, LONGEST_LINE_BYTES, LONGEST_NAME
from analysis.problems import DataProblem, printable

BINARY = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"PAR1")


def checked_bytes(path: Path) -> bytes:
    """Read one file, if nothing about it is out of the limits.

    Parameters
    ----------
    path : Path

    Returns
    -------
    bytes

    Raises
    ------
    DataProblem
        If it is no file, a link to another folder, empty, too large, may not be
        read, has a line that is too long, has a name that cannot be shown, or
        changes while it is read.
    """
    file = printable(path.name)
    before = check_file(path)
    try:
        with path.open("rb") as opened:
            start = opened.read(len(BINARY[0]))
            opened.seek(0)
            if start not in BINARY:
                _check_lines(file, opened)
                opened.seek(0)
            data = opened.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise DataProblem(
            f"The file may not be read ({error.strerror or error}).",
            "See who may open it, and whether another program holds it.",
            file=file,
        ) from error
    check_unchanged(path, before, len(data))
    return data


def check_file(path: Path) -> os.stat_result:
    """Look at a file's name, kind and size; give what the system knows of it.

    Parameters
    ----------
    path : Path

    Returns
    -------
    os.stat_result

    Raises
    ------
    DataProblem
        As ``checked_bytes`` says.
    """
    _check_name(path)
    _check_kind(path)
    known = path.stat()
    _check_size(printable(path.name), known.st_size)
    return known


def check_unchanged(path: Path, before: os.stat_result, read_bytes: int) -> None:
    """Refuse a file that changed while it was read.

    Parameters
    ----------
    path : Path
    before : os.stat_result
        From ``check_file``.
    read_bytes : int

    Raises
    ------
    DataProblem
    """
    after = path.stat()
    if read_bytes != before.st_size or (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        raise DataProblem(
            "The file was changed while it was read.",
            "Wait until it is saved, then try again.",
            file=printable(path.name),
        )


def _check_name(path: Path) -> None:
    """Refuse a name that cannot be shown on a screen or written into a table as it is."""
    if printable(path.name) != path.name or len(path.name) > LONGEST_NAME:
        raise DataProblem(
            "The file's name is too long, or holds marks that cannot be shown.",
            f"Give it a name of letters and digits, {LONGEST_NAME} at most.",
            file=printable(path.name)[:LONGEST_NAME],
        )


def _check_kind(path: Path) -> None:
    """Refuse what is no ordinary file of its own folder."""
    if path.is_dir():
        raise DataProblem("This is a folder, not a file.", "Put its files here one by one.", file=path.name)
    if path.is_symlink() and path.exists() and path.resolve().parent != path.parent.resolve():
        raise DataProblem(
            "This is a link to a file in another folder.", "Put a copy of the file itself here.", file=path.name
        )
    if not path.is_file():
        raise DataProblem(
            "This is no file that can be read." if path.exists() else "There is no such file.",
            "Check the name and the folder.",
            file=path.name,
        )


def _check_size(file: str, size: int) -> None:
    """Refuse an empty and a huge file."""
    if size == 0:
        raise DataProblem("The file is empty.", "Export it again, or take it out of the folder.", file=file)
    if size > LARGEST_BYTES:
        raise DataProblem("The file is larger than 2 GB.", "Export it in parts, a year each.", file=file)


def _check_lines(file: str, opened: BinaryIO) -> None:
    """Refuse a line longer than any row, as soon as it is; lines are looked at a piece at a time."""
    length = 0
    while piece := opened.read(CHUNK_BYTES):
        ends = [place for mark in (b"\n", b"\r") if (place := piece.find(mark)) >= 0]
        if length + (min(ends) if ends else len(piece)) > LONGEST_LINE_BYTES:
            raise DataProblem(
                f"A line is longer than {LONGEST_LINE_BYTES // 1024**2} MB.",
                "This is no log; export it again, with one row a line.",
                file=file,
            )
        length = len(piece) - 1 - max(piece.rfind(b"\n"), piece.rfind(b"\r")) if ends else length + len(piece)
