"""Text of a CSV in any encoding and with any delimiter."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from analysis.intake.limits import LONGEST_CELL, MOST_CELLS, MOST_CELLS_A_ROW
from analysis.problems import DataProblem

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
SNIFF_LETTERS = 100_000
NOT_A_TABLE = "Export the log as CSV or XLSX with one row of headings above the rows."


def read_csv_text(
    file: str, data: bytes, known_headings: Callable[[Sequence[str]], int]
) -> tuple[list[list[str]], dict[str, Any]]:
    """Cut the bytes of a CSV into cells.

    Parameters
    ----------
    file : str
        Name for messages.
    data : bytes
    known_headings : callable
        Counts the known headings of a row; settles which delimiter is meant.

    Returns
    -------
    tuple of (list of list of str, dict)
        The cells, row by row, blank rows as empty lists, and the facts:
        kind, encoding, delimiter.

    Raises
    ------
    DataProblem
        If it is no text, no table, or a quotation mark is never closed.
    """
    text, encoding = decode(file, data)
    mark, text = take_hint(text)
    delimiter = mark or choose_delimiter(text, known_headings)
    if delimiter is None:
        raise DataProblem("This is no table.", NOT_A_TABLE, file=file)
    csv.field_size_limit(LONGEST_CELL)
    try:
        grid = [
            [cell.replace("\x00", "").replace("\u00a0", " ").strip() for cell in row]
            for row in _within_limits(file, csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
        ]
    except csv.Error as error:
        raise DataProblem(f"The file cannot be cut into cells ({error}).", NOT_A_TABLE, file=file) from None
    _refuse_swallowed_rows(file, grid, delimiter)
    return grid, {"kind": "csv", "encoding": encoding, "delimiter": DELIMITERS[delimiter]}


def _within_limits(file: str, rows: Iterable[list[str]]) -> Iterator[list[str]]:
    """Hand rows on, and stop at the first that is too wide, or once there are too many cells."""
    cells = 0
    for number, row in enumerate(rows, start=1):
        cells += len(row)
        if len(row) > MOST_CELLS_A_ROW or cells > MOST_CELLS:
            wide = len(row) > MOST_CELLS_A_ROW
            raise DataProblem(
                f"The row has {len(row):,} cells." if wide else f"The file has more than {MOST_CELLS:,} cells.",
                "Export only the log itself." if wide else "Export it in parts, a year each.",
                file=file,
                row=number,
            )
        yield row


def decode(file: str, data: bytes) -> tuple[str, str]:
    """Turn bytes into text: UTF-8, UTF-16 or Windows-1252, told by their marks and by what fits.

    Parameters
    ----------
    file : str
    data : bytes

    Returns
    -------
    tuple of (str, str)
        The text, and the encoding's name.

    Raises
    ------
    DataProblem
        If the bytes are no text.

    Examples
    --------
    >>> decode("a.csv", "Zoë".encode("cp1252")), decode("a.csv", "Zoë".encode("utf-16"))
    (('Zoë', 'Windows-1252'), ('Zoë', 'UTF-16'))
    """
    if data.startswith(b"\xef\xbb\xbf"):
        return _strictly(file, data[3:], "utf-8"), "UTF-8 with mark"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _strictly(file, data, "utf-16"), "UTF-16"
    start = data[:4000]
    if b"\x00" in start:
        zeros = [start[place::2].count(0) / max(len(start[place::2]), 1) for place in (0, 1)]
        if max(zeros) > 0.4 and min(zeros) < 0.1:
            return _strictly(file, data, "utf-16-be" if zeros[0] > zeros[1] else "utf-16-le"), "UTF-16"
    if sum(byte < 32 and byte not in (0, 9, 10, 12, 13) for byte in start) > 0.02 * len(start) or start.count(
        0
    ) > 0.1 * len(start):
        raise DataProblem("This is no text file.", NOT_A_TABLE, file=file)
    try:
        return data.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "Windows-1252"


def _strictly(file: str, data: bytes, encoding: str) -> str:
    """Decode bytes that are marked with their encoding."""
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        raise DataProblem(
            f"The file says it is {encoding.upper()}, but some of it is not.", "Export it again as UTF-8.", file=file
        ) from error


def take_hint(text: str) -> tuple[str | None, str]:
    """Take off the line "sep=;" that spreadsheets understand."""
    match = re.match(r"sep=([,;|\t])\r?\n", text, re.IGNORECASE)
    return (match[1], text[match.end() :]) if match else (None, text)


def choose_delimiter(text: str, known_headings: Callable[[Sequence[str]], int]) -> str | None:
    """Choose the delimiter: most known headings first, then the most even rows."""
    start = text[:SNIFF_LETTERS]
    if len(start) < len(text):
        start = start[: max(start.rfind("\n"), start.rfind("\r")) + 1] or start
    scored = []
    csv.field_size_limit(LONGEST_CELL)
    for delimiter in DELIMITERS:
        try:
            rows = [row for row in csv.reader(io.StringIO(start, newline=""), delimiter=delimiter) if any(row)]
        except csv.Error:
            continue
        widths = Counter(len(row) for row in rows)
        if not widths:
            continue
        width, count = widths.most_common(1)[0]
        known = max(known_headings(row) for row in rows[:15])
        if (width > 1 and count > len(rows) / 2) or known > 1:
            scored.append((known, count / len(rows), width, delimiter))
    return max(scored)[3] if scored else None


def _refuse_swallowed_rows(file: str, grid: list[list[str]], delimiter: str) -> None:
    """Refuse a file in which a quotation mark is never closed, so that one cell holds whole rows."""
    width = max(map(len, grid), default=0)
    usual = Counter(map(len, grid)).most_common(1)[0][0] if grid else 0
    for number, row in enumerate(grid, start=1):
        for cell in row:
            # the rest of a swallowed row stands in cells beyond the usual ones
            holds = max(4, 0.8 * width) if len(row) <= usual else 2
            if "\n" in cell and max(line.count(delimiter) + 1 for line in cell.splitlines()) >= holds:
                raise DataProblem(
                    "A quotation mark is opened here and never closed.",
                    'Take the mark (") out of this row, or write it twice.',
                    file=file,
                    row=number,
                )
