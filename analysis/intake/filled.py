"""How many rows of a finished table have each fact."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from analysis.schema import VISITS

OF_EVERY_BOOKING = (
    "visit_id",
    "patient_key",
    "site",
    "practitioner",
    "booked_on",
    "slot_start",
    "slot_minutes",
    "attendance",
    "booking_kind",
    "age_band",
)
NEVER_MISSING = ("visit_id", "source_file", "source_row", "minutes_quality")


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

    def __add__(self, other: Filled) -> Filled:
        """Put the counts of two parts of a table together."""
        facts = {column: self.facts.get(column, 0) + count for column, count in other.facts.items()}
        return Filled(self.rows + other.rows, facts)

    def share(self, column: str) -> float:
        """Give the share of rows that have a fact."""
        return round(self.facts[column] / self.rows, 4) if self.rows else 0.0


def of_those_who_came() -> list[str]:
    """List the facts of a visit that only those who came can have."""
    return [column for column in VISITS.names if column not in (*NEVER_MISSING, *OF_EVERY_BOOKING)]
