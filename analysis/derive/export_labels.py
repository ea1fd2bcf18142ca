"""What exports are called in anything that may leave the clinic: a file's name may name people."""

from __future__ import annotations

from collections import Counter

import pandas as pd

UNDATED = "export without dates"


def export_labels(visits: pd.DataFrame) -> pd.Series:
    """Call each booking's export by the months of its bookings; their days would be those of single visits.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.

    Returns
    -------
    pandas.Series of str
        With the bookings' index; exports of the same months are numbered by file name.

    Examples
    --------
    >>> visits = pd.DataFrame({"source_file": ["a.csv", "a.csv"],
    ...     "slot_start": pd.to_datetime(["2026-01-02 09:00", "2026-03-04 10:00"])})
    >>> export_labels(visits).tolist()[0]
    'export of January 2026 to March 2026'
    """
    whose, files = pd.factorize(visits["source_file"].fillna(""), sort=True)
    days = visits["slot_start"].groupby(whose).agg(["min", "max"])
    months = {number: _months(first, last) for number, first, last in days.itertuples() if pd.notna(first)}
    alike = Counter(months.values())
    called = {
        number: f"export of {said}{f', number {place}' if alike[said] > 1 else ''}"
        for place, (number, said) in enumerate(months.items(), start=1)
    }
    labels = pd.Series([called.get(number, UNDATED) for number in range(len(files))], dtype="str")
    return pd.Series(labels.array.take(whose), index=visits.index)


def _months(first: pd.Timestamp, last: pd.Timestamp) -> str:
    """Say the months from one day to another."""
    ends = (f"{first:%B %Y}", f"{last:%B %Y}")
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"
