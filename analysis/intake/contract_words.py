"""Broken rules of the tables in the owner's words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.problems import DataProblem
from analysis.schema import TABLES
from analysis.settings import Settings

OF_THE_PROGRAM = (
    "This is a fault of the program, not of your log: nothing was written and the last good store is as it was. "
    "Pass these lines on to whoever looks after the program; no value that identifies anybody is in them."
)
RULES = (
    ("dtype", "is of another kind than it must be"),
    ("not_nullable", "is empty and must not be"),
    ("isin", "holds a word that is none of its codes"),
    ("in_range", "holds a number outside its range"),
    ("greater_than_or_equal_to", "holds a number below its range"),
    ("str_matches", "holds a text of another form than it must have"),
    ("column_in_schema", "is a column too many"),
    ("column_in_dataframe", "lacks a column"),
    ("column_ordered", "has its columns in another order"),
)
"""Beginnings of the names pandera gives its rules, and what they say."""


@dataclass(frozen=True)
class Fault:
    """One broken rule: in which table and column (empty for a whole row), how many rows, and strange codes."""

    table: str
    column: str
    rule: str
    rows: int
    codes: tuple[str, ...] = ()

    def __str__(self) -> str:
        """Say it in a line."""
        said = next((words for begins, words in RULES if self.rule.startswith(begins)), self.rule)
        labels = {each.name: each.label for table in TABLES if table.name == self.table for each in table.columns}
        what = f'column "{labels[self.column]}" ({self.column}) ' if self.column else ""
        shown = f" ({', '.join(self.codes)})" if self.codes else ""
        return f"table {self.table}: {what}{said}{shown}, {self.rows:,} {'row' if self.rows == 1 else 'rows'}"


def as_problem(faults: Sequence[Fault], settings: Settings) -> DataProblem:
    """Tell all broken rules at once; those that come from the clinic's own words name the setting.

    Parameters
    ----------
    faults : sequence of Fault
        At least one.
    settings : Settings

    Returns
    -------
    DataProblem

    Examples
    --------
    >>> print(as_problem([Fault("ears", "percent_blocked", "in_range(0, 100)", 2)], Settings()).what)
    The tables break their own rules: table ears: column "share of the canal blocked" (percent_blocked) holds a number outside its range, 2 rows.
    """
    own = [(fault, words) for fault in faults if (words := _own_words_behind(fault, settings))]
    told = "; ".join(map(str, faults))
    if len(own) == len(faults):
        fault, words = own[0]
        return DataProblem(
            f"Words of your own give codes that do not exist: {told}.",
            f"Look at {', '.join(words)} there; the last good store is as it was.",
            setting=f"words.{fault.column}",
        )
    return DataProblem(f"The tables break their own rules: {told}.", OF_THE_PROGRAM)


def _own_words_behind(fault: Fault, settings: Settings) -> list[str]:
    """List the clinic's own words that give a code which a column must not hold."""
    words = settings.words.get(fault.column, {})
    return sorted(f'"{word}"' for word, code in words.items() if code in fault.codes)
