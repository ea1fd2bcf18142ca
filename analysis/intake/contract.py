"""The contract of the store's tables: types, codes, ranges, keys and what must agree, on every engine.

Made from ``schema.py`` alone, as pandera schemas. Tables are checked as pandas or
Polars frames; files that any engine has written, Spark among them, as lazy
Polars frames.
"""

from __future__ import annotations

import importlib
import warnings
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from types import ModuleType
from typing import Any

import narwhals as nw
import polars as pl

from analysis.intake.contract_words import Fault, as_problem
from analysis.intake.row_columns import SIDES
from analysis.intake.typed_tables import code_type
from analysis.schema import EAR_ROWS, METHOD_JOIN, METHODS, SET_ASIDE, VISITS, Column, Table
from analysis.settings import Settings

NEVER_EMPTY = {
    "visits": ("visit_id", "source_file", "source_row"),
    "ears": ("visit_id",),
    "set_aside": ("source_file", "source_row", "reason", "remedy"),
}
RANGES: dict[str, tuple[float, float | None]] = {
    "percent_blocked": (0, 100),
    "minutes": (0, None),
    "slot_minutes": (0, None),
    "softening_days": (0, None),
    "fee": (0, None),
    "source_row": (1, None),
}
METHOD = f"(?:{'|'.join(METHODS)})"
PATTERNS = {"methods": f"^{METHOD}(?:{METHOD_JOIN}{METHOD})*$", "patient_key": "^[0-9a-f]{16}$"}
"""What a text must look like: methods in order, and a pseudonym, never a patient's number."""
MEASURED = ("timed", "rounded", "filled_from_slot")
NOT_KEPT = ("missed", "cancelled_late", "cancelled", "moved")
CLOCK_CHANGE_MINUTES = 60
"""An end may stand so far before its start where clocks went back between the two."""
KEYS = {"visits": ("visit_id",), "set_aside": ("source_file", "source_row")}


def check_tables(tables: Mapping[str, Any], settings: Settings) -> None:
    """Check tables against the contract.

    Parameters
    ----------
    tables : mapping
        ``visits``, ``ears`` and ``set_aside``: pandas frames of ``schema``, or Polars frames, lazy or not; or
        each a list of such parts, an ear in the same part as its visit, of which memory holds one at a time.
    settings : Settings
        Their own words are named where one of them gave a wrong code.

    Raises
    ------
    DataProblem
        With every failure at once: what is wrong, in which column, in how many rows.
    """
    parts = {name: frame if isinstance(frame, list) else [frame] for name, frame in tables.items()}
    found: Counter[Fault] = Counter()
    for table in (VISITS, EAR_ROWS, SET_ASIDE):
        for part in parts[table.name]:
            for fault in faults_of(table, part.collect() if isinstance(part, pl.LazyFrame) else part):
                found[replace(fault, rows=0)] += fault.rows
    for visits, ears in zip(parts["visits"], parts["ears"], strict=True):
        for fault in ear_faults(nw.from_native(visits).lazy(), nw.from_native(ears).lazy()):
            found[replace(fault, rows=0)] += fault.rows
    faults = [replace(fault, rows=rows) for fault, rows in found.items()]
    for name in KEYS:
        faults += key_faults(name, nw.concat([nw.from_native(part).lazy() for part in parts[name]]))
    if faults:
        raise as_problem(faults, settings)


def faults_of(table: Table, frame: Any) -> list[Fault]:
    """Check one frame's columns: their types, codes and ranges, and what must agree within a row.

    Parameters
    ----------
    table : Table
    frame : pandas or Polars frame

    Returns
    -------
    list of Fault
        Empty where the frame keeps the contract.
    """
    engine, own_codes = "pandas", False
    if nw.from_native(frame, eager_only=True).implementation.is_polars():
        engine, own_codes = "polars", _holds_own_codes(table, frame)
        frame = frame if own_codes else _codes_as_text(table, frame)
    schema, errors = _schema(table.name, engine, own_codes)
    try:
        with _quiet():
            schema.validate(frame, lazy=True)
    except errors as found:
        return _faults_found(table, nw.from_native(found.failure_cases, eager_only=True))
    return []


def key_faults(name: str, frame: Any) -> list[Fault]:
    """Check that a visit, or a row set aside, stands in its table once.

    Parameters
    ----------
    name : str
        ``visits`` or ``set_aside``.
    frame : narwhals LazyFrame

    Returns
    -------
    list of Fault
    """
    keys = frame.select(*KEYS[name])
    more = _rows_of(keys.group_by(*KEYS[name]).agg(nw.len().alias("rows")).filter(nw.col("rows") > 1))
    return [Fault(name, KEYS[name][-1], "occurs more than once", more)] if more else []


def ear_faults(visits: Any, ears: Any) -> list[Fault]:
    """Check that an ear stands in its table once, and belongs to a visit.

    Parameters
    ----------
    visits, ears : narwhals LazyFrame

    Returns
    -------
    list of Fault
    """
    ears = ears.with_columns(*(_is_ear(side).alias(side) for side in SIDES))
    by_visit = ears.group_by("visit_id").agg(*(nw.col(side).sum() for side in SIDES))
    faults = []
    if more := _rows_of(by_visit.filter((nw.col("left") > 1) | (nw.col("right") > 1))):
        faults.append(Fault("ears", "ear", "occurs more than once", more))
    if alone := _rows_of(by_visit.select("visit_id").join(visits.select("visit_id"), on="visit_id", how="anti")):
        faults.append(Fault("ears", "visit_id", "belongs to no visit", alone))
    return faults


def _is_ear(side: str) -> nw.Expr:
    """Say 1 of the rows of one ear."""
    return nw.when(nw.col("ear") == side).then(nw.lit(1)).otherwise(nw.lit(0))


def _rows_of(frame: Any) -> int:
    """Count the rows of a lazy frame."""
    return int(frame.select(nw.len().alias("rows")).collect()["rows"].to_list()[0])


def _agreements(table: str) -> dict[str, nw.Expr]:
    """Give what must agree within a row: why it does not, and when it does."""
    if table != "visits":
        return {}
    quality = nw.coalesce(nw.col("minutes_quality").cast(nw.String), nw.lit(""))
    attendance = nw.coalesce(nw.col("attendance").cast(nw.String), nw.lit(""))
    back = (nw.col("started_at") - nw.col("ended_at")).dt.total_minutes() > CLOCK_CHANGE_MINUTES
    return {
        "there are minutes without a word on how they are known, or the other way round": (
            (quality == "implausible") | (nw.col("minutes").is_null() != quality.is_in(MEASURED))
        ),
        "a booking that was not kept has minutes": ~attendance.is_in(NOT_KEPT) | nw.col("minutes").is_null(),
        "the end is before the start, yet the minutes count": ~(nw.coalesce(back, nw.lit(False)) & quality.is_in(MEASURED)),
        "the booking was made after the visit": ~nw.coalesce(
            nw.col("booked_on") > nw.col("slot_start"), nw.lit(False)
        ),
    }  # fmt: skip


@cache
def _schema(name: str, engine: str, own_codes: bool) -> tuple[Any, Any]:
    """Build one table's pandera schema for one engine; pandera is loaded only when tables are written."""
    pa = _pandera(engine)
    table = next(each for each in (VISITS, EAR_ROWS, SET_ASIDE) if each.name == name)
    columns = {column.name: _column(pa, engine, table, column, own_codes) for column in table.columns}
    checks = [pa.Check(_holds(engine, holds), error=why) for why, holds in _agreements(name).items()]
    return pa.DataFrameSchema(columns, checks=checks, strict=True, ordered=True), pa.errors.SchemaErrors


def _pandera(engine: str) -> ModuleType:
    """Load pandera for one engine."""
    with _quiet():
        return importlib.import_module(f"pandera.{engine}")


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep back what PySpark, where pandera finds it installed, says about the age of pandas."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="PySpark", category=FutureWarning)
        yield


def _column(pa: ModuleType, engine: str, table: Table, column: Column, own_codes: bool) -> Any:
    """Build the schema of one column; a type that can hold the codes only is check enough of them."""
    checks = []
    if column.codes and not own_codes:
        checks.append(pa.Check.isin(list(column.codes)))
    if column.name in RANGES and column.kind in ("number", "count"):
        low, high = RANGES[column.name]
        checks.append(pa.Check.ge(low) if high is None else pa.Check.in_range(low, high))
    if column.name in PATTERNS:
        checks.append(pa.Check.str_matches(PATTERNS[column.name]))
    dtype = code_type(column) if own_codes and column.codes else _dtype(engine, column)
    return pa.Column(dtype, checks, nullable=column.name not in NEVER_EMPTY[table.name])


def _dtype(engine: str, column: Column) -> Any:
    """Give the type a column has on an engine."""
    if engine == "polars":
        return {
            "number": pl.Float64,
            "count": pl.Int64,
            "yes_no": pl.Boolean,
            "moment": pl.Datetime("us"),
            "day": pl.Datetime("us"),
        }.get(column.kind, pl.String)
    from analysis.schema import pandas_dtype

    return pandas_dtype(column)


def _holds(engine: str, expression: nw.Expr) -> Any:
    """Turn what must agree into a check of one engine."""

    def check(data: Any) -> Any:
        frame = data.lazyframe if engine == "polars" else data
        return nw.from_native(frame).select(expression.alias("holds")).to_native()

    def series(data: Any) -> Any:
        return check(data)["holds"].astype("bool")

    return check if engine == "polars" else series


def _holds_own_codes(table: Table, frame: Any) -> bool:
    """Tell whether every coded column of a Polars frame has the type that holds its codes and nothing else."""
    return all(frame.schema.get(column.name) == code_type(column) for column in table.columns if column.codes)


def _codes_as_text(table: Table, frame: Any) -> Any:
    """Give coded columns of a Polars frame as text: engines keep codes in different types of their own."""
    present = [column.name for column in table.columns if column.codes and column.name in frame.columns]
    return frame.with_columns(pl.col(present).cast(pl.String))


def _faults_found(table: Table, cases: nw.DataFrame[Any]) -> list[Fault]:
    """Put pandera's list of failures together: one fault for each column and rule."""
    found: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for case in cases.iter_rows(named=True):
        of_a_column = case["column"] in table.names and case["check"] not in _agreements(table.name)
        found.setdefault((str(case["column"]) if of_a_column else "", str(case["check"])), []).append(case)
    coded = {column.name for column in table.columns if column.codes}
    faults = []
    for (column, check), each in found.items():
        rows = {case["index"] for case in each}  # pandas tells of a row once for each of its columns
        codes = sorted({str(case["failure_case"]) for case in each})[:3] if column in coded else []
        faults.append(Fault(table.name, column, check, len(rows), tuple(codes)))
    return faults
