"""Rows that tell of the same visit and do not agree: counted by column, and shown so that they can be looked up."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import narwhals as nw
import polars as pl

from analysis.intake.exports import Export
from analysis.intake.lookups import Frame
from analysis.intake.row_columns import SIDES, VISIT_FACTS, facts_told, sided
from analysis.intake.rules import REASONS
from analysis.intake.understanding import coded_as
from analysis.problems import DataProblem

RULES = {
    "exact_duplicate": "Of rows equal in every cell the first is kept.",
    "same_visit_again": "Of rows that tell of the same visit (or the same ear of it) the fuller is kept; "
    "of equally full ones that of the export whose log ends later, then the lower row.",
    "same_visit_other_system": "Of two systems' rows of one visit those of the system that tells more of it are kept; "
    "of equals that whose log ends later.",
    "several_rows": "A visit told in several rows has what the fullest of them says; of equally full ones what the upper says.",
}
"""What decides which row is kept, by the reason for setting the other aside, and what counts where all are kept."""
SEVERAL_ROWS = "several_rows"
DIFFERENT_ROWS = ("same_visit_again", "same_visit_other_system")
"""Reasons of rows that tell of a visit otherwise than the row kept."""
NAMED_BY = ("source_file", "source_row")


@dataclass(frozen=True, slots=True)
class Conflict:
    """How often a column differs between rows of one visit, and where for the first time.

    ``aside`` and ``kept`` are the file and row set aside and those kept in their place; where
    both rows are kept, ``kept`` is the one whose word counts. ``place`` orders the rows of all files.
    """

    column: str
    count: int
    reason: str
    aside: tuple[str, int]
    kept: tuple[str, int]
    place: float = 0.0


def conflicts_found(kept: Frame, aside: Frame, table: Callable[[Any], pl.DataFrame]) -> list[Conflict]:
    """Find the facts in which a row set aside says otherwise than the row kept in its place.

    Parameters
    ----------
    kept : narwhals frame
        Rows kept, with ``place``.
    aside : narwhals frame
        Rows set aside, with ``kept_place`` where that is for another that tells of the same visit.
    table : callable
        Brings a frame into memory.

    Returns
    -------
    list of Conflict
        One a column. An empty cell contradicts nothing.
    """
    facts: tuple[str, ...] = facts_told(kept.collect_schema().names())
    compared = (*VISIT_FACTS, *sided(facts))
    pairs = _pairs(kept, aside, facts, compared)
    differ = {column: _differs(column) for column in compared}
    counted = table(
        pairs.select(
            *(nw.when(test).then(nw.lit(1)).otherwise(nw.lit(0)).sum().alias(column) for column, test in differ.items())
        )
    )
    counts = {column: int(count or 0) for column, count in counted.row(0, named=True).items()}
    return [_first(pairs, column, count, differ[column], table) for column, count in counts.items() if count]


def conflicts_of_several_rows(
    kept: Frame, facts: Sequence[str], table: Callable[[Any], pl.DataFrame]
) -> list[Conflict]:
    """Find the facts of a visit of which its rows, one an ear or one a pass, say different things though all are kept.

    Parameters
    ----------
    kept : narwhals frame
        Rows kept, with ``visit_key``, ``visit_cells`` and ``alone``.
    facts : sequence of str
        Facts of a visit that rows of ears or passes may fill. Times and minutes are none: each ear may have its own.
    table : callable
        Brings a frame into memory.

    Returns
    -------
    list of Conflict
        One a fact. An empty cell contradicts nothing.
    """
    col = nw.col
    rows = kept.filter(~col("alone")).select("visit_key", "place", "visit_cells", *NAMED_BY, *facts)
    ends = [getattr(col(fact), end)().alias(f"{fact}__{end}") for fact in facts for end in ("min", "max")]
    visits = rows.group_by("visit_key").agg(col("place").min(), *ends)
    differ = {fact: ~col(f"{fact}__min").is_null() & (col(f"{fact}__min") != col(f"{fact}__max")) for fact in facts}
    flags = [nw.when(test).then(nw.lit(1)).otherwise(nw.lit(0)).alias(fact) for fact, test in differ.items()]
    visits = visits.select("visit_key", "place", *flags).filter(
        nw.any_horizontal(*(col(fact) > 0 for fact in facts), ignore_nulls=True)
    )
    told = table(visits).sort("place")
    return [
        _of_several_rows(rows, fact, told.filter(pl.col(fact) > 0)["visit_key"], table)
        for fact in facts
        if told[fact].sum()
    ]


def _of_several_rows(rows: Frame, fact: str, visits: pl.Series, table: Callable[[Any], pl.DataFrame]) -> Conflict:
    """Show two rows of the first visit whose rows differ."""
    filled = table(rows.filter((nw.col("visit_key") == visits[0]) & ~nw.col(fact).is_null()))
    counts = filled.sort("visit_cells", "place", descending=[True, False])
    other = counts.filter(pl.col(fact) != pl.lit(counts[fact][0])).sort("place")
    (kept_file, kept_row), (file, row) = (each.select(NAMED_BY).row(0) for each in (counts, other))
    return Conflict(fact, len(visits), SEVERAL_ROWS, (file, int(row)), (kept_file, int(kept_row)), other["place"][0])


def together(found: Iterable[Conflict]) -> list[Conflict]:
    """Put what was found in stretches of the log together, the commonest first.

    Examples
    --------
    >>> one = Conflict("grade", 2, "same_visit_again", ("a.csv", 3), ("a.csv", 2))
    >>> [(each.count, each.aside) for each in together([one, replace(one, count=5, aside=("b.csv", 9))])]
    [(7, ('a.csv', 3))]
    """
    made: dict[tuple[str, bool], Conflict] = {}
    for each in found:
        name = (each.column, each.reason == SEVERAL_ROWS)
        before = made.get(name)
        first = min(filter(None, (before, each)), key=lambda one: one.place)
        made[name] = replace(first, count=(before.count if before else 0) + each.count)
    return sorted(made.values(), key=lambda each: (-each.count, each.column, each.reason))


def _pairs(kept: Frame, aside: Frame, facts: Sequence[str], compared: Sequence[str]) -> Any:
    """Put the row kept beside each row set aside for it."""
    col = nw.col
    rows = aside.filter(col("reason").is_in(DIFFERENT_ROWS)).with_columns(*_by_ear(facts))
    mine = rows.select("reason", "kept_place", "place", *NAMED_BY, *compared)
    others = kept.with_columns(*_by_ear(facts)).select("place", *NAMED_BY, *compared)
    others = others.rename({name: f"{name}__kept" for name in ("place", *NAMED_BY, *compared)})
    return mine.with_columns(col("kept_place").cast(nw.Int64)).join(
        others.with_columns(col("place__kept").cast(nw.Int64)),
        left_on="kept_place",
        right_on="place__kept",
        how="inner",
    )


def _by_ear(facts: Sequence[str]) -> list[nw.Expr]:
    """Put what a row of one ear says where a row of both ears says it."""
    col = nw.col
    ear = nw.coalesce(col("ear"), nw.lit(""))
    sided = [
        nw.coalesce(col(f"{fact}_{side}"), nw.when((ear == side) | (ear == "both")).then(col(fact))).alias(
            f"{fact}_{side}"
        )
        for fact in facts
        for side in SIDES
    ]
    return [*sided, *(nw.when(ear == "").then(col(fact)).alias(fact) for fact in facts)]


def _differs(column: str) -> nw.Expr:
    """Tell whether both rows are filled and differ."""
    mine, other = nw.col(column), nw.col(f"{column}__kept")
    return ~mine.is_null() & ~other.is_null() & (mine != other)


def _first(pairs: Any, column: str, count: int, test: nw.Expr, table: Callable[[Any], pl.DataFrame]) -> Conflict:
    """Find the first pair of rows that differ in a column."""
    names = ("place", "reason", *NAMED_BY, *(f"{each}__kept" for each in NAMED_BY))
    told = table(pairs.filter(test).select(*names)).sort("place").row(0, named=True)
    return Conflict(
        column,
        count,
        told["reason"],
        (told["source_file"], int(told["source_row"])),
        (told["source_file__kept"], int(told["source_row__kept"])),
        float(told["place"]),
    )


def rows_of_one_visit(counts: Mapping[str, int]) -> dict[str, Any]:
    """Count the rows set aside because another tells of the same visit, with the rule that chose between them.

    Parameters
    ----------
    counts : mapping
        Reason to the rows set aside for it.

    Returns
    -------
    dict
        Reason in words to ``rows`` and ``rule``.
    """
    return {
        REASONS[reason].why: {"rows": counts[reason], "rule": rule}
        for reason, rule in RULES.items()
        if counts.get(reason)
    }


def conflict_messages(exports: list[Export], found: list[Conflict]) -> list[tuple[int, str]]:
    """Write one message for each column in which rows of one visit differ.

    Parameters
    ----------
    exports : list of Export
    found : list of Conflict

    Returns
    -------
    list of (int, str)
        How often, and the message; no value is shown.
    """
    by_file = {export.table.file: export for export in exports}
    told = []
    for each in found:
        (file, row), (kept_file, kept_row) = each.aside, each.kept
        export = by_file[file]
        heading = export.heading_of(each.column)
        if heading == each.column:
            heading = export.heading_of(coded_as(each.column))
        times = f"{each.count:,} times" if each.count > 1 else "once"
        which = "whose word counts" if each.reason == SEVERAL_ROWS else "which was kept"
        problem = DataProblem(
            f"Two rows of the same visit differ here ({times}); the first time it is this row and {kept_file} row {kept_row}, {which}.",
            f"{RULES[each.reason]} Correct the export where that is wrong.",
            file=file,
            row=row,
            column=heading,
        )
        told.append((each.count, str(problem)))
    return told
