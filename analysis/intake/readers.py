"""Any export as a table of text: CSV of any dialect, XLSX, Parquet.

Files are only ever opened for reading. What a file is, is told by its first
bytes, because a name's ending is often wrong.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from analysis.intake.cells import cell_text
from analysis.intake.csv_text import read_csv_text
from analysis.intake.file_checks import checked_bytes
from analysis.intake.limits import LARGEST_UNPACKED_BYTES, MOST_CELLS, MOST_COLUMNS
from analysis.intake.read_table import ReadTable, Recognise, table_of, tables_of
from analysis.intake.workbooks import read_workbook
from analysis.problems import DataProblem


def read_export(path: Path, recognise: Recognise, *, sheet: str = "") -> ReadTable:
    """Read the first table of one export as text; see ``read_tables``."""
    return read_tables(path, recognise, sheet=sheet)[0]


def read_tables(path: Path, recognise: Recognise, *, sheet: str = "") -> list[ReadTable]:
    """Read one export as tables of text.

    Parameters
    ----------
    path : Path
        CSV, XLSX or Parquet.
    recognise : callable
        Tells headings from other rows, so that titles above them do no harm.
    sheet : str, optional
        The sheet of a workbook to read; empty reads those that are one log.

    Returns
    -------
    list of ReadTable
        Several where sheets of a workbook belong together, or the headings change on the way down.

    Raises
    ------
    DataProblem
        If the file is empty, too large, unreadable or no table.
    """
    data = checked_bytes(path)
    if data.startswith(b"PK\x03\x04") or data.startswith(b"\xd0\xcf\x11\xe0"):
        return read_workbook(path.name, data, recognise, sheet)
    if data.startswith(b"PAR1"):
        return [_read_parquet(path.name, data)]
    if path.suffix.lower() in (".xlsx", ".parquet"):
        raise DataProblem(
            f"This is no {path.suffix.lower()[1:]} file, whatever its name says.", "Export it again.", file=path.name
        )
    grid, facts = read_csv_text(path.name, data, lambda row: recognise(row[:MOST_COLUMNS])[0])
    return tables_of(path.name, grid, facts, recognise)


def _read_parquet(file: str, data: bytes) -> ReadTable:
    """Read a Parquet file as text."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        opened = pq.ParquetFile(pa.BufferReader(data))
        _refuse_large(file, opened.metadata)
        table = opened.read()
        columns = [[cell_text(value) for value in column.to_pylist()] for column in table.columns]
    except (pa.ArrowException, OSError, ValueError, OverflowError):
        raise DataProblem("The Parquet file cannot be read.", "Export it again.", file=file) from None
    grid = [list(map(str, table.column_names)), *(list(row) for row in zip(*columns, strict=True))]
    return table_of(file, grid, {"kind": "parquet"}, lambda row: (2 if row is grid[0] else 0, True))


def _refuse_large(file: str, facts: Any) -> None:
    """Refuse a Parquet file that would unpack to more than the limits."""
    groups = [facts.row_group(place) for place in range(facts.num_row_groups)]
    if (
        facts.num_columns > MOST_COLUMNS
        or facts.num_columns * facts.num_rows > MOST_CELLS
        or sum(group.total_byte_size for group in groups) > LARGEST_UNPACKED_BYTES
    ):
        raise DataProblem(
            "The Parquet file holds far more than a log does.", "Export the log itself, a year a file.", file=file
        )
