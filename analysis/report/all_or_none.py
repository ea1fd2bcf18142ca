"""Files that belong together: written out of sight first, each put in place only when all of them are there."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from analysis.problems import DataProblem

UNFINISHED = ".new-"


@contextmanager
def all_or_none(folder: Path) -> Iterator[Path]:
    """Give a folder to write into; what stands there at the end takes the place of its namesakes in ``folder``.

    Parameters
    ----------
    folder : Path
        Made if it is not there. Files of other names are left alone.

    Yields
    ------
    Path
        Gone afterwards, also what a killed run left.

    Raises
    ------
    DataProblem
        If the disk is full or may not be written, or a file is held open by
        another program; what stood there stands.

    Notes
    -----
    A kill can only fall between two files in the instant they are renamed one
    after the other; each file is whole even then.

    Examples
    --------
    >>> place = Path(tempfile.mkdtemp())
    >>> with all_or_none(place) as new:
    ...     _ = (new / "page.html").write_text("whole")
    >>> [path.name for path in place.iterdir()]
    ['page.html']
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for left in folder.glob(f"{UNFINISHED}*"):
            shutil.rmtree(left, ignore_errors=True)
        with tempfile.TemporaryDirectory(prefix=UNFINISHED, dir=folder) as name:
            yield Path(name)
            for made in sorted(Path(name).iterdir()):
                made.replace(folder / made.name)
    except OSError as error:
        raise DataProblem(
            f"The report cannot be written ({error.strerror or error}).",
            "See that there is room on the disk, that you may write there and that none of its files is open elsewhere; "
            "the last report stands.",
            file=folder.name,
        ) from error
