"""The days on which clocks are changed, and times written with their offset from universal time."""

from __future__ import annotations

import datetime as dt
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

from analysis.problems import DataProblem

FIRST_YEAR, LAST_YEAR = 1990, 2100
"""Years in which a visit can lie."""


@cache
def zone_of(name: str) -> ZoneInfo | None:
    """Give the time zone of a name.

    Parameters
    ----------
    name : str
        Such as ``Europe/Paris``; empty for none.

    Returns
    -------
    ZoneInfo or None

    Raises
    ------
    DataProblem
        If there is no such time zone.

    Examples
    --------
    >>> zone_of(""), zone_of("Europe/Paris").key
    (None, 'Europe/Paris')
    """
    if not name:
        return None
    if name not in available_timezones():
        raise DataProblem(
            "There is no such time zone.",
            'Write it like "Europe/London", or leave it empty: then times stay as they are written.',
            file="clinic.toml",
            setting="export.time_zone",
            value=name,
        )
    return ZoneInfo(name)


def local_clock(day: str, clock: str, offset_minutes: float, zone: str) -> tuple[str, str, float]:
    """Move a time with a known offset to the wall clock of a time zone.

    Parameters
    ----------
    day, clock : str
        As written, ``2026-07-01`` and ``08:05:00``.
    offset_minutes : float
        How far that clock is ahead of universal time.
    zone : str

    Returns
    -------
    tuple of (str, str, float)
        The day, the time of day and the offset there.

    Examples
    --------
    >>> local_clock("2026-07-01", "23:30:00", 0, "Europe/Paris")
    ('2026-07-02', '01:30:00', 120.0)
    """
    universal = dt.datetime.fromisoformat(f"{day} {clock}") - dt.timedelta(minutes=offset_minutes)
    there = universal.replace(tzinfo=dt.UTC).astimezone(zone_of(zone))
    return f"{there:%Y-%m-%d}", f"{there:%H:%M:%S}", _offset(there)


def _offset(moment: dt.datetime) -> float:
    """Give the minutes by which a moment's clock is ahead of universal time."""
    return (moment.utcoffset() or dt.timedelta()).total_seconds() / 60


@cache
def clock_changes(zone: str) -> dict[str, tuple[str, str]]:
    """Give the wall-clock times of each year that never are, or are twice.

    Where clocks go forward the hour between does not exist; where they go back
    it comes twice. Minutes between two clock times that touch it are not known.

    Parameters
    ----------
    zone : str

    Returns
    -------
    dict
        Day to the first such time and the first time after; empty without a zone.

    Examples
    --------
    >>> changes = clock_changes("Europe/London")
    >>> changes["2026-03-29"], changes["2026-10-25"], clock_changes("")
    (('01:00:00', '02:00:00'), ('01:00:00', '02:00:00'), {})
    """
    there = zone_of(zone)
    if there is None:
        return {}
    found, day = {}, dt.datetime(FIRST_YEAR, 1, 1, 12, tzinfo=dt.UTC)
    before = _offset(day.astimezone(there))
    while day.year <= LAST_YEAR:
        next_day = day + dt.timedelta(days=1)
        after = _offset(next_day.astimezone(there))
        if after != before:
            change = _moment_of_change(day, next_day, there, before)
            start, end = (change + dt.timedelta(minutes=each) for each in sorted((before, after)))
            last = f"{end:%H:%M:%S}" if end.date() == start.date() else "24:00:00"
            found[f"{start:%Y-%m-%d}"] = (f"{start:%H:%M:%S}", last)
        day, before = next_day, after
    return found


def clock_change_places(zone: str) -> dict[int, tuple[float, float]]:
    """Give ``clock_changes`` as numbers: days since 1970 to seconds since that day's midnight.

    Examples
    --------
    >>> clock_change_places("Europe/London")[20541]
    (3600.0, 7200.0)
    """
    return {
        (dt.date.fromisoformat(day) - dt.date(1970, 1, 1)).days: (_seconds(gone), _seconds(back))
        for day, (gone, back) in clock_changes(zone).items()
    }


def _seconds(clock: str) -> float:
    """Count the seconds since midnight."""
    hours, minutes, seconds = (int(part) for part in clock.split(":"))
    return float(hours * 3600 + minutes * 60 + seconds)


def _moment_of_change(low: dt.datetime, high: dt.datetime, zone: ZoneInfo, before: float) -> dt.datetime:
    """Find the universal time, to the minute, from which the clock differs from what it was."""
    while high - low > dt.timedelta(minutes=1):
        middle = low + dt.timedelta(minutes=round((high - low).total_seconds() / 120))
        low, high = (middle, high) if _offset(middle.astimezone(zone)) == before else (low, middle)
    return high
