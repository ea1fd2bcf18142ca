"""Dates and times of a visit, from the texts of one file to seconds since 1970."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import narwhals as nw

from analysis.intake.lookups import Frame, Texts, looked_up, numbered
from analysis.intake.privacy import AGE_BAND_FROM, OLDEST
from analysis.intake.times import Moment
from analysis.intake.understanding import CLOCK_PART, DAY_PART, Understanding

MADE_WITH_MOMENTS = ("has_clock", "day_text", "clock_text", "date_text", "date_impossible", "clock_shift")
SLOT_DAY_FROM = ("slot_start", "date", "started_at")
SLOT_CLOCK_FROM = ("slot_start", "slot_time", "date", "started_at")
"""Where the slot's day and its time are taken from: the first that has one."""
TOLD_FROM = ("date", "slot_start", "started_at")
"""Whose text is shown where the date of a row cannot be used."""
OF_THE_VISIT = ("arrived_at", "started_at", "ended_at", "slot_end")
DAY_SECONDS = 86_400.0
DAY_ZERO = dt.date(1970, 1, 1)
KINDS: dict[str, Any] = {
    **dict.fromkeys(("day", "eight", "clock", "impossible", "short", "offset"), nw.Float64),
    **dict.fromkeys(("day_text", "clock_text", "written"), nw.String),
}
"""What is known of a date or time: days since 1970, the day as eight digits, seconds since midnight, and so on."""
OF_A_SLOT = ("day", "eight", "clock", "impossible", "day_text", "clock_text", "written")
WANTED: dict[str, tuple[str, ...]] = {
    "booked_on": ("day",),
    "date": OF_A_SLOT,
    "slot_start": OF_A_SLOT,
    "slot_time": ("clock", "clock_text"),
    "arrived_at": ("day", "clock"),
    "started_at": (*OF_A_SLOT, "offset"),
    "ended_at": ("day", "clock", "offset"),
    "slot_end": ("day", "clock"),
    "birth_date": ("eight", "short"),
}
"""What the chain needs to know of each date or time."""


def with_days_and_clocks(frame: Frame, understood: Understanding, texts: Texts) -> Frame:
    """Put the day and the time of day beside each date or time, as numbers every engine can reckon with."""
    lookups = []
    for name, read in understood.moments.items():
        kinds = _wanted(name)
        outputs = {f"{name}__{kind}": KINDS[kind] for kind in kinds}
        told = {text: _told(text, each) for text, each in read.items()}
        table = {text: [known[kind] for kind in kinds] for text, known in told.items()}
        lookups.append(numbered(name, outputs, table, texts))
    frame = looked_up(frame, lookups).drop(*(name for name in texts if _base(name) in WANTED))
    return _with_all(_with_parts_together(frame, understood))


def _base(name: str) -> str:
    """Take the part off a name."""
    return name.removesuffix(DAY_PART).removesuffix(CLOCK_PART)


def _wanted(name: str) -> tuple[str, ...]:
    """Say what is needed of a column, or of a part of its cells; where a part is impossible, so is the whole."""
    kinds = WANTED[_base(name)]
    return kinds if name == _base(name) or "impossible" in kinds else (*kinds, "impossible")


def _told(text: str, each: Moment) -> dict[str, Any]:
    """Give what is known of one date or time."""
    day = dt.date.fromisoformat(each.day) if each.day else None
    hours, minutes, seconds = (int(part) for part in (each.clock or "0:0:0").split(":"))
    return {
        "day": float((day - DAY_ZERO).days) if day else None,
        "eight": float(f"{day:%Y%m%d}") if day else None,
        "clock": float(hours * 3600 + minutes * 60 + seconds) if each.clock else None,
        "impossible": float(each.impossible),
        "short": float(each.two_digit_year),
        "offset": each.offset_minutes,
        "day_text": each.day,
        "clock_text": each.clock[:5] if each.clock else None,
        "written": text,
    }


def _with_parts_together(frame: Frame, understood: Understanding) -> Frame:
    """Put what was read of cells in parts in the place of what was read of whole cells."""
    for base in sorted({_base(name) for name in understood.moments if name != _base(name)}):
        day, clock = base + DAY_PART, base + CLOCK_PART
        frame = frame.pipe(_with_all, (base, day, clock)).pipe(_together, base, day, clock)
    return frame


def _together(frame: Frame, base: str, day: str, clock: str) -> Frame:
    """Put the day and the time of one column together; where either is impossible, so is the whole."""
    col = nw.col
    impossible = nw.max_horizontal(col(f"{day}__impossible"), col(f"{clock}__impossible"))
    written = nw.concat_str(col(f"{day}__written"), col(f"{clock}__written"), separator=" ", ignore_nulls=False)
    known: dict[str, Any] = {
        **{kind: nw.when(impossible == 0).then(col(f"{day}__{kind}")) for kind in ("day", "eight", "day_text")},
        **{kind: nw.when(impossible == 0).then(col(f"{clock}__{kind}")) for kind in ("clock", "clock_text")},
        "impossible": impossible,
        "written": written,
    }
    found = {f"{base}__{kind}": known[kind] for kind in WANTED[base] if kind in known}
    frame = frame.with_columns(*(nw.coalesce(col(name), part).alias(name) for name, part in found.items()))
    return frame.drop(*(f"{name}__{kind}" for name in (day, clock) for kind in _wanted(name)))


def _with_all(frame: Frame, names: Sequence[str] = tuple(WANTED)) -> Frame:
    """Add what no text was found for, empty."""
    there = set(frame.collect_schema().names())
    lacking = {f"{name}__{kind}": KINDS[kind] for name in names for kind in _wanted(name)}
    empty = [nw.lit(None, dtype=dtype).alias(name) for name, dtype in lacking.items() if name not in there]
    return frame.with_columns(*empty) if empty else frame  # a lazy engine refuses to add nothing


def _first(names: Sequence[str], kind: str) -> nw.Expr:
    """Take what the first of some columns has."""
    return nw.coalesce(*(nw.col(f"{name}__{kind}") for name in names))


def with_moments(frame: Frame) -> Frame:
    """Put the moments of the visit together: the slot, arrival, start, end, and the day of booking.

    The slot's day is that of the slot, of the date column or of the start, in
    this order, and its time likewise. Without any time of day the slot starts
    at midnight and ``has_clock`` is false. ``clock_shift`` is by how many minutes
    the clock was moved between start and end, where both are written with their
    offset from universal time.
    """
    col = nw.col
    started = nw.when(col("started_at__clock").is_null() | ~col("started_at__day").is_null()).then(
        col("started_at__written")
    )
    frame = frame.with_columns(
        _first(SLOT_DAY_FROM, "day").alias("__day"),
        _first(SLOT_DAY_FROM, "eight").alias("__eight"),
        _first(SLOT_DAY_FROM, "day_text").alias("day_text"),
        _first(SLOT_CLOCK_FROM, "clock").alias("__clock"),
        nw.coalesce(_first(SLOT_CLOCK_FROM, "clock_text"), nw.lit("00:00")).alias("clock_text"),
        nw.coalesce(col("date__written"), col("slot_start__written"), started).alias("date_text"),
        nw.coalesce(_first(TOLD_FROM, "impossible"), nw.lit(0.0)).alias("date_impossible"),
    )
    frame = frame.with_columns(
        (~col("__clock").is_null()).alias("has_clock"),
        (col("ended_at__offset") - col("started_at__offset")).alias("clock_shift"),
        (col("booked_on__day") * DAY_SECONDS).alias("booked_on"),
        (col("__day") * DAY_SECONDS + nw.coalesce(col("__clock"), nw.lit(0.0))).alias("slot_start"),
        *(
            (nw.coalesce(col(f"{name}__day"), col("__day")) * DAY_SECONDS + col(f"{name}__clock")).alias(name)
            for name in OF_THE_VISIT
        ),
    )
    planned = (col("slot_end") - col("slot_start")) / 60
    planned = nw.when(col("has_clock") & (planned > 0)).then(planned)
    written = nw.when(col("slot_minutes") > 0).then(col("slot_minutes"))
    return frame.with_columns(nw.coalesce(written, planned).alias("slot_minutes"))


def with_age_band(frame: Frame) -> Frame:
    """Give the age band at the visit: from the birth date, else from the age, else from the band in the log.

    Ages are differences of dates written as eight digits; a birth date with a
    two-digit year that lies after the visit is taken a century back.
    """
    frame = frame.with_columns(
        ((nw.col("__eight") - nw.col("birth_date__eight")) / 10000).floor().alias("__born_years")
    )
    years = nw.col("__born_years")
    frame = frame.with_columns(
        nw.when((years < 0) & (nw.col("birth_date__short") > 0))
        .then(years + 100)
        .otherwise(years)
        .alias("__born_years")
    )
    frame = frame.with_columns(nw.coalesce(nw.col("__born_years"), nw.col("age")).alias("__years"))
    band: Any = nw.when((nw.col("__years") >= AGE_BAND_FROM[-1][0]) & (nw.col("__years") < AGE_BAND_FROM[-2][0])).then(
        nw.lit(AGE_BAND_FROM[-1][1])
    )
    upper = OLDEST + 1
    for low, name in AGE_BAND_FROM[:-1]:
        inside = (nw.col("__years") >= low) & (nw.col("__years") < upper)
        band = nw.when(inside).then(nw.lit(name)).otherwise(band)
        upper = low
    return frame.with_columns(nw.coalesce(band, nw.col("age_band")).alias("age_band"))
