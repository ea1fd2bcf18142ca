"""Rows that tell of the same visit: one is kept, the others set aside."""

from __future__ import annotations

from typing import Any

import narwhals as nw

from analysis.intake.lookups import Frame
from analysis.intake.row_columns import EAR, PASS, VISIT

ROWS_A_FILE = 10**9
"""A row's place is the file's order times this, plus the row's number."""


NEEDED = (
    "source_file", "source_row", "system", "shape", "file_order", "visit_number", "patient_key", "practitioner", "ear",
    "day_text", "clock_text", "has_clock", "content", "visit_cells", "ear_cells", "part_of", "pass_number", "methods", "started_at",
)  # fmt: skip
GIVEN = ("visit_key", "__again_reason", "kept_place")


def repeats_told(frame: Frame) -> Frame:
    """Give each row that could repeat another its visit and, where it does, the reason to set it aside.

    Only rows that could tell of the same visit are compared: those of one patient
    on one day, and those of nobody known.

    Parameters
    ----------
    frame : narwhals frame
        From ``rules.with_reason``; only rows without a reason against them are compared.

    Returns
    -------
    narwhals frame
        ``place``, ``visit_key``, ``__again_reason`` and ``kept_place`` of the rows compared.
    """
    col = nw.col
    rows = frame.select("place", "reason", *NEEDED).filter(col("reason").is_null()).drop("reason")
    rows = rows.with_columns(nw.len().over("patient_key", "day_text").alias("__of_the_day"))
    compared = rows.filter(col("patient_key").is_null() | (col("__of_the_day") > 1))
    return compared.pipe(with_repeated_rows).pipe(with_visit_key).pipe(with_duplicates).select("place", *GIVEN)


def with_repeats(frame: Frame, told: Frame) -> Frame:
    """Put what was found beside all rows; a row compared with none is a visit by itself.

    Parameters
    ----------
    frame : narwhals frame
        From ``rules.with_reason``.
    told : narwhals frame
        From ``repeats_told``.

    Returns
    -------
    narwhals frame
        With ``visit_key``, ``kept_place``, ``alone`` where nothing else tells of the visit, and the ``reason`` of
        rows that repeat another.
    """
    col = nw.col
    rows = _with_keys(frame.join(told, on="place", how="left"))
    return rows.with_columns(
        nw.coalesce(col("visit_key"), col("__numbered"), col("__by_patient")).alias("visit_key"),
        col("visit_key").is_null().alias("alone"),
        nw.coalesce(col("reason"), col("__again_reason")).alias("reason"),
    )


def with_repeated_rows(frame: Frame) -> Frame:
    """Say which rows are equal to an earlier one in every cell.

    Where two rows without a patient, a visit number or a time of day are equal,
    they may be two patients, and neither repeats the other.
    """
    col = nw.col
    told_apart = ~col("visit_number").is_null() | ~col("patient_key").is_null() | col("has_clock")
    alone = nw.concat_str(col("source_file"), col("source_row").cast(nw.String), separator="|")
    frame = frame.with_columns(
        nw.when(told_apart).then(col("content").cast(nw.String)).otherwise(alone).alias("__content")
    )
    frame = frame.with_columns(col("place").min().over("__content").alias("__first"))
    return frame.with_columns((col("place") > col("__first")).alias("__again"))


def with_visit_key(frame: Frame) -> Frame:
    """Say which rows tell of the same visit.

    With a visit number: the same system, number, patient and day. Without one:
    the same patient, time and practitioner (day and practitioner, where a row is an
    instrument pass with a time of its own). Rows of two systems: the same patient
    and time of day. A row of one ear without number or patient: the same time
    and practitioner, as long as no ear stands there twice. Any other row is a
    visit of its own, because two patients cannot be told apart.

    Returns
    -------
    narwhals frame
        With ``visit_key``.
    """
    col, lit = nw.col, nw.lit
    frame = _with_keys(frame).with_columns(
        _ear_or_pass().alias("__ear"),
        nw.when(_told_in_parts()).then(lit("parts")).otherwise(lit("whole")).alias("__told_as"),
        nw.when(col("__again")).then(lit(0)).otherwise(lit(1)).alias("__counts"),
        _joined("row", "source_file", "__row").alias("__alone"),
        nw.when(col("shape").is_in((EAR, PASS)) & col("has_clock") & (col("__who") != ""))
        .then(_joined("time", "system", "__at", "__who"))
        .alias("__by_time"),
        nw.when(col("has_clock")).then(_joined("systems", "patient_key", "__at")).alias("__meeting"),
    )
    return _choose_key(frame)


def _with_keys(frame: Frame) -> Frame:
    """Give each row the keys by its number and by its patient."""
    col, lit = nw.col, nw.lit
    frame = frame.with_columns(
        col("day_text").alias("__day"),
        nw.concat_str("day_text", "clock_text", separator=" ", ignore_nulls=False).alias("__at"),
        nw.coalesce(col("patient_key"), lit("")).alias("__patient"),
        nw.coalesce(col("practitioner"), lit("")).alias("__who"),
        col("source_row").cast(nw.String).alias("__row"),
    )
    by_patient = (
        nw.when(col("shape") == PASS)
        .then(_joined("patient", "patient_key", "__day", "__who"))
        .otherwise(_joined("patient", "patient_key", "__at", "__who"))
    )
    return frame.with_columns(
        _joined("number", "system", "visit_number", "__patient", "__day").alias("__numbered"),
        by_patient.alias("__by_patient"),
    )


def _ear_or_pass() -> nw.Expr:
    """Name what of a visit a row tells: nothing in particular, an ear, or one pass on an ear."""
    col, lit = nw.col, nw.lit
    ear = nw.coalesce(col("ear"), lit(""))
    numbered = nw.concat_str(ear, col("pass_number").cast(nw.String), separator="|", ignore_nulls=False)
    told = nw.concat_str(
        ear,
        nw.coalesce(col("methods"), lit("")),
        nw.coalesce(col("started_at").cast(nw.String), lit("")),
        separator="|",
    )
    return nw.when(col("shape") == PASS).then(nw.coalesce(numbered, told)).otherwise(ear)


def _told_in_parts() -> nw.Expr:
    """Tell the rows that tell of a visit together with others: bookings and the ears that belong to them."""
    part_of = nw.coalesce(nw.col("part_of"), nw.col("shape"))
    return part_of != VISIT


def _joined(kind: str, *columns: str) -> nw.Expr:
    """Join columns into a key; empty where one of them is."""
    return nw.concat_str(nw.lit(kind), *columns, separator="|", ignore_nulls=False)


def _choose_key(frame: Frame) -> Frame:
    """Choose among a row's keys."""
    col = nw.col
    frame = frame.with_columns(
        nw.coalesce(col("__by_time"), col("__alone")).alias("__time_key"),
        nw.coalesce(col("__meeting"), col("__alone")).alias("__meeting_key"),
    )
    frame = frame.with_columns(
        col("__counts").sum().over("__time_key", "__ear").alias("__ears_alike"),
        col("system").min().over("__meeting_key").alias("__system_from"),
        col("system").max().over("__meeting_key").alias("__system_to"),
    )
    frame = frame.with_columns(col("__ears_alike").max().over("__time_key").alias("__ears_alike"))
    by_time = nw.when(col("__ears_alike") <= 1).then(col("__by_time"))
    across = nw.when(col("__system_from") != col("__system_to")).then(col("__meeting"))
    return frame.with_columns(
        nw.coalesce(across, col("__numbered"), col("__by_patient"), by_time, col("__alone")).alias("visit_key")
    )


def with_duplicates(frame: Frame) -> Frame:
    """Say which rows are left out because another row tells of the same visit.

    Rows equal in every cell: the first is kept. One visit in the exports of two systems: the
    system with more facts is kept, of equals the later export. The same visit
    (and ear, where a row is an ear) twice in one system: the fuller row is
    kept, of equally full ones the later export, then the lower row.

    Parameters
    ----------
    frame : narwhals frame
        Rows fit for use, from ``with_visit_key``.

    Returns
    -------
    narwhals frame
        With ``__again_reason`` and ``kept_place``, the place of the row kept instead.
    """
    col = nw.col
    frame = frame.with_columns(
        nw.when(~col("__again")).then(col("visit_cells") + col("ear_cells")).otherwise(nw.lit(-1)).alias("__filled")
    )
    return _reasoned(_with_best_row(_with_best_system(frame)))


def _with_best_system(frame: Frame) -> Frame:
    """Find the kind of export that tells most of each visit."""
    col = nw.col
    ears = nw.when(~col("__again")).then(col("ear_cells")).otherwise(nw.lit(0))
    frame = frame.with_columns(ears.alias("__ears_told"))
    frame = frame.with_columns(
        (
            col("visit_cells").max().over("visit_key", "__told_as")
            + col("__ears_told").sum().over("visit_key", "__told_as")
        ).alias("__told"),
        col("file_order").max().over("visit_key", "__told_as").alias("__latest"),
    )
    frame = frame.with_columns((col("__told") * ROWS_A_FILE + col("__latest")).alias("__system_rank"))
    return frame.with_columns(col("__system_rank").max().over("visit_key").alias("__system_best"))


def _with_best_row(frame: Frame) -> Frame:
    """Find the row that tells most of each visit, or of each ear of it."""
    col = nw.col
    order = col("__filled") * ROWS_A_FILE * 1000 + col("place")
    frame = frame.with_columns(order.alias("__row_rank"))
    frame = frame.with_columns(col("__row_rank").max().over("visit_key", "shape", "__ear").alias("__row_best"))
    in_best = (col("__system_rank") == col("__system_best")) & (col("__row_rank") == col("__row_best"))
    frame = frame.with_columns(in_best.alias("__kept"))
    best_place: Any = nw.when(col("__kept")).then(col("place"))
    frame = frame.with_columns(best_place.alias("__kept_place"))
    return frame.with_columns(
        col("__kept_place").max().over("visit_key", "shape", "__ear").alias("__kept_same_ear"),
        col("__kept_place").max().over("visit_key").alias("__kept_any"),
    )


def _reasoned(frame: Frame) -> Frame:
    """Put the reason and the row kept instead beside each row left out."""
    col = nw.col
    other_system = col("__system_rank") < col("__system_best")
    reason = (
        nw.when(col("__again"))
        .then(nw.lit("exact_duplicate"))
        .otherwise(
            nw.when(other_system)
            .then(nw.lit("same_visit_other_system"))
            .otherwise(nw.when(~col("__kept")).then(nw.lit("same_visit_again")))
        )
    )
    instead = (
        nw.when(col("__again")).then(col("__first")).otherwise(nw.coalesce(col("__kept_same_ear"), col("__kept_any")))
    )
    return frame.with_columns(reason.alias("__again_reason"), instead.cast(nw.Float64).alias("kept_place"))
