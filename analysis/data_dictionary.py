"""The data dictionary: every table, column, code and result row, written from the code that makes them.

``python -m analysis.data_dictionary`` writes ``shared/data_dictionary.md``.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from analysis.result_rows import QUANTITIES, Quantity
from analysis.schema import CODE_LABELS, METHODS, TABLES, Column, Table

PLACE = Path(__file__).parents[1] / "shared" / "data_dictionary.md"
KINDS = {
    "text": "text",
    "code": "code",
    "ordered": "code, ordered",
    "number": "number",
    "count": "whole number",
    "yes_no": "yes or no",
    "moment": "date and time of day, local",
    "day": "date",
}
OPENING = """# Data dictionary

Written from `analysis/schema.py` and `analysis/result_rows.py` by `python -m analysis.data_dictionary`; a test keeps it
the same as they are. An empty cell means not recorded, unless the note says otherwise. Files stand in a clinic's
`store/`; attempts, gaps and sessions are made from them when an answer needs them.
"""
RESULTS = """## Result rows

Every figure of a report is a row of `results.json`: `section`, `quantity`, `group` (the keys below), `value`, `low` and
`high` (the ends of its range), `level` (how sure the range is), `unit`, `n` (how many rows it rests on) and `method`.
A share is between 0 and 1. Null is a figure that is not shown or has no range.
"""


def dictionary_text() -> str:
    """Write the whole dictionary.

    Returns
    -------
    str
        Markdown; the same code gives the same text.

    Examples
    --------
    >>> "One row is one ear at one visit." in dictionary_text()
    True
    """
    return "\n".join([OPENING, *map(_table_text, TABLES), RESULTS + "\n" + _quantities_text(QUANTITIES)])


def write_dictionary(place: Path = PLACE) -> None:
    """Write the dictionary to its place.

    Parameters
    ----------
    place : Path, optional
        The file to write.
    """
    place.write_text(dictionary_text(), encoding="utf-8", newline="\n")


def _table_text(table: Table) -> str:
    """Describe one table."""
    head = f"## {table.name}\n\nOne row is {table.one_row}.\n"
    return "\n".join(
        [head, _grid(["column", "what it is", "type", "unit", "values", "note"], map(_cells, table.columns))]
    )


def _cells(column: Column) -> list[str]:
    """Describe one column."""
    labels = METHODS if column.name == "methods" else CODE_LABELS.get(column.name, {})
    codes = METHODS if column.name == "methods" else column.codes
    values = "; ".join(f"`{code}` {labels[code]}" for code in codes)
    return [f"`{column.name}`", column.label, KINDS[column.kind], column.unit, values, column.note]


def _quantities_text(quantities: tuple[Quantity, ...]) -> str:
    """Describe the result rows."""
    cells = (
        [each.section, f"`{each.name}`", ", ".join(f"`{key}`" for key in each.keys), each.unit, each.meaning]
        for each in quantities
    )
    return _grid(["section", "quantity", "group", "unit", "what it means"], cells)


def _grid(heads: list[str], rows: Iterable[list[str]]) -> str:
    """Write a Markdown table; an upright bar in a cell is escaped."""
    lines = [heads, ["---"] * len(heads), *([cell.replace("|", "\\|") for cell in row] for row in rows)]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines) + "\n"


if __name__ == "__main__":
    write_dictionary()
