"""Any export as a table of text: CSV of any dialect, XLSX, Parquet.

Files are only ever opened for reading. What a file is, is told by its first
bytes, because a name's ending is often wrong.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import math
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from analysis.intake.csv_text import read_csv_text
from analysis.problems import DataProblem

LARGEST_BYTES = 2 * 1024**3
LARGEST_UNPACKED_BYTES = 4 * 1024**3
MOST_COLUMNS = 2000
LOOK_FOR_HEADINGS_IN = 15
"""Rows at the top among which the headings are looked for; titles may stand above them."""

Recognise = Callable[[Sequence[str]], tuple[int, bool]]
"""Says of a row of texts how many are known headings, and whether one of them is a date."""


@dataclass(frozen=True)
class ReadTable:
    """One table of text as it stands in a file.

    Attributes
    ----------
    file : str
        The file's name, without the path to it.
    headings : tuple of str
        As they stand; an empty one is called after its place.
    rows : list of list of str
        The cells, one list a row, as long as the headings; empty text where empty.
    source_rows : list of int
        The row's number as a spreadsheet counts.
    too_long : frozenset of int
        Numbers of rows with more cells than headings.
    facts : dict
        Kind, encoding, delimiter, sheet, sheets, heading row, blank rows.
    warnings : list of str
        What the owner should know although the table could be read.
    """

    file: str
    headings: tuple[str, ...]
    rows: list[list[str]]
    source_rows: list[int]
    too_long: frozenset[int]
    facts: dict[str, Any]
    warnings: list[str] = field(default_factory=list)

    def contents(self) -> list[str]:
        """Give a short mark of each row's whole content, the same for rows that are equal in every cell."""
        signature = "\x1f".join(self.headings)
        return [
            hashlib.blake2b("\x1f".join([signature, *row]).encode("utf-8", "surrogatepass"), digest_size=12).hexdigest()
            for row in self.rows
        ]


def read_export(path: Path, recognise: Recognise, *, sheet: str = "") -> ReadTable:
    """Read one export as a table of text.

    Parameters
    ----------
    path : Path
        CSV, XLSX or Parquet.
    recognise : callable
        Tells headings from other rows, so that titles above them do no harm.
    sheet : str, optional
        The sheet of a workbook to read; empty reads the first that is a log.

    Returns
    -------
    ReadTable

    Raises
    ------
    DataProblem
        If the file is empty, too large, unreadable or no table.
    """
    if not path.is_file():
        raise DataProblem("There is no such file.", "Check the name and the folder.", file=path.name)
    size = path.stat().st_size
    if size == 0:
        raise DataProblem("The file is empty.", "Export it again, or take it out of the folder.", file=path.name)
    if size > LARGEST_BYTES:
        raise DataProblem("The file is larger than 2 GB.", "Export it in parts, a year each.", file=path.name)
    data = path.read_bytes()
    if data.startswith(b"PK\x03\x04") or data.startswith(b"\xd0\xcf\x11\xe0"):
        return _read_workbook(path.name, data, recognise, sheet)
    if data.startswith(b"PAR1"):
        return _read_parquet(path.name, data)
    if path.suffix.lower() in (".xlsx", ".parquet"):
        raise DataProblem(
            f"This is no {path.suffix.lower()[1:]} file, whatever its name says.", "Export it again.", file=path.name
        )
    grid, facts = read_csv_text(path.name, data, lambda row: recognise(row)[0])
    return _table(path.name, grid, facts, recognise)


def _table(
    file: str, grid: list[list[str]], facts: dict[str, Any], recognise: Recognise, warnings: Sequence[str] = ()
) -> ReadTable:
    """Cut a grid of text into headings and rows."""
    start = _heading_row(grid, recognise)
    if start is None:
        raise DataProblem(
            "This is no table.", "Export the log as CSV or XLSX with one row of headings above the rows.", file=file
        )
    width = max((place + 1 for place, cell in enumerate(grid[start]) if cell), default=0)
    if width > MOST_COLUMNS:
        raise DataProblem(f"The table has more than {MOST_COLUMNS} columns.", "Export only the log itself.", file=file)
    above = grid[start - 1] if start else []
    headings = _named(grid[start][:width], above)
    rows, numbers, long, blank = [], [], set(), 0
    for number, cells in enumerate(grid[start + 1 :], start=start + 2):
        if not any(cells):
            blank += 1
            continue
        if any(cells[width:]):
            long.add(number)
        rows.append((cells[:width] + [""] * width)[:width])
        numbers.append(number)
    facts = facts | {"heading_row": start + 1, "blank_rows": blank, "rows": len(rows)}
    if not rows:
        raise DataProblem(
            "There are headings but no rows.", "Export it again, or take it out of the folder.", file=file
        )
    return ReadTable(file, headings, rows, numbers, frozenset(long), facts, list(warnings))


def _heading_row(grid: list[list[str]], recognise: Recognise) -> int | None:
    """Find the row of headings: the one with most known headings, or else the first with two cells."""
    top = grid[:LOOK_FOR_HEADINGS_IN]
    known = [recognise(row)[0] for row in top]
    if known and max(known) >= 2:
        return known.index(max(known))
    return next((place for place, row in enumerate(top) if sum(map(bool, row)) >= 2), None)


def _named(cells: list[str], above: list[str]) -> tuple[str, ...]:
    """Name the headings: with "left" or "right" from a merged cell above, and empty ones by their place."""
    sides, side = [], ""
    for place in range(len(cells)):
        cell = above[place] if place < len(above) else ""
        side = cell or side
        sides.append(side if _is_side(side) else "")
    named = [f"{side} {cell}".strip() for side, cell in zip(sides, cells, strict=True)]
    return tuple(name or f"(column {place})" for place, name in enumerate(named, start=1))


def _is_side(text: str) -> bool:
    """Tell whether a merged cell above the headings names an ear."""
    return bool(set(text.casefold().split()) & {"left", "right"}) and len(text.split()) <= 3


def cell_text(value: Any) -> str:
    """Write one typed cell as text.

    Parameters
    ----------
    value : object
        What a workbook or a Parquet file holds.

    Returns
    -------
    str
        Dates as 2026-03-01, times as 09:05:00, whole numbers without a point.

    Examples
    --------
    >>> [cell_text(each) for each in (25.0, True, None, dt.time(9, 4, 59, 999999), dt.date(2026, 3, 1))]
    ['25', 'TRUE', '', '09:05:00', '2026-03-01']
    """
    if value is None or value == "":
        return ""
    if isinstance(value, str):
        return clean_cell(value)
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, (int, float, Decimal)):
        return _number_text(value)
    if isinstance(value, dt.datetime):
        return f"{_whole_second(value):%Y-%m-%d %H:%M:%S}" if value.year >= 1000 else str(value)
    if isinstance(value, dt.time):
        return f"{_whole_second(dt.datetime.combine(dt.date(2000, 1, 1), value)):%H:%M:%S}"
    if isinstance(value, dt.timedelta):
        seconds = round(value.total_seconds())
        return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    return clean_cell(str(value))


def _number_text(value: float | Decimal) -> str:
    """Write a number, whole ones without a point."""
    as_float = float(value)
    if not math.isfinite(as_float):
        return ""
    if as_float == int(as_float) and abs(as_float) < 1e15:
        return str(int(as_float))
    return f"{as_float:.15g}"


def _whole_second(value: dt.datetime) -> dt.datetime:
    """Round a moment to the second; workbooks store times as shares of a day, a hair off."""
    return (value.replace(tzinfo=None) + dt.timedelta(microseconds=500_000)).replace(microsecond=0)


def clean_cell(text: str) -> str:
    r"""Take space and unprintable marks off both ends of a cell.

    Examples
    --------
    >>> clean_cell("\u00a0 semi occ \x00")
    'semi occ'
    """
    return text.replace("\x00", "").replace("\u00a0", " ").replace("\ufeff", "").strip()


def _read_workbook(file: str, data: bytes, recognise: Recognise, wanted: str) -> ReadTable:
    """Read one sheet of a workbook."""
    from python_calamine import CalamineError, CalamineWorkbook

    _refuse_bomb(file, data)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        names = list(book.sheet_names)
        chosen = _chosen_sheet(file, names, wanted)
        grids = {
            name: [
                [cell_text(cell) for cell in row]
                for row in book.get_sheet_by_name(name).to_python(skip_empty_area=False)
            ]
            for name in ([chosen] if chosen else names)
        }
    except (CalamineError, ValueError, OSError):
        raise DataProblem(
            "The workbook cannot be read; it may be damaged or protected by a password.",
            "Open it, take the password off, and save it again as XLSX.",
            file=file,
        ) from None
    warnings: list[str] = []
    if chosen is None:
        chosen, warnings = _first_log(file, grids, recognise)
    facts = {"kind": "xlsx", "sheet": chosen, "sheets": names}
    return _table(file, grids[chosen], facts, recognise, warnings)


def _refuse_bomb(file: str, data: bytes) -> None:
    """Refuse a workbook that would unpack to more than the limit."""
    if not data.startswith(b"PK"):
        return
    try:
        unpacked = sum(part.file_size for part in zipfile.ZipFile(io.BytesIO(data)).infolist())
    except zipfile.BadZipFile:
        return  # the reader says so in its own words
    if unpacked > LARGEST_UNPACKED_BYTES:
        raise DataProblem("The workbook unpacks to more than 4 GB.", "Export the log as CSV, a year each.", file=file)


def _chosen_sheet(file: str, names: list[str], wanted: str) -> str | None:
    """Give the sheet the settings name; None where they name none."""
    if not wanted:
        return None
    match = {name.casefold().strip(): name for name in names}.get(wanted.casefold().strip())
    if match is None:
        raise DataProblem(
            f'There is no sheet "{wanted}".', f"Its sheets are: {', '.join(names)}. Set sheet in [export].", file=file,
            setting="export.sheet",
        )  # fmt: skip
    return match


def _first_log(file: str, grids: dict[str, list[list[str]]], recognise: Recognise) -> tuple[str, list[str]]:
    """Choose the first sheet that is a log; warn where another one is a log too."""
    logs = [name for name, grid in grids.items() if _is_log(grid, recognise)]
    if not logs:
        tables = [name for name, grid in grids.items() if _heading_row(grid, recognise) is not None]
        if len(tables) == 1:
            return tables[0], []
        raise DataProblem(
            f"None of the sheets ({', '.join(grids)}) is a table with a date and headings that are understood.",
            "Name the sheet in [export] sheet, or its headings in [columns].",
            file=file,
        )
    if len(logs) == 1:
        return logs[0], []
    problem = DataProblem(
        f'Only the sheet "{logs[0]}" was read; {", ".join(logs[1:])} would be a log too.',
        "Save each sheet as a file of its own, or name the one that counts in [export] sheet.",
        file=file,
    )
    return logs[0], [str(problem)]


def _is_log(grid: list[list[str]], recognise: Recognise) -> bool:
    """Tell whether a sheet has headings with a date among them, and a row below."""
    start = _heading_row(grid, recognise)
    if start is None:
        return False
    known, dated = recognise(grid[start])
    return known >= 2 and dated and any(any(row) for row in grid[start + 1 :])


def _read_parquet(file: str, data: bytes) -> ReadTable:
    """Read a Parquet file as text."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        table = pq.read_table(pa.BufferReader(data))
    except (pa.ArrowException, OSError) as error:
        raise DataProblem("The Parquet file cannot be read.", "Export it again.", file=file) from error
    columns = [[cell_text(value) for value in column.to_pylist()] for column in table.columns]
    grid = [list(map(str, table.column_names)), *(list(row) for row in zip(*columns, strict=True))]
    return _table(file, grid, {"kind": "parquet"}, lambda row: (2 if row is grid[0] else 0, True))
