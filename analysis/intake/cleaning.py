"""The cleaning chain: text to typed columns, in named steps for ``.pipe``, frame to frame.

The steps are written in narwhals and keep to what every engine can do without
reading the rows twice: texts are looked up in small tables made from their
distinct values and joined back (dates and times too, because engines differ on
31 February), moments are put together from texts that are known to be good,
and no step depends on the order of the rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import narwhals as nw

from analysis.intake import amounts
from analysis.intake.lookups import Frame, Texts, looked_up, numbered
from analysis.intake.row_columns import VISIT_FACTS, VISIT_TEXTS, columns_of_kind, facts_told, sided
from analysis.intake.understanding import CODED_KINDS, NUMBER_KINDS, Understanding, coded_as
from analysis.intake.visit_moments import MADE_WITH_MOMENTS, with_age_band, with_days_and_clocks, with_moments
from analysis.intake.vocabulary import vocabulary
from analysis.intake.words import Reading

KEPT = {
    "source_file": nw.String, "source_row": nw.Int64, "visit_cells": nw.Int64, "ear_cells": nw.Int64, "file_order": nw.Int64,
    "system": nw.String, "shape": nw.String, "content": nw.Int64, "too_long": nw.Boolean, "attendance_logged": nw.Boolean,
    "evidence_logged": nw.Boolean, "visit_number": nw.String, "patient_key": nw.String, "test_patient": nw.Boolean,
}  # fmt: skip
"""What a row carries besides the facts, until it is kept or set aside."""
FACT_TYPES: dict[str, Any] = {
    **dict.fromkeys((*columns_of_kind(*CODED_KINDS), *VISIT_TEXTS), nw.String),
    **dict.fromkeys(columns_of_kind(*NUMBER_KINDS), nw.Float64),
    **{f"grade{side}__percent": nw.Float64 for side in ("", "_left", "_right")},
    "softener__days": nw.Float64,
}
"""Every fact a file may tell, and its type."""


def _in_place(frame: Frame, columns: Sequence[str]) -> Frame:
    """Put what was found for some columns in the place of their texts."""
    if not columns:
        return frame
    found = [f"{column}__found" for column in columns]
    return frame.with_columns(*(nw.col(f"{column}__found").alias(column) for column in columns)).drop(*found)


def with_words(frame: Frame, understood: Understanding, texts: Texts) -> Frame:
    """Put codes in place of the texts of every coded column; grades in percent are kept beside."""
    columns = [column for column in columns_of_kind(*CODED_KINDS) if column in texts]
    lookups = []
    for column in columns:
        readings = understood.words.get(column, {})
        base = coded_as(column)
        outputs: dict[str, Any] = {f"{column}__found": nw.String}
        meanings: dict[str, list[Any]] = {text: [each.code] for text, each in readings.items()}
        if base in ("grade", "softener"):
            name, beside_it = ("percent", _percents(readings)) if base == "grade" else ("days", _days(readings))
            outputs[f"{column}__{name}"] = nw.Float64
            for text, values in meanings.items():
                values.append(beside_it.get(text))
        said = {text: values for text, values in meanings.items() if any(value is not None for value in values)}
        lookups.append(numbered(column, outputs, said, texts))
    return _in_place(looked_up(frame, lookups), columns)


def _percents(readings: Mapping[str, Reading]) -> dict[str, float]:
    """Find the percentages written in place of a grade."""
    found = {text: amounts.percent(text) for text, each in readings.items() if each.code}
    return {text: share for text, share in found.items() if share is not None}


def _days(readings: Mapping[str, Reading]) -> dict[str, float]:
    """Find the days written behind a softening agent."""
    named = {text: amounts.days(text) for text, each in readings.items() if each.code not in (None, "none")}
    return {text: days for text, days in named.items() if days is not None and not text.strip().isdigit()}


def with_numbers(frame: Frame, understood: Understanding, texts: Texts) -> Frame:
    """Put numbers in place of the texts of every number column."""
    columns, lookups = [column for column in columns_of_kind(*NUMBER_KINDS) if column in texts], []
    for column in columns:
        read = {text: (value,) for text, value in understood.numbers.get(column, {}).items() if value is not None}
        lookups.append(numbered(column, {f"{column}__found": nw.Float64}, read, texts))
    return _in_place(looked_up(frame, lookups), columns)


def with_tidy_texts(frame: Frame, spelling: Mapping[str, Mapping[str, str]], texts: Texts) -> Frame:
    """Put the tidy spelling in place of the texts of sites and practitioners."""
    columns = [column for column in VISIT_TEXTS if column in texts]
    lookups = [
        numbered(
            column, {f"{column}__found": nw.String}, {text: (tidy,) for text, tidy in spelling[column].items()}, texts
        )
        for column in columns
    ]
    return _in_place(looked_up(frame, lookups), columns)


def with_facts_beside(frame: Frame) -> Frame:
    """Fill facts from their neighbours: percent and grade, days in the agent's cell, softening used yes or no.

    Where the log says that softening was not used, a named agent is what was
    advised, so the agent used is "none"; used without a named agent is "other".
    No softener is no days of it.
    """
    sides = ("", "_left", "_right")
    percents = {side: nw.coalesce(nw.col(f"percent_blocked{side}"), nw.col(f"grade{side}__percent")) for side in sides}
    frame = frame.with_columns(*(percents[side].alias(f"percent_blocked{side}") for side in sides))
    grades = {side: nw.coalesce(nw.col(f"grade{side}"), _grade_of_percent(f"percent_blocked{side}")) for side in sides}
    frame = frame.with_columns(*(grades[side].alias(f"grade{side}") for side in sides))
    used = nw.col("softening_used")
    agent = (
        nw.when(used == "no")
        .then(nw.lit("none"))
        .otherwise(nw.coalesce(nw.col("softener"), nw.when(used == "yes").then(nw.lit("other"))))
    )
    return frame.with_columns(
        nw.coalesce(nw.col("softening_days"), nw.col("softener__days")).alias("softening_days"),
        nw.when(used.is_null()).then(nw.col("softener")).otherwise(agent).alias("softener"),
    ).with_columns(
        nw.coalesce(nw.col("softening_days"), nw.when(nw.col("softener") == "none").then(nw.lit(0.0))).alias(
            "softening_days"
        )
    )


def _grade_of_percent(column: str) -> nw.Expr:
    """Grade a percentage by the table of the grade vocabulary."""
    share = nw.col(column)
    expression: Any = nw.lit(None, dtype=nw.String)
    for bound, inclusive, code in reversed(vocabulary("grade").percents):
        expression = nw.when(share <= bound if inclusive else share < bound).then(nw.lit(code)).otherwise(expression)
    return expression


def with_every_column(frame: Frame, facts: Sequence[str]) -> Frame:
    """Add the facts that other files tell and this one has no column for, empty."""
    there = set(frame.collect_schema().names())
    wanted = {*sided(facts), *(name for name in FACT_TYPES if not facts_told([name]))}
    lacking = {name: dtype for name, dtype in FACT_TYPES.items() if name in wanted - there}
    return frame.with_columns(*(nw.lit(None, dtype=dtype).alias(name) for name, dtype in lacking.items()))


def only_row_columns(frame: Frame, facts: Sequence[str]) -> Frame:
    """Keep what a row needs from here on."""
    return frame.select(*KEPT, *MADE_WITH_MOMENTS, "pass_number", *VISIT_FACTS, "ear", *sided(facts))


def cleaned(
    frame: Frame,
    understood: Understanding,
    texts: Texts,
    spelling: Mapping[str, Mapping[str, str]],
    facts: Sequence[str],
) -> Frame:
    """Run the whole chain on the rows of one file.

    Parameters
    ----------
    frame : narwhals frame
        The columns of ``KEPT``, and a number in the place of each text of ``texts``.
    understood : Understanding
        What the distinct texts mean.
    texts : mapping
        Column to its distinct texts, by number.
    spelling : mapping
        Site and practitioner: text to its tidy spelling.
    facts : sequence of str
        Facts of an ear that any file tells.

    Returns
    -------
    narwhals frame
        One row a source row, typed; nothing in it identifies a patient. Moments
        are seconds since 1970, as every engine can reckon with.
    """
    return (
        frame.pipe(with_words, understood, texts)
        .pipe(with_numbers, understood, texts)
        .pipe(with_tidy_texts, spelling, texts)
        .pipe(with_days_and_clocks, understood, texts)
        .pipe(with_every_column, facts)
        .pipe(with_moments)
        .pipe(with_age_band)
        .pipe(with_facts_beside)
        .pipe(only_row_columns, facts)
    )
