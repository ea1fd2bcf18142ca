"""Which rows cannot be used, and why; which bookings were kept."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import narwhals as nw

from analysis.intake.joining import NO_VISIT, SEVERAL_VISITS
from analysis.intake.lookups import Frame

EARLIEST, LATEST = dt.datetime(1990, 1, 1), dt.datetime(2101, 1, 1)
"""A visit outside these was typed wrongly, whatever today is."""
TOTALS = r"^(?:grand |sub|sub-|sub )?(?:total|sum|average|mean|count)s?\b"
"""What stands in the place of a date in a line of totals; without groups, which one engine warns of."""


def since_1970(moment: dt.datetime) -> float:
    """Give the seconds of a moment on the clinic's own clock, as the rows hold them."""
    return (moment - dt.datetime(1970, 1, 1)).total_seconds()


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a row is set aside, and what the owner can do."""

    why: str
    remedy: str


REASONS = {
    "too_many_cells": Reason(
        "more cells than headings",
        "Put text that holds the delimiter into quotation marks, or take the delimiter out of it.",
    ),
    "test_patient": Reason("test patient", "Nothing, if it is one; otherwise correct the patient's name or number."),
    "no_visit": Reason(
        "no date, and its visit number stands in no row with one",
        "Export the visits of the same days too, and see that both exports write the visit number alike.",
    ),
    "several_visits": Reason(
        "its visit number stands for visits of different days or patients",
        "Add the date of the visit to this export, or make visit numbers unique.",
    ),
    "total_line": Reason("a line of totals", "Nothing, or leave such lines out of the export."),
    "no_date": Reason(
        "no date",
        "Fill in the date of the visit; where cells were merged, it stands in the first of their rows only. A line of totals may stay out.",
    ),
    "impossible_date": Reason(
        "impossible date",
        "Correct the date; if days and months are swapped in the whole file, set day_first in [export].",
    ),
    "ahead_date": Reason("date more than a year ahead", "Correct the date in the export."),
    "unreadable_date": Reason("date cannot be read", "Write the date as 2026-03-01."),
    "exact_duplicate": Reason("the same row again", "Nothing; the first of the rows is kept."),
    "same_visit_again": Reason(
        "the same visit again",
        "Look at both rows where they differ; the fuller one is kept, of equally full ones the later.",
    ),
    "same_visit_other_system": Reason(
        "the same visit in another system's export", "Nothing; the fuller record of the visit is kept."
    ),
}
"""Every reason for which a row may be set aside."""


def with_reason(frame: Frame, *, latest: dt.datetime = LATEST) -> Frame:
    """Say of each row by itself whether it can be used.

    A row needs nothing but a date on which it happened. A missing end, an
    unknown word or an impossible order of times costs only the fact.

    Parameters
    ----------
    frame : narwhals frame
        From ``with_visits_joined``.
    latest : datetime, optional
        No booking can lie after this: one slip in a year would stretch the
        whole log to there.

    Returns
    -------
    narwhals frame
        With ``reason``, empty where the row is fit for use.
    """
    col = nw.col
    start = col("slot_start")
    no_start = start.is_null()
    joined = nw.coalesce(col("joined"), nw.lit(""))
    total = nw.coalesce(col("date_text"), col("visit_number"), nw.lit("")).str.to_lowercase().str.contains(TOTALS)
    earliest, end = since_1970(EARLIEST), since_1970(LATEST)
    out_of_range = ~no_start & ((start < earliest) | (start >= end))
    tests = (
        (col("too_long"), "too_many_cells"),
        (col("test_patient"), "test_patient"),
        (no_start & total, "total_line"),
        (no_start & (joined == NO_VISIT), "no_visit"),
        (no_start & (joined == SEVERAL_VISITS), "several_visits"),
        (no_start & col("date_text").is_null(), "no_date"),
        ((no_start & (col("date_impossible") > 0)) | out_of_range, "impossible_date"),
        (no_start, "unreadable_date"),
        (start > since_1970(latest), "ahead_date"),
    )
    reason: Any = nw.lit(None, dtype=nw.String)
    for test, name in reversed(tests):
        reason = nw.when(test).then(nw.lit(name)).otherwise(reason)
    return frame.with_columns(reason.alias("reason"))


def with_attendance(visits: Frame) -> Frame:
    """Say whether each booking was kept, where the log leaves it open.

    An empty attendance counts as attended where anything shows that the patient
    came: a fact of an ear, an arrival, a start, an end, minutes. A log that has
    neither an attendance column nor any of these lists visits, so its rows count
    as attended. Otherwise attendance stays empty: it is not guessed.

    Parameters
    ----------
    visits : narwhals frame
        With ``has_evidence``, ``attendance_logged`` and ``evidence_logged``.

    Returns
    -------
    narwhals frame
    """
    a_list_of_visits = ~nw.col("attendance_logged") & ~nw.col("evidence_logged")
    came = nw.when(nw.col("has_evidence") | a_list_of_visits).then(nw.lit("attended"))
    return visits.with_columns(nw.coalesce(nw.col("attendance"), came).alias("attendance"))


def without_impossible_order(visits: Frame) -> Frame:
    """Empty a day of booking after the visit; times of the visit stay, for the minutes to be judged by."""
    later = nw.col("booked_on") > nw.col("slot_start")
    return visits.with_columns(nw.when(~later).then(nw.col("booked_on")).alias("booked_on"))
