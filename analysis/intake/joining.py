"""Visits and ears in two exports, joined by the visit number."""

from __future__ import annotations

from collections.abc import Collection

import narwhals as nw

from analysis.intake.lookups import Frame
from analysis.intake.row_columns import BOOKING, EAR, EARS, PASS

JOINED, NO_VISIT, SEVERAL_VISITS = "joined", "no visit", "several visits"
TAKEN_OVER = (
    "system",
    "slot_start",
    "day_text",
    "clock_text",
    "has_clock",
    "patient_key",
    "practitioner",
    "attendance_logged",
)
"""What a row of ears takes over from its visit."""


def with_visits_joined(rows: Frame, shapes: Collection[str]) -> Frame:
    """Give rows of ears the day, the patient and the practitioner of the visit they belong to.

    A row of ears without a date belongs to the visit of its number, in whatever
    row that stands with a date. One with a date belongs to the visit of its
    number on that day where the visit's own file says nothing of ears. A number
    that stands for visits of different days or patients names none of them.

    Parameters
    ----------
    rows : narwhals frame
        Cleaned rows of all files.
    shapes : collection of str
        What rows of the files are; where none is an ear by itself, nothing is joined.

    Returns
    -------
    narwhals frame
        With ``joined`` (``joined``, ``no visit`` or ``several visits``; empty where a
        row stands for itself) and ``part_of``, the shape of the row joined to.
    """
    col, lit = nw.col, nw.lit
    if not {EARS, EAR, PASS} & set(shapes):
        return rows.with_columns(*(lit(None, dtype=nw.String).alias(name) for name in ("joined", "part_of")))
    rows = rows.with_columns(
        (col("shape").is_in((EARS, EAR, PASS)) & ~col("visit_number").is_null()).alias("__part"),
        (col("slot_start").is_null() & col("date_text").is_null()).alias("__undated"),
        col("day_text").alias("__day"),
    )
    on_day = nw.concat_str(lit("on"), col("__day"), col("visit_number"), separator="|", ignore_nulls=False)
    any_day = nw.concat_str(lit("any day"), col("visit_number"), separator="|", ignore_nulls=False)
    rows = rows.with_columns(on_day.alias("__on_day"), any_day.alias("__any_day"))
    rows = rows.with_columns(
        nw.when(col("__undated")).then(col("__any_day")).otherwise(col("__on_day")).alias("__visit")
    )
    rows = rows.join(_visits_by_number(rows), on="__visit", how="left")
    return rows.pipe(_with_state).pipe(_taken_over)


def _visits_by_number(rows: Frame) -> Frame:
    """Give one row a visit number, and one a number and day, with what the rows that have a date say of it."""
    col = nw.col
    dated = rows.filter(~col("slot_start").is_null() & ~col("visit_number").is_null() & ~col("too_long"))
    bookings = dated.filter(col("shape") == BOOKING)
    parts = [_one_a_visit(dated, "__any_day"), _one_a_visit(bookings, "__on_day")]
    return nw.concat(parts, how="vertical")


def _one_a_visit(rows: Frame, key: str) -> Frame:
    """Summarise rows by one key."""
    col = nw.col
    last = [
        col(name).max().alias(f"__{name}")
        for name in ("system", "slot_start", "day_text", "clock_text", "patient_key", "practitioner")
    ]
    flags = ("has_clock", "attendance_logged", "test_patient")
    rows = rows.with_columns(
        *(nw.when(col(name)).then(nw.lit(1.0)).otherwise(nw.lit(0.0)).alias(f"__{name}") for name in flags)
    )
    made = rows.group_by(key).agg(
        *last,
        *(col(f"__{name}").max() for name in flags),
        col("shape").max().alias("__shape"),
        col("__day").min().alias("__day_from"),
        col("__day").max().alias("__day_to"),
        col("patient_key").min().alias("__patient_from"),
    )
    return made.rename({key: "__visit"}) if key != "__visit" else made


def _with_state(rows: Frame) -> Frame:
    """Say which rows are joined, and which find no visit or several."""
    col, lit = nw.col, nw.lit
    one = (col("__day_from") == col("__day_to")) & _none_or_same("__patient_from", "__patient_key")
    same_patient = _none_or_same("patient_key", "__patient_key")
    found = col("__part") & ~col("__day_from").is_null()
    lonely = col("__part") & col("__undated")
    state = (
        nw.when(found & one & same_patient)
        .then(lit(JOINED))
        .otherwise(nw.when(lonely & found).then(lit(SEVERAL_VISITS)).otherwise(nw.when(lonely).then(lit(NO_VISIT))))
    )
    return rows.with_columns(state.alias("joined"))


def _none_or_same(one: str, other: str) -> nw.Expr:
    """Tell whether two columns are equal where both are filled; engines differ on what an empty one equals."""
    return nw.col(one).is_null() | nw.col(other).is_null() | (nw.col(one) == nw.col(other))


def _taken_over(rows: Frame) -> Frame:
    """Put the visit's facts into the rows joined, and say of visits with ears elsewhere that evidence is logged."""
    col, lit = nw.col, nw.lit
    joined = nw.coalesce(col("joined"), lit("")) == JOINED
    flags = {name: col(f"__{name}") > 0 for name in ("has_clock", "attendance_logged")}
    given = {name: flags.get(name, col(f"__{name}")) for name in TAKEN_OVER}
    rows = rows.with_columns(
        *(nw.when(joined).then(given[name]).otherwise(col(name)).alias(name) for name in TAKEN_OVER),
        (col("test_patient") | nw.coalesce(joined & (col("__test_patient") > 0), lit(False))).alias("test_patient"),
        nw.when(joined).then(col("__shape")).alias("part_of"),
        nw.when(joined).then(lit(1.0)).otherwise(lit(0.0)).alias("__is_joined"),
    )
    rows = rows.with_columns((col("__is_joined").max().over("system") > 0).alias("__has_parts"))
    rows = rows.with_columns((col("evidence_logged") | col("__has_parts")).alias("evidence_logged"))
    return rows.select(*(name for name in rows.collect_schema().names() if not name.startswith("__")))
