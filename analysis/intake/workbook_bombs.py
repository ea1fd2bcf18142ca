"""Workbooks that would fill the memory: looked through piece by piece before they are opened."""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib

from analysis.intake.limits import (
    CHUNK_BYTES,
    JUDGE_PACKING_FROM_BYTES,
    LARGEST_UNPACKED_BYTES,
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_PARTS,
    PACKED_TIGHTEST,
)
from analysis.problems import DataProblem

WORKBOOK = "xl/workbook.xml"
CELL = re.compile(rb"""\br\s*=\s*["']([A-Za-z]{1,7})(\d{1,9})["']""")
LONGEST_CELL_NAME = 64
BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    NotImplementedError,
    ValueError,
    OSError,
    RuntimeError,
    struct.error,
)
"""What the zip reader raises for damaged, locked and unknown packing."""


def refuse_bomb(file: str, data: bytes) -> None:
    """Refuse a workbook that unpacks to more than the limits, or whose cells stand too far out.

    The list of parts in the file is believed only where it says too much: every
    part is also unpacked, a piece at a time and kept nowhere, and what comes out
    is counted. Cells' places are looked at because the reader makes room for the
    whole rectangle up to the last cell.

    Parameters
    ----------
    file : str
        Name for messages.
    data : bytes

    Raises
    ------
    DataProblem
        If it is beyond the limits.
    ValueError
        If it cannot be unpacked, or is no XLSX.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            parts = packed.infolist()
            if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > _most_bytes(data):
                raise _too_much(file)
            if WORKBOOK not in {part.filename for part in parts}:
                raise ValueError("no XLSX")
            left = _most_bytes(data)
            for part in parts:
                left -= _unpacked(file, packed, part, left)
    except BROKEN as error:
        raise ValueError(f"cannot be unpacked: {type(error).__name__}") from error


def _most_bytes(data: bytes) -> int:
    """Give how much a workbook of this packed size may unpack to."""
    return min(LARGEST_UNPACKED_BYTES, max(JUDGE_PACKING_FROM_BYTES, PACKED_TIGHTEST * len(data)))


def _unpacked(file: str, packed: zipfile.ZipFile, part: zipfile.ZipInfo, most: int) -> int:
    """Unpack one part to nowhere and give its size; stop at the first byte or cell beyond the limits."""
    part.file_size = LARGEST_UNPACKED_BYTES  # what the list says may be a lie, and would end the reading early
    size, tail, height, width = 0, b"", 0, 0
    with packed.open(part) as opened:
        while piece := opened.read(CHUNK_BYTES):
            size += len(piece)
            if size > most:
                raise _too_much(file)
            for column, row in set(CELL.findall(tail + piece)):
                width, height = max(width, _column_number(column)), max(height, int(row))
            if width > MOST_COLUMNS or height * width > MOST_CELLS:
                raise DataProblem(
                    f"A sheet of the workbook reaches to row {height:,} and column {width:,}.",
                    "Delete the rows and columns beyond the log, or export the log alone as CSV.",
                    file=file,
                )
            tail = piece[-LONGEST_CELL_NAME:]
    return size


def _column_number(letters: bytes) -> int:
    """Turn a column's letters into its number.

    >>> _column_number(b"A"), _column_number(b"XFD")
    (1, 16384)
    """
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number


def _too_much(file: str) -> DataProblem:
    """Say that a workbook unpacks to too much."""
    return DataProblem(
        "The workbook unpacks to far more than a log holds.", "Export the log as CSV, a year each.", file=file
    )
