"""One run at a time in a clinic folder: a lock the operating system takes back when a run ends or is killed."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from analysis.problems import DataProblem

LOCK_FILE = ".intake.lock"
OWNER_ONLY = 0o600


@contextmanager
def only_run(folder: Path) -> Iterator[None]:
    """Hold a clinic folder for one run.

    The lock is the operating system's, on an empty file that stays where it is:
    it ends with the run, however that ends, so that a killed run never blocks
    the next.

    Parameters
    ----------
    folder : Path
        The clinic folder.

    Raises
    ------
    DataProblem
        If another run holds the folder, or the folder may not be written.

    Examples
    --------
    >>> import tempfile
    >>> place = Path(tempfile.mkdtemp())
    >>> with only_run(place), only_run(place):
    ...     pass
    Traceback (most recent call last):
    ...
    analysis.problems.DataProblem: Another run is taking this clinic's exports in. Wait until it has ended, then try again.
    """
    try:
        handle = os.open(folder / LOCK_FILE, os.O_RDWR | os.O_CREAT, OWNER_ONLY)
    except OSError as error:
        raise DataProblem(
            f"Nothing can be written in this folder ({error.strerror or error}).",
            "See that there is room on the disk and that you may write there.",
            file=folder.name,
        ) from error
    try:
        if not _taken(handle):
            raise DataProblem(
                "Another run is taking this clinic's exports in.", "Wait until it has ended, then try again."
            )
        yield
    finally:
        os.close(handle)  # closing gives the lock back


def _taken(handle: int) -> bool:
    """Take the lock without waiting; False where another run holds it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True
