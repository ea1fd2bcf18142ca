"""Rows that are one pass of an instrument each, joined to one row an ear."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import narwhals as nw

from analysis.intake.lookups import Frame
from analysis.schema import METHOD_JOIN

ORDER = ("__pass", "__at", "__place")
"""What passes are put in order by: their number, else their start, else their row."""
MOST_PASSES = 20
"""Passes of one ear at one visit that are told apart; methods of any further are left out."""
LAST_COUNTS = frozenset(("grade_revised", "outcome", "eardrum", "middle_ear"))
"""What is known after the last pass; of all other facts the first that is told counts."""
EAR_OF_VISIT = ("visit_id", "__ear")


def passes_joined(passes: Frame, facts: Sequence[str]) -> Frame:
    """Join the passes of each ear at each visit: methods in order, minutes added up.

    The first grade told is the ear's, the last outcome its outcome. One method
    twice in a row is one.

    Parameters
    ----------
    passes : narwhals frame
        visit_id, ear, the facts and ``ORDER``, one row a pass.
    facts : sequence of str
        Facts of an ear that any file tells.

    Returns
    -------
    narwhals frame
        visit_id, ear and the facts, one row an ear a visit.
    """
    return passes.pipe(_in_turn, facts).pipe(_told_once, facts)


def _in_turn(passes: Frame, facts: Sequence[str]) -> Frame:
    """Count the passes of each ear, and mark the turn whose word on each fact counts."""
    col = nw.col
    passes = passes.with_columns(
        nw.coalesce(col("ear"), nw.lit("")).alias("__ear"),
        nw.coalesce(col("__pass"), nw.lit(0.0)).alias("__pass"),
        nw.coalesce(col("__at"), nw.lit(0.0)).alias("__at"),
        nw.lit(1).alias("__one"),
    )
    passes = passes.with_columns(
        col("__one").cum_sum().over(*EAR_OF_VISIT, order_by=ORDER).alias("__turn"),
        col("methods").shift(1).over(*EAR_OF_VISIT, order_by=ORDER).alias("__before"),
    )
    new: Any = nw.when(nw.coalesce(col("methods") != col("__before"), nw.lit(True))).then(col("methods"))
    passes = passes.with_columns(new.alias("__method"))
    turns = []
    for fact in facts:
        told: Any = nw.when(~col(fact).is_null()).then(col("__turn"))
        turn = told.max() if fact in LAST_COUNTS else told.min()
        turns.append(turn.over(*EAR_OF_VISIT).alias(f"__turn_{fact}"))
    return passes.with_columns(*turns)


def _told_once(passes: Frame, facts: Sequence[str]) -> Frame:
    """Give one row an ear."""
    col = nw.col

    def at(turn: Any, what: str) -> nw.Expr:
        return nw.when(col("__turn") == turn).then(col(what))

    first = [at(col(f"__turn_{fact}"), fact).alias(f"__told_{fact}") for fact in facts]
    steps = [at(turn, "__method").alias(f"__step_{turn}") for turn in range(1, MOST_PASSES + 1)]
    passes = passes.with_columns(*first, *steps)
    wanted = [f"__told_{fact}" for fact in facts] + [f"__step_{turn}" for turn in range(1, MOST_PASSES + 1)]
    ears = passes.group_by(*EAR_OF_VISIT).agg(
        *(col(name).max() for name in wanted),
        col("ear").max(),
        col("ear_minutes").sum().alias("__sum"),
    )
    joined = nw.concat_str(
        *(col(f"__step_{turn}") for turn in range(1, MOST_PASSES + 1)), separator=METHOD_JOIN, ignore_nulls=True
    )
    told = {fact: col(f"__told_{fact}") for fact in facts}
    told["methods"] = nw.when(~col("__told_methods").is_null()).then(joined)
    told["ear_minutes"] = nw.when(~col("__told_ear_minutes").is_null()).then(col("__sum"))
    return ears.select("visit_id", "ear", *(told[fact].alias(fact) for fact in facts))
