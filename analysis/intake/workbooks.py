"""The sheets of a workbook that are a log, as tables of text."""

from __future__ import annotations

import io
from typing import Any

from analysis.intake.cells import cell_text
from analysis.intake.headers import match_heading
from analysis.intake.limits import MOST_CELLS, MOST_COLUMNS
from analysis.intake.read_table import ReadTable, Recognise, headings_of, tables_of
from analysis.intake.workbook_bombs import refuse_bomb
from analysis.problems import DataProblem

SAME_HEADINGS = 0.8
"""Share of headings two sheets must have in common to be one log."""


def read_workbook(file: str, data: bytes, recognise: Recognise, wanted: str) -> list[ReadTable]:
    """Read the sheet the settings name, or the sheets that are one log.

    Sheets belong together where they have the same headings (a sheet a month), or
    where both hold visit numbers (visits on one, ears on the other). Others that
    would be a log are named in a warning.

    Parameters
    ----------
    file : str
    data : bytes
    recognise : callable
    wanted : str
        Name of the sheet; empty for those that are one log.

    Returns
    -------
    list of ReadTable
        Of several sheets each is called after the file and the sheet.

    Raises
    ------
    DataProblem
        If the workbook cannot be read, or no sheet is a log.
    """
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        if data.startswith(b"PK"):
            refuse_bomb(file, data)
        book = CalamineWorkbook.from_filelike(io.BytesIO(data))
        names = list(book.sheet_names)
        chosen = _chosen_sheet(file, names, wanted)
        grids = {name: _sheet_text(file, book.get_sheet_by_name(name)) for name in ([chosen] if chosen else names)}
    except (CalamineError, ValueError, OSError):
        raise _unreadable(file) from None
    sheets, warnings = ([chosen], []) if chosen else _sheets_of_log(file, grids, recognise)
    left_out = [name for name in names if name not in sheets]
    tables: list[ReadTable] = []
    for sheet in sheets:
        name = f"{file}, sheet {sheet}" if len(sheets) > 1 else file
        facts = {"kind": "xlsx", "sheet": sheet, "sheets": names}
        facts |= {"sheets_not_read": left_out} if left_out else {}
        tables += tables_of(name, grids[sheet], facts, recognise, [] if tables else warnings)
    return tables


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


def _sheets_of_log(file: str, grids: dict[str, list[list[str]]], recognise: Recognise) -> tuple[list[str], list[str]]:
    """Choose the first sheet that is a log and those that belong to it; warn where another one is a log too."""
    logs = [name for name, grid in grids.items() if _is_log(grid, recognise)]
    headed = {name: headings_of(grid, recognise)[1] for name, grid in grids.items()}
    if not logs:
        tables = [name for name, headings in headed.items() if headings]
        if len(tables) == 1:
            return tables, []
        raise DataProblem(
            f"None of the sheets ({', '.join(grids)}) is a table with a date and headings that are understood.",
            "Name the sheet in [export] sheet, or its headings in [columns].",
            file=file,
        )
    first = headed[logs[0]]
    one_log = [
        name
        for name, headings in headed.items()
        if name == logs[0]
        or (name in logs and _alike(headings, first))
        or (_is_filled(grids[name], recognise) and _numbers_visits(headings) and _numbers_visits(first))
    ]
    others = [name for name in logs if name not in one_log]
    if not others:
        return one_log, []
    read = f"the sheet {_quoted(one_log)} was" if len(one_log) == 1 else f"the sheets {_quoted(one_log)} were"
    problem = DataProblem(
        f"Only {read} read; {_quoted(others)} would be a log too, with other headings.",
        "Save each sheet as a file of its own, or name the one that counts in [export] sheet.",
        file=file,
    )
    return one_log, [str(problem)]


def _quoted(names: list[str]) -> str:
    """Name sheets in quotation marks."""
    return ", ".join(f'"{name}"' for name in names)


def _alike(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    """Tell whether two sheets have the same headings, in any order; one in five may differ."""
    mine, others = ({" ".join(text.casefold().split()) for text in headings} for headings in (one, other))
    return len(mine & others) >= SAME_HEADINGS * len(mine | others)


def _numbers_visits(headings: tuple[str, ...]) -> bool:
    """Tell whether a sheet has visit numbers."""
    return any(match_heading(text).column == "visit_id" for text in headings)


def _is_filled(grid: list[list[str]], recognise: Recognise) -> bool:
    """Tell whether a sheet has known headings, and a row below."""
    start, headings = headings_of(grid, recognise)
    return start is not None and recognise(headings)[0] >= 2 and any(any(row) for row in grid[start + 1 :])


def _is_log(grid: list[list[str]], recognise: Recognise) -> bool:
    """Tell whether a sheet has headings with a date among them, and a row below."""
    return _is_filled(grid, recognise) and recognise(headings_of(grid, recognise)[1])[1]


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
    grid = [[cell_text(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)]
    for (top, left), (bottom, right) in sheet.merged_cell_ranges or []:
        _fill(grid, range(top, min(bottom + 1, len(grid))), range(left, min(right + 1, width)))
    return grid


def _fill(grid: list[list[str]], rows: range, columns: range) -> None:
    """Write the value of merged cells into each of them: the workbook itself says that they are one."""
    if not rows or not columns:
        return
    value = grid[rows[0]][columns[0]]
    for row in rows:
        for column in columns:
            grid[row][column] = value
