"""What exports are called in anything that may leave the clinic: a file's name may name people."""

from __future__ import annotations

import pandas as pd

UNDATED = "export without dates"


def export_labels(visits: pd.DataFrame) -> pd.Series:
    """Call each booking's export by the days of its bookings.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.

    Returns
    -------
    pandas.Series of str
        With the bookings' index; exports of the same days are numbered by file name.

    Examples
    --------
    >>> visits = pd.DataFrame({"source_file": ["a.csv", "a.csv"],
    ...     "slot_start": pd.to_datetime(["2026-01-02 09:00", "2026-03-04 10:00"])})
    >>> export_labels(visits).tolist()[0]
    'export of 2 January 2026 to 4 March 2026'
    """
    file = visits["source_file"].fillna("")
    days = visits.groupby(file)["slot_start"].agg(["min", "max"])
    several = days.duplicated(keep=False)
    called = {
        name: f"export of {_day(first)} to {_day(last)}{f', number {place}' if alike else ''}"
        for place, (name, first, last, alike) in enumerate(
            zip(days.index, days["min"], days["max"], several, strict=True), start=1
        )
        if pd.notna(first)
    }
    return file.map(called).astype("object").fillna(UNDATED).astype("str")


def _day(when: pd.Timestamp) -> str:
    """Say a day."""
    return f"{when.day} {when:%B %Y}"
