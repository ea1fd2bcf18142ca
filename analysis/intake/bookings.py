"""Rows kept to bookings and ears: who came, which minutes, what contradicts itself."""

from __future__ import annotations

from collections.abc import Collection

import narwhals as nw

from analysis.intake.lookups import Frame
from analysis.intake.row_columns import EVIDENCE
from analysis.intake.rules import with_attendance
from analysis.intake.shapes import ears_of, visits_of


def ears_and_bookings(kept: Frame, shapes: Collection[str]) -> tuple[Frame, Frame]:
    """Make ears and bookings of the rows kept, and say which bookings the patient came to.

    Parameters
    ----------
    kept : narwhals frame
        Rows kept, with ``visit_id``.
    shapes : collection of str
        What rows of the files are.

    Returns
    -------
    tuple of narwhals frame
        Ears and bookings; minutes are not judged yet.
    """
    return ears_of(kept, shapes), _with_evidence(visits_of(kept)).pipe(with_attendance)


def _with_evidence(visits: Frame) -> Frame:
    """Say of each visit whether anything in the log shows that the patient came."""
    shows = [~nw.col(column).is_null() for column in EVIDENCE]
    return visits.with_columns(
        nw.any_horizontal(nw.col("tells_of_ear"), *shows, ignore_nulls=False).alias("has_evidence")
    )


def contradictions(visits: Frame) -> Frame:
    """Count facts that exclude each other.

    Parameters
    ----------
    visits : narwhals frame
        From ``ears_and_bookings``.

    Returns
    -------
    narwhals frame
        One row; what contradicts, to the number of visits.
    """
    col = nw.col
    not_kept = ~col("attendance").is_null() & (col("attendance") != "attended")
    kept = ~not_kept
    found = {
        "end before start": (col("ended_at") - 60 * nw.coalesce(col("clock_shift"), nw.lit(0.0)) < col("started_at"))
        & kept,
        "start before arrival": (col("started_at") < col("arrived_at")) & kept,
        "booked after the visit": col("booked_on") > col("slot_start"),
        "not attended, yet facts of ears": not_kept & col("tells_of_ear"),
        "not attended, yet minutes or an end": not_kept & (~col("ended_at").is_null() | ~col("minutes").is_null()),
        "softening days, yet no softener used": (col("softener") == "none") & (col("softening_days") > 0),
    }
    return visits.select(*(_count(which).alias(what) for what, which in found.items()))


def _count(which: nw.Expr) -> nw.Expr:
    """Count where something is true; where it cannot be told it does not count."""
    return nw.when(which).then(nw.lit(1)).otherwise(nw.lit(0)).sum()
