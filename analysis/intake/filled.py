"""How many rows of a finished table have each fact."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl


@dataclass(frozen=True)
class Filled:
    """How many rows of a table have each fact.

    Attributes
    ----------
    rows : int
    facts : dict
        Column to the rows in which something stands.
    """

    rows: int
    facts: dict[str, int]

    @classmethod
    def of(cls, table: pl.LazyFrame) -> Filled:
        """Count a table."""
        counts = (
            table.select(pl.len().alias("rows in all"), pl.all().count()).collect(engine="streaming").row(0, named=True)
        )
        return cls(counts.pop("rows in all"), counts)

    def share(self, column: str) -> float:
        """Give the share of rows that have a fact."""
        return round(self.facts[column] / self.rows, 4) if self.rows else 0.0
