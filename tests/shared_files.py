"""What the files of a report hold, as text to search: packed ones opened, and the PDF read."""

import base64
import io
import json
import re
import shutil
import subprocess
import zipfile
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
from plotly.offline import get_plotlyjs

NO_READER = (
    "No pdftotext is on the PATH, so the PDF's words were not read (Debian and Ubuntu: apt-get install poppler-utils)."
)
LIBRARY = get_plotlyjs().encode()
"""The drawing library is the same in every page; without it the search takes seconds."""
MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"
DAY = re.compile(
    rf"\b\d{{4}}-\d\d-\d\d|\b\d\d?[/.]\d\d?[/.]\d{{4}}\b|\b\d\d? (?:{MONTHS}|[A-Z][a-z][a-z]) \d{{4}}\b"
    rf"|\b(?:{MONTHS}) \d\d?,? \d{{4}}\b"
)


def opened(path: Path | io.BytesIO) -> bytes:
    """Give a file's bytes; of a workbook or slides, those of all that is packed in them, and in that."""
    if not zipfile.is_zipfile(path):
        return path.getvalue() if isinstance(path, io.BytesIO) else path.read_bytes()
    with zipfile.ZipFile(path) as packed:
        return b"\n".join(opened(io.BytesIO(packed.read(name))) for name in packed.namelist())


def texts_of(folder: Path) -> dict[str, str]:
    """Give the text of every file under a folder, the drawing library left out, escapes undone; of a PDF its words."""
    found = {}
    for path in sorted(each for each in folder.rglob("*") if each.is_file()):
        content = pdf_words(path) if path.suffix == ".pdf" else opened(path).replace(LIBRARY, b"")
        found[path.relative_to(folder).as_posix()] = unescape(content.decode("utf-8", errors="replace"))
    return found


def pdf_words(path: Path) -> bytes:
    """Give a PDF's bytes and its words; only its bytes where no reader is installed."""
    reader = shutil.which("pdftotext")
    if reader is None:
        return path.read_bytes()
    words = subprocess.run([reader, "-layout", str(path), "-"], capture_output=True, check=True, timeout=60).stdout
    return path.read_bytes() + words


def traces_of(page: str) -> list[dict[str, Any]]:
    """Give what the page's charts draw, line by line and dot by dot."""
    figures = json.loads(page.split('id="figures">')[1].split("</script>")[0])
    return [trace for figure in figures.values() for trace in json.loads(figure)["data"]]


def length(values: list | dict[str, Any]) -> int:
    """Count the values of a trace, which are a list or packed numbers.

    Examples
    --------
    >>> length([1, 2, 3]), length({"dtype": "f8", "bdata": "AAAAAAAA8D8AAAAAAAAAQA=="})
    (3, 2)
    """
    return len(unpacked(values))


def unpacked(values: list | dict[str, Any] | None) -> list:
    """Give the values of a trace, which are a list, packed numbers or none."""
    if isinstance(values, dict):
        return np.frombuffer(base64.b64decode(values["bdata"]), dtype=values["dtype"]).tolist()
    return [] if values is None else list(values)


def days_in(text: str) -> set[str]:
    """Find what is written like a day of the calendar, in any style.

    Examples
    --------
    >>> sorted(days_in("3 September 2026, 2026-09-04 and 05/09/2026, but not September 2026 or 2026-09"))
    ['05/09/2026', '2026-09-04', '3 September 2026']
    """
    return set(DAY.findall(text))
