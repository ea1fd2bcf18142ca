"""An answer's table with plain labels and numbers as people say them."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd
from pandas.api import types

from analysis import schema
from analysis.present import words

NOT_SHOWN, BLANK = "not shown", "\N{EN DASH}"
SHARE_NAME = re.compile(r"(^|_)(share|shares|rate|uptake|probability|coverage)(_|$)")
WORDS, COUNT, SHARE, FIGURE = "words", "count", "share", "figure"
SHORT_LETTERS, LONG_LETTERS = 24, 60
UNIT_COLUMNS = ("value", "low", "high")
SHARE_UNITS = ("share", "share of one")


@dataclass(frozen=True, slots=True)
class SpokenColumn:
    """One column as it is shown: its heading, its cells, and what they are.

    ``kind`` is ``words``, or one of the numbers: ``count``, ``share``, ``figure``.
    """

    heading: str
    cells: tuple[str, ...]
    kind: str

    @property
    def is_number(self) -> bool:
        """Whether the cells are numbers, set right."""
        return self.kind != WORDS

    @property
    def is_short(self) -> bool:
        """Whether its cells should each stay on one line."""
        return self.is_number or self._longest <= SHORT_LETTERS

    @property
    def is_long(self) -> bool:
        """Whether its cells hold whole sentences."""
        return not self.is_number and self._longest > LONG_LETTERS

    @property
    def _longest(self) -> int:
        """Letters of the longest cell."""
        return max((len(cell) for cell in self.cells), default=0)


def spoken_columns(table: pd.DataFrame) -> list[SpokenColumn]:
    """Put a table into words, column by column.

    Parameters
    ----------
    table : pandas.DataFrame
        Machine column names and codes, as an ``Answer`` holds it. A column
        named for a share (``success_share``, ``missed_rate``) is shown as a
        percentage; one named for minutes, days or months with the decimals
        its size bears. Where a text column ``unit`` says ``share`` in a row,
        ``value``, ``low`` and ``high`` of that row are percentages.

    Returns
    -------
    list of SpokenColumn
        In the table's order. A missing count reads "not shown", and so does
        the first other figure missing in a row; any other blank is an en dash.

    Raises
    ------
    KeyError
        If a column has no plain label; ``answer_labels`` is the place for it.

    Examples
    --------
    >>> table = pd.DataFrame({"grade": ["clear", "fully_occluding"], "unit": "share", "value": [0.912, None]})
    >>> for column in spoken_columns(table):
    ...     print(column.heading, column.cells)
    occlusion grade ('clear', 'fully occluding')
    figure ('91%', 'not shown')
    """
    shares = _share_rows(table)
    columns = [_spoken(str(name), table[name], shares) for name in table.columns if name != "unit" or not shares.all()]
    return _with_missing_told(columns, table)


def _with_missing_told(columns: list[SpokenColumn], table: pd.DataFrame) -> list[SpokenColumn]:
    """Say of counts, and of a row's first other figure, that they are not shown; leave the rest a dash."""
    told = [False] * len(table)
    made = []
    for column in columns:
        cells = []
        for row, cell in enumerate(column.cells):
            tells = cell == BLANK and (column.kind == COUNT or (column.kind == FIGURE and not told[row]))
            cells.append(NOT_SHOWN if tells else cell)
            told[row] = told[row] or tells
        made.append(SpokenColumn(column.heading, tuple(cells), column.kind))
    return made


def _share_rows(table: pd.DataFrame) -> pd.Series:
    """Mark the rows whose unit is a share of one."""
    if "unit" not in table:
        return pd.Series(data=False, index=table.index)
    return table["unit"].isin(SHARE_UNITS)


def _spoken(name: str, values: pd.Series, shares: pd.Series) -> SpokenColumn:
    """Put one column into words."""
    kind = _kind(name, values)
    if kind != WORDS:
        cells = _numbers(name, values, shares)
    elif types.is_datetime64_any_dtype(values):
        cells = ["" if pd.isna(each) else words.day(each) for each in values]
    elif types.is_bool_dtype(values):
        cells = ["" if pd.isna(each) else ("yes" if each else "no") for each in values]
    else:
        cells = ["" if pd.isna(each) else words.code_label(_codes_of(name), str(each)) for each in values]
    return SpokenColumn(words.label(name), tuple(cell or BLANK for cell in cells), kind)


def _kind(name: str, values: pd.Series) -> str:
    """Tell words from counts, shares and other figures."""
    if not types.is_numeric_dtype(values) or types.is_bool_dtype(values):
        return WORDS
    if SHARE_NAME.search(name):
        return SHARE
    return COUNT if types.is_integer_dtype(values) else FIGURE


def _codes_of(name: str) -> str:
    """Find the column whose codes a column such as ``left_grade`` holds."""
    known = [code for code in schema.CODE_LABELS if name == code or name.endswith(f"_{code}")]
    return max(known, key=len, default=name)


def _numbers(name: str, values: pd.Series, shares: pd.Series) -> list[str]:
    """Put a column of numbers into words, with one number of decimals for the column."""
    by_unit = shares if name in UNIT_COLUMNS else pd.Series(data=False, index=values.index)
    plain = pd.to_numeric(values[~by_unit], errors="raise").astype("float64")
    decimals = 0 if types.is_integer_dtype(values) else _decimals(plain)
    all_shares = SHARE_NAME.search(name) is not None
    cells = []
    for value, is_share in zip(values, by_unit, strict=True):
        if pd.isna(value):
            cells.append("")
        elif all_shares or is_share:
            cells.append(words.percent(float(value)))
        else:
            cells.append(words.number(float(value), decimals))
    return cells


def _decimals(values: pd.Series) -> int:
    """Choose the decimals a column bears: fewer for larger numbers, none for whole ones."""
    known = values.dropna().abs()
    if known.empty or (known == known.round()).all():
        return 0
    largest = known.max()
    return 0 if largest >= 200 else 1 if largest >= 2 else 2


def table_text(table: pd.DataFrame) -> str:
    """Lay a table out in plain text, words left and numbers right.

    Examples
    --------
    >>> print(table_text(pd.DataFrame({"ear": ["left", "right"], "visits": [12, 1030]})))
    ear        visits
    left ear       12
    right ear   1,030
    """
    laid = []
    for column in spoken_columns(table):
        lines = [column.heading, *column.cells]
        width = max(len(line) for line in lines)
        laid.append([line.rjust(width) if column.is_number else line.ljust(width) for line in lines])
    return "\n".join("  ".join(row).rstrip() for row in zip(*laid, strict=True))
