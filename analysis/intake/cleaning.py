"""The cleaning chain: text to typed columns, in named steps for ``.pipe``, frame to frame.

The steps are written in narwhals and keep to what every engine can do without
reading the rows twice: texts are looked up in small tables made from their
distinct values and joined back (dates and times too, because engines differ on
31 February), moments are put together from texts that are known to be good,
and no step depends on the order of the rows.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import narwhals as nw

from analysis.intake import amounts
from analysis.intake.privacy import AGE_BAND_FROM, OLDEST
from analysis.intake.row_columns import MOMENTS, SIDED_EAR_FACTS, VISIT_FACTS, columns_of_kind, kind_of, text_columns
from analysis.intake.understanding import CODED_KINDS, MOMENT_KINDS, NUMBER_KINDS, Understanding, coded_as
from analysis.intake.vocabulary import vocabulary
from analysis.intake.words import Reading

Frame = TypeVar("Frame", nw.DataFrame[Any], nw.LazyFrame[Any])
MOMENT_FORMAT = "%Y-%m-%d %H:%M:%S"
KEPT_TEXTS = (
    "source_file", "source_row", "visit_cells", "ear_cells", "file_order", "system", "shape", "content", "too_long", "attendance_logged",
    "evidence_logged", "visit_number", "patient_key", "test_patient", "has_clock", "date_text", "date_impossible", "clock_shift", "pass_number",
)  # fmt: skip
"""What a row carries besides the facts, until it is kept or set aside."""
NEEDED_FOR_TIMES = (*columns_of_kind(*MOMENT_KINDS), "slot_minutes", "age", "age_band")
GIVEN_BY_TIMES = (*MOMENTS, "slot_minutes", "age_band", "has_clock", "date_text", "date_impossible", "clock_shift")
MADE_LATER = ("has_clock", "date_text", "date_impossible", "clock_shift", "pass_number")


@dataclass(frozen=True)
class Lookup:
    """A small table from the distinct texts of one column to what they mean.

    Attributes
    ----------
    column : str
        The column of text.
    outputs : mapping
        Names and types of the columns to add.
    table : mapping
        Text to one value for each output.
    """

    column: str
    outputs: Mapping[str, Any]
    table: Mapping[str, Sequence[Any]]


def looked_up(frame: Frame, lookups: Sequence[Lookup]) -> Frame:
    """Look texts up in small tables and add what is found.

    Parameters
    ----------
    frame : narwhals frame, eager or lazy
    lookups : sequence of Lookup

    Returns
    -------
    narwhals frame
        With the outputs of all; empty where the text is not in its table.
    """
    for each in lookups:
        if each.table:
            columns: dict[str, list[Any]] = {"__text": list(each.table)}
            for place, name in enumerate(each.outputs):
                columns[name] = [values[place] for values in each.table.values()]
            table = nw.from_dict(columns, schema={"__text": nw.String, **each.outputs}, backend=frame.implementation)
            other: Any = table.lazy() if isinstance(frame, nw.LazyFrame) else table
            frame = frame.join(other, left_on=each.column, right_on="__text", how="left")
    nothing = [
        nw.lit(None, dtype=dtype).alias(name)
        for each in lookups
        if not each.table
        for name, dtype in each.outputs.items()
    ]
    return frame.with_columns(*nothing) if nothing else frame


def beside(
    frame: Frame, step: Callable[[Frame], Frame], *, on: str, needs: Sequence[str], gives: Sequence[str]
) -> Frame:
    """Run a step on the few columns it needs and join what it gives.

    Engines that copy the columns of a frame at each step copy few so.

    Parameters
    ----------
    frame : narwhals frame
    step : callable
        Frame to frame, keeping the rows.
    on : str
        A column that names each row.
    needs, gives : sequence of str
        Columns the step needs, and those taken from it.
    """
    given = step(frame.select(on, *needs)).select(on, *gives)
    return frame.drop(*(column for column in gives if column in needs)).join(given, on=on, how="left")


def translated(frame: Frame, column: str, outputs: Mapping[str, Any], table: Mapping[str, Sequence[Any]]) -> Frame:
    """Look the texts of one column up in one small table."""
    return looked_up(frame, [Lookup(column, outputs, table)])


def _in_place(frame: Frame, columns: Sequence[str]) -> Frame:
    """Put what was found for some columns in the place of their texts."""
    if not columns:
        return frame
    found = [f"{column}__found" for column in columns]
    return frame.with_columns(*(nw.col(f"{column}__found").alias(column) for column in columns)).drop(*found)


def without_what_identifies(frame: Frame) -> Frame:
    """Leave out what tells who a patient is; the birth date stays until the age is known."""
    before = [column for column in KEPT_TEXTS if column not in MADE_LATER]
    facts = [column for column in text_columns() if kind_of(column) not in ("key", "drop") and column != "visit_id"]
    return frame.select(*before, *facts)


def with_words(frame: Frame, understood: Understanding) -> Frame:
    """Put codes in place of the texts of every coded column; grades in percent are kept beside."""
    columns = [column for column in columns_of_kind(*CODED_KINDS) if column in understood.words]
    lookups = []
    for column in columns_of_kind(*CODED_KINDS):
        readings = understood.words.get(column, {})
        base = coded_as(column)
        if base == "grade":
            lookups.append(Lookup(column, {f"{column}__percent": nw.Float64}, _percents(readings)))
        if base == "softener":
            lookups.append(Lookup(column, {"softener__days": nw.Float64}, _days(readings)))
        codes = {text: (each.code,) for text, each in readings.items() if each.code}
        if column in understood.words:  # any other is empty, which is the same as text and as code
            lookups.append(Lookup(column, {f"{column}__found": nw.String}, codes))
    return _in_place(looked_up(frame, lookups), columns)


def _percents(readings: Mapping[str, Reading]) -> dict[str, tuple[float]]:
    """Find the percentages written in place of a grade."""
    found = {text: amounts.percent(text) for text, each in readings.items() if each.code}
    return {text: (share,) for text, share in found.items() if share is not None}


def _days(readings: Mapping[str, Reading]) -> dict[str, tuple[float]]:
    """Find the days written behind a softening agent."""
    named = {text: amounts.days(text) for text, each in readings.items() if each.code not in (None, "none")}
    return {text: (days,) for text, days in named.items() if days is not None and not text.strip().isdigit()}


def with_numbers(frame: Frame, understood: Understanding) -> Frame:
    """Put numbers in place of the texts of every number column."""
    columns, lookups = columns_of_kind(*NUMBER_KINDS), []
    for column in columns:
        read = {text: (value,) for text, value in understood.numbers.get(column, {}).items() if value is not None}
        lookups.append(Lookup(column, {f"{column}__found": nw.Float64}, read))
    return _in_place(looked_up(frame, lookups), columns)


def with_days_and_clocks(frame: Frame, understood: Understanding) -> Frame:
    """Put the day and the time of day, as texts that are known to be good, beside each date or time."""
    lookups = []
    for column in columns_of_kind(*MOMENT_KINDS):
        outputs = {
            f"{column}__day": nw.String,
            f"{column}__clock": nw.String,
            f"{column}__impossible": nw.Float64,
            f"{column}__short": nw.Float64,
            f"{column}__offset": nw.Float64,
        }
        table = {
            text: (each.day, each.clock, float(each.impossible), float(each.two_digit_year), each.offset_minutes)
            for text, each in understood.moments.get(column, {}).items()
        }
        lookups.append(Lookup(column, outputs, table))
    return looked_up(frame, lookups)


def moment(day: nw.Expr, clock: nw.Expr) -> nw.Expr:
    """Put a day and a time of day together; empty where either is."""
    text = nw.concat_str(day, clock, separator=" ", ignore_nulls=False)
    return text.str.to_datetime(format=MOMENT_FORMAT).cast(nw.Datetime("us"))


def with_moments(frame: Frame) -> Frame:
    """Put the moments of the visit together: the slot, arrival, start, end, and the day of booking.

    The slot's day is that of the slot, of the date column or of the start, in
    this order, and its time likewise. Without any time of day the slot starts
    at midnight and ``has_clock`` is false. ``clock_shift`` is by how many minutes
    the clock was moved between start and end, where both are written with their
    offset from universal time.
    """
    col = nw.col
    started_text = nw.when(col("started_at__clock").is_null()).then(col("started_at"))
    frame = frame.with_columns(
        nw.coalesce(col("slot_start__day"), col("date__day"), col("started_at__day")).alias("__day"),
        nw.coalesce(
            col("slot_start__clock"), col("slot_time__clock"), col("date__clock"), col("started_at__clock")
        ).alias("__clock"),
        nw.coalesce(col("date"), col("slot_start"), started_text).alias("date_text"),
        nw.coalesce(
            col("date__impossible"), col("slot_start__impossible"), col("started_at__impossible"), nw.lit(0.0)
        ).alias("date_impossible"),
    )
    frame = frame.with_columns(
        (~col("__clock").is_null()).alias("has_clock"),
        (col("ended_at__offset") - col("started_at__offset")).alias("clock_shift"),
        nw.coalesce(col("__clock"), nw.lit("00:00:00")).alias("__start_clock"),
        nw.lit("00:00:00").alias("__midnight"),
    )
    frame = frame.with_columns(
        moment(col("booked_on__day"), col("__midnight")).alias("booked_on"),
        moment(col("__day"), col("__start_clock")).alias("slot_start"),
        *(
            moment(nw.coalesce(col(f"{name}__day"), col("__day")), col(f"{name}__clock")).alias(name)
            for name in ("arrived_at", "started_at", "ended_at", "slot_end")
        ),
    )
    planned = (col("slot_end") - col("slot_start")).dt.total_seconds() / 60
    planned = nw.when(col("has_clock") & (planned > 0)).then(planned)
    written = nw.when(col("slot_minutes") > 0).then(col("slot_minutes"))
    return frame.with_columns(nw.coalesce(written, planned).alias("slot_minutes"))


def with_age_band(frame: Frame) -> Frame:
    """Give the age band at the visit: from the birth date, else from the age, else from the band in the log.

    Ages are differences of dates written as eight digits, which every engine can subtract;
    a birth date with a two-digit year that lies after the visit is taken a century back.
    """
    born = nw.col("birth_date__day").str.replace_all("-", "", literal=True).cast(nw.Float64)
    seen = nw.col("__day").str.replace_all("-", "", literal=True).cast(nw.Float64)
    frame = frame.with_columns(((seen - born) / 10000).floor().alias("__born_years"))
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


def only_row_columns(frame: Frame) -> Frame:
    """Keep what a row needs from here on; whatever identifies a patient ends here."""
    return frame.select(*KEPT_TEXTS, *VISIT_FACTS, "ear", *SIDED_EAR_FACTS)


def cleaned(frame: Frame, understood: Understanding) -> Frame:
    """Run the whole chain on the rows of one file.

    Parameters
    ----------
    frame : narwhals frame
        The columns of ``text_columns`` as text, and those of ``KEPT_TEXTS``
        that are known before.
    understood : Understanding
        What the distinct texts mean.

    Returns
    -------
    narwhals frame
        One row a source row, typed; nothing in it identifies a patient.
    """

    def when(times: Frame) -> Frame:
        return times.pipe(with_days_and_clocks, understood).pipe(with_moments).pipe(with_age_band)

    return (
        frame.pipe(without_what_identifies)
        .pipe(with_words, understood)
        .pipe(with_numbers, understood)
        .pipe(beside, when, on="source_row", needs=NEEDED_FOR_TIMES, gives=GIVEN_BY_TIMES)
        .pipe(with_facts_beside)
        .pipe(only_row_columns)
    )
