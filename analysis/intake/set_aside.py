"""The table of rows set aside: why, and what to do; nothing shown identifies a patient."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from analysis.intake.duplicates import ROWS_A_FILE
from analysis.intake.exports import Export
from analysis.intake.privacy import HIDDEN
from analysis.intake.rules import REASONS
from analysis.intake.strange_words import safe_word
from analysis.intake.tally import Tally
from analysis.intake.typed_tables import typed
from analysis.schema import SET_ASIDE

MOST_PLACES = 5
"""Rows of one reason that are named on the screen; the table names all."""
ASIDE_COLUMNS = ("source_file", "source_row", "file_order", "reason", "kept_place", "date_text")
"""What is needed to tell of a row set aside."""


def aside_table(exports: list[Export], tally: Tally) -> pl.DataFrame:
    """Say of every row left out why, and what to do.

    Parameters
    ----------
    exports : list of Export
    tally : Tally

    Returns
    -------
    polars.DataFrame
        ``schema.SET_ASIDE``, by file and row.
    """
    by_file = {export.table.file: export for export in exports}
    names: frozenset[str] = frozenset().union(*(export.names for export in exports))
    aside = tally.aside
    rows = aside.select(ASIDE_COLUMNS).iter_rows(named=True) if not aside.is_empty() else ()
    told = [_aside_row(by_file[row["source_file"]], row, tally.order, names) for row in rows]
    frame = pl.DataFrame(
        told, schema=dict.fromkeys(SET_ASIDE.names, pl.String) | {"source_row": pl.Int64}, orient="row"
    )
    return typed(SET_ASIDE, frame.sort("source_file", "source_row"))


def _aside_row(export: Export, row: dict[str, Any], files: dict[int, str], names: frozenset[str]) -> dict[str, Any]:
    """Tell of one row left out."""
    reason = REASONS[row["reason"]]
    column, value = None, None
    if row["reason"].endswith("_date"):
        column = next(
            (
                export.heading_of(each)
                for each in ("date", "slot_start", "started_at")
                if each in export.headings.columns
            ),
            None,
        )
        value = safe_word(row["date_text"], names) if row["date_text"] is not None else None
    elif row["reason"] == "test_patient":
        column, value = "patient", HIDDEN
    elif row["kept_place"] is not None:
        place = int(row["kept_place"])
        value = f"kept: {files[place // ROWS_A_FILE]} row {place % ROWS_A_FILE}"
    return {
        "source_file": row["source_file"], "source_row": row["source_row"], "reason": reason.why, "column": column,
        "value": value, "remedy": reason.remedy,
    }  # fmt: skip


def reasons_told(aside: pl.DataFrame) -> list[str]:
    """Say for each reason how many rows were set aside for it, where the first of them stand, and what to do.

    Parameters
    ----------
    aside : polars.DataFrame
        ``schema.SET_ASIDE``, from ``aside_table``.

    Returns
    -------
    list of str
        One line a reason, the commonest first; empty where no row was set aside.

    Examples
    --------
    >>> rows = {"source_file": ["a.csv", "a.csv", "b.csv"], "source_row": [4, 9, 2],
    ...         "reason": ["no date"] * 3, "remedy": ["Fill it in."] * 3}
    >>> reasons_told(pl.DataFrame(rows))
    ['no date, 3 rows (a.csv rows 4, 9; b.csv row 2). What to do: fill it in.']
    """
    found = aside.group_by("reason", "remedy", maintain_order=True).agg("source_file", "source_row")
    told = [
        (
            len(rows),
            f"{why}, {len(rows):,} {'row' if len(rows) == 1 else 'rows'} ({_places(files, rows)}). What to do: {_within(remedy)}",
        )
        for why, remedy, files, rows in found.iter_rows()
    ]
    return [line for _, line in sorted(told, key=lambda each: (-each[0], each[1]))]


def _within(sentence: str) -> str:
    """Give a sentence as the part of another behind a colon."""
    return sentence[:1].lower() + sentence[1:]


def _places(files: Sequence[str], rows: Sequence[int]) -> str:
    """Name the first few rows, file by file."""
    by_file: dict[str, list[str]] = {}
    for file, row in list(zip(files, rows, strict=True))[:MOST_PLACES]:
        by_file.setdefault(file, []).append(str(row))
    named = "; ".join(
        f"{file} {'row' if len(each) == 1 else 'rows'} {', '.join(each)}" for file, each in by_file.items()
    )
    return f"{named} and more" if len(rows) > MOST_PLACES else named
