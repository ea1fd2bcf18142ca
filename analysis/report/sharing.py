"""The last look at an answer before it leaves the clinic: small counts, and what would give them away, are taken out."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.present.answer import Answer, Basis, ResultRow
from analysis.stats.small_counts import hidden_counts

COUNTED = "ears|visits|patients|people|bookings|rows|attempts|cases|events|starts|recalls"
COUNT_COLUMN = re.compile(rf"(^|_)({COUNTED})(_|$)")
OTHER_COUNTS = ("n", "out_of", "this_quarter", "last_quarter", "year_before")
COUNT_UNITS = ("count", "rows", "visits", "bookings", "ears", "patients")
OF_MONTHS = re.compile(r"^(backtest_|months_tried$|months_within$|month_miss|signals$|shares_)")
"""Quantities that count months or shares, not people."""
RULES = ("catch_up_every", "number_needed_to_treat")
"""Quantities in people that are rules or ratios, not counts."""
SHARES = {"share": 1.0, "per 1,000": 1000.0}
OF_RECORD = re.compile(r"recorded|quality|coverage|inside|level|measure|fact|limits|usual")
"""In the name of a quantity or column: what is left of the whole is a blank, a late start or a month, and no patient."""
TOLD = re.compile(
    rf"(?<!at least )(?<!needs )(?<![\d.,])\b(only )?(\d+)(?= of them\b| of [\d,]+ (?:\w+ ){{0,2}}(?:{COUNTED})\b"
    rf"|(?: (?!of )\w+){{0,3}} (?:{COUNTED})\b)",
    re.IGNORECASE,
)
"""A number of people in a sentence."""


def safe_to_share(answer: Answer, hide_below: int) -> Answer:
    """Take small counts out of an answer, wherever they stand.

    Parameters
    ----------
    answer : Answer
    hide_below : int
        Counts of 1 up to one less than this are hidden.

    Returns
    -------
    Answer
        In its table, a hidden count is missing, and with it a share that
        would tell it; where only one of a column would be hidden a second is
        too, for the column may add up to a number known from elsewhere. What
        was left out is told as "fewer than" and "some". A result row without
        its count, or without its figure, stays as a row.

    Notes
    -----
    Answers hide their own small counts first, with all that they know of how
    counts add up. This catches what an answer has not thought of. How many rows
    lack an entry, or how many visits began late, is a fact of the log or of the
    day and gives no patient away: said as "fewer than", it may still be worked
    out from two numbers of rows.

    Examples
    --------
    >>> table = pd.DataFrame({"reason": ["no date", "test patient", "repeat"], "rows": [3, 7, 40]})
    >>> safe_to_share(Answer("Why?", "For three reasons.", table=table), 5).table["rows"].tolist()
    [<NA>, <NA>, 40]
    """
    if not answer.answered:
        return replace(answer, headline=_without_small(answer.headline, hide_below))
    return replace(
        answer,
        checks=tuple(replace(check, sentence=_without_small(check.sentence, hide_below)) for check in answer.checks),
        table=None if answer.table is None else _table(answer.table, hide_below),
        basis=None if answer.basis is None else _basis(answer.basis, hide_below),
        rows=tuple(_row(row, hide_below) for row in answer.rows),
    )


def _without_small(sentence: str, hide_below: int) -> str:
    """Say fewer than so many, where a sentence tells a small number of people."""

    def said(found: re.Match[str]) -> str:
        if not 0 < int(found[2]) < hide_below:
            return found[0]
        return f"{'Fewer' if found[0][0] == 'O' else 'fewer'} than {hide_below}"

    return TOLD.sub(said, sentence)


def _table(table: pd.DataFrame, hide_below: int) -> pd.DataFrame:
    """Hide small counts of a table, and the shares that would tell them."""
    counts = {name: _counts(table[name]) for name in table if _holds_counts(str(name), table[name])}
    made = table.copy()
    for name, values in counts.items():
        marks = _hidden(values, hide_below)
        if marks.any():
            made[name] = table[name].astype("Int64" if pd.api.types.is_integer_dtype(table[name]) else "float64")
            made.loc[marks, name] = pd.NA
    for name in table.columns.difference(list(counts)):
        if pd.api.types.is_float_dtype(table[name]):
            shares = table[name].to_numpy(dtype=float)
            rest = not any(OF_RECORD.search(str(each)) for each in (name, *table.columns))
            telling = np.any(
                [_tells_of(shares, of.to_numpy(), hide_below, rest=rest) for of in counts.values()], axis=0
            )
            made.loc[telling & (table[name] <= 1).to_numpy(), name] = np.nan
    return made


def _holds_counts(name: str, values: pd.Series) -> bool:
    """Whether a column counts people, ears, visits or rows."""
    if not pd.api.types.is_numeric_dtype(values) or pd.api.types.is_bool_dtype(values):
        return False
    known = values.dropna().astype("float64")
    return bool(name in OTHER_COUNTS or COUNT_COLUMN.search(name)) and bool((known == known.round()).all())


def _counts(values: pd.Series) -> pd.Series:
    """Give counts as numbers, missing ones as missing."""
    return values.astype("float64")


def _hidden(values: pd.Series, hide_below: int) -> np.ndarray:
    """Mark the small counts of a column, and a second where one alone would follow from the column's total."""
    known = values.fillna(0).clip(lower=0).astype(int).tolist()
    small = np.array([0 < each < hide_below for each in known], dtype=bool)
    if not small.any() or values.isna().any():
        return small
    total = len(known)
    return hidden_counts([*known, sum(known)], [(total, range(total))], hide_below, told=[total])[:-1]


def _tells_of(shares: np.ndarray | float, of: np.ndarray | float, hide_below: int, *, rest: bool) -> np.ndarray:
    """Mark where a share tells a small count, or ``rest``: one of what is left of the whole."""
    return _tells(shares * of, hide_below) | (rest & _tells((1 - shares) * of, hide_below))


def _tells(products: np.ndarray | float, hide_below: int) -> np.ndarray:
    """Mark where a share times a count is a small whole number."""
    whole = np.round(products)
    return (np.abs(products - whole) < 1e-6) & (whole > 0) & (whole < hide_below)


def _basis(basis: Basis, hide_below: int) -> Basis:
    """Say small numbers left out as fewer than so many; a second one as some, where one alone would follow from a total."""
    counts = {why: many for why, many in basis.left_out.items() if many}
    total = len(counts)
    marks = hidden_counts([*counts.values(), sum(counts.values())], [(total, range(total))], hide_below, told=[total])
    said = {
        why: f"fewer than {hide_below}" if many < hide_below else "some"
        for (why, many), mark in zip(counts.items(), marks, strict=False)
        if mark
    }
    return replace(basis, said_instead=said)


def _row(row: ResultRow, hide_below: int) -> ResultRow:
    """Keep a result row without a small count, or a figure that would tell one."""
    if OF_MONTHS.search(row.quantity) or row.quantity in RULES:
        return row
    n = None if row.n is not None and 0 < row.n < hide_below else row.n
    if row.value is None:
        return replace(row, n=n)
    counted = row.unit in COUNT_UNITS and row.low is None
    if counted and _tells(row.value, hide_below):
        return replace(row, n=n, value=None, low=None, high=None)
    of_record = OF_RECORD.search(" ".join((row.section, row.quantity, *map(str, row.group))))
    share = row.value / SHARES[row.unit] if row.unit in SHARES else 0.0
    if share and _tells_of(share, row.n or 0, hide_below, rest=not of_record):
        return replace(row, n=n, value=None, low=None, high=None)
    return replace(row, n=n)
