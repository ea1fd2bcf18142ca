"""The clinic's secret for pseudonyms: one file that only its owner may read."""

from __future__ import annotations

import os
import secrets
import stat
from collections.abc import Callable
from pathlib import Path

from analysis.intake.privacy import KEY_BYTES
from analysis.problems import DataProblem

KEY_FILE = "pseudonym.key"
UNFINISHED_KEY = ".pseudonym.key.new"
OWNER_ONLY = 0o600
FOR_OTHERS = stat.S_IRWXG | stat.S_IRWXO


def read_key(folder: Path, say: Callable[[str], None] = lambda _: None) -> bytes:
    """Read the clinic's secret; make it, readable by its owner only, where there is none.

    Without the key no pseudonym can be joined back to a patient's number, not
    even by trying every number.

    Parameters
    ----------
    folder : Path
        The clinic folder.
    say : callable, optional
        Told when the file could be read by others, which is mended.

    Returns
    -------
    bytes

    Raises
    ------
    DataProblem
        If the key file is damaged (a new key would part every patient from
        their past), or may not be read.
    """
    path = folder / KEY_FILE
    if not path.exists():
        _make_key(folder)
    try:
        _close_to_others(path, say)
        key = bytes.fromhex(path.read_text(encoding="ascii").strip())
    except ValueError:
        key = b""
    except OSError as error:
        raise DataProblem(
            f"The key for pseudonyms cannot be read ({error.strerror or error}).",
            "See that it is a file of yours that you may read.",
            file=KEY_FILE,
        ) from error
    if len(key) < KEY_BYTES:
        raise DataProblem(
            "The key for pseudonyms is damaged.",
            "Put back a copy of it; if there is none, delete the file, and all exports must be taken in anew.",
            file=KEY_FILE,
        )
    return key


def _make_key(folder: Path) -> None:
    """Write a new key beside its place and move it there whole, so that a killed run leaves none or a good one."""
    new = folder / UNFINISHED_KEY
    try:
        new.unlink(missing_ok=True)
        handle = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWNER_ONLY)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(KEY_BYTES) + "\n")
            file.flush()
            os.fsync(file.fileno())
        new.replace(folder / KEY_FILE)
    except OSError as error:
        raise DataProblem(
            f"The key for pseudonyms cannot be made ({error.strerror or error}).",
            "See that there is room on the disk and that you may write in this folder.",
            file=KEY_FILE,
        ) from error


def _close_to_others(path: Path, say: Callable[[str], None]) -> None:
    """Take the right to read the key from everybody but its owner, and say so."""
    if os.name == "nt" or not path.stat().st_mode & FOR_OTHERS:
        return  # on Windows the folder's own rights decide
    path.chmod(OWNER_ONLY)
    if path.stat().st_mode & FOR_OTHERS:
        say("others may read the key on this disk: move the clinic folder to one that keeps files private")
    else:
        say("the key could be read by others; it is yours alone again")
