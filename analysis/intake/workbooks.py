"""One sheet of a workbook as a table of text."""

from __future__ import annotations

import io
import struct
import zipfile
from typing import Any

from analysis.intake.cells import cell_text
from analysis.intake.read_table import MOST_COLUMNS, ReadTable, Recognise, heading_row, table_of
from analysis.problems import DataProblem

LARGEST_UNPACKED_BYTES = 4 * 1024**3
MOST_CELLS = 100_000_000


def read_workbook(file: str, data: bytes, recognise: Recognise, wanted: str) -> ReadTable:
    """Read one sheet of a workbook."""
    from python_calamine import CalamineError, CalamineWorkbook

    _refuse_bomb(file, data)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        names = list(book.sheet_names)
        chosen = _chosen_sheet(file, names, wanted)
        grids = {name: _sheet_text(file, book.get_sheet_by_name(name)) for name in ([chosen] if chosen else names)}
    except (CalamineError, ValueError, OSError):
        raise _unreadable(file) from None
    warnings: list[str] = []
    if chosen is None:
        chosen, warnings = _first_log(file, grids, recognise)
    facts = {"kind": "xlsx", "sheet": chosen, "sheets": names}
    return table_of(file, grids[chosen], facts, recognise, warnings)


def _refuse_bomb(file: str, data: bytes) -> None:
    """Refuse a workbook that would unpack to more than the limit."""
    if not data.startswith(b"PK"):
        return
    try:
        unpacked = sum(part.file_size for part in zipfile.ZipFile(io.BytesIO(data)).infolist())
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError, struct.error):
        raise _unreadable(file) from None
    if unpacked > LARGEST_UNPACKED_BYTES:
        raise DataProblem("The workbook unpacks to more than 4 GB.", "Export the log as CSV, a year each.", file=file)


def _unreadable(file: str) -> DataProblem:
    """Say that a workbook cannot be read."""
    return DataProblem(
        "The workbook cannot be read; it may be damaged or protected by a password.",
        "Open it, take the password off, and save it again as XLSX.",
        file=file,
    )


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
        tables = [name for name, grid in grids.items() if heading_row(grid, recognise) is not None]
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
    start = heading_row(grid, recognise)
    if start is None:
        return False
    known, dated = recognise(grid[start])
    return known >= 2 and dated and any(any(row) for row in grid[start + 1 :])


def _sheet_text(file: str, sheet: Any) -> list[list[str]]:
    """Read one sheet as text; a sheet with a stray cell far out is refused before memory is."""
    if sheet.end is None:
        return []
    height, width = sheet.end[0] + 1, sheet.end[1] + 1
    if width > MOST_COLUMNS or height * width > MOST_CELLS:
        raise DataProblem(
            f'The sheet "{sheet.name}" reaches to row {height:,} and column {width:,}.',
            "Delete the empty rows and columns beyond the log, or name another sheet in [export] sheet.",
            file=file,
        )
    return [[cell_text(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)]
