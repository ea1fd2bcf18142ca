"""Typed cells of workbooks and Parquet files as text."""

from __future__ import annotations

import datetime as dt
import math
from decimal import Decimal
from typing import Any


def cell_text(value: Any) -> str:
    """Write one typed cell as text.

    Parameters
    ----------
    value : object
        What a workbook or a Parquet file holds.

    Returns
    -------
    str
        Dates as 2026-03-01, times as 09:05:00, whole numbers without a point.

    Examples
    --------
    >>> [cell_text(each) for each in (25.0, True, None, dt.time(9, 4, 59, 999999), dt.date(2026, 3, 1))]
    ['25', 'TRUE', '', '09:05:00', '2026-03-01']
    """
    if value is None or value == "":
        return ""
    if isinstance(value, str):
        return clean_cell(value)
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, (int, float, Decimal)):
        return _number_text(value)
    if isinstance(value, dt.datetime):
        return f"{_whole_second(value):%Y-%m-%d %H:%M:%S}" if value.year >= 1000 else str(value)
    if isinstance(value, dt.time):
        return f"{_whole_second(dt.datetime.combine(dt.date(2000, 1, 1), value)):%H:%M:%S}"
    if isinstance(value, dt.timedelta):
        seconds = round(value.total_seconds())
        return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    return clean_cell(str(value))


def _number_text(value: float | Decimal) -> str:
    """Write a number, whole ones without a point."""
    as_float = float(value)
    if not math.isfinite(as_float):
        return ""
    if as_float == int(as_float) and abs(as_float) < 1e15:
        return str(int(as_float))
    return f"{as_float:.15g}"


def _whole_second(value: dt.datetime) -> dt.datetime:
    """Round a moment to the second; workbooks store times as shares of a day, a hair off."""
    return (value.replace(tzinfo=None) + dt.timedelta(microseconds=500_000)).replace(microsecond=0)


def clean_cell(text: str) -> str:
    r"""Take space and unprintable marks off both ends of a cell.

    Examples
    --------
    >>> clean_cell("\u00a0 semi occ \x00")
    'semi occ'
    """
    return text.replace("\x00", "").replace("\u00a0", " ").replace("\ufeff", "").strip()
