"""Dates, times of day and durations, read from their distinct texts in plain Python."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from analysis.intake.clock_changes import local_clock

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
FIRST_YEAR, LAST_YEAR = 1900, 2100
EXCEL_DAY_ZERO = dt.date(1899, 12, 30)
EXCEL_DAYS = (20000, 80000)
"""Serials of 1954 to 2119; a number outside is not taken for a date."""
CENTURY_TURNS_AT = 70
"""Two-digit years below this are 20xx."""

WEEKDAY = re.compile(r"^(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*[,.]?\s+", re.IGNORECASE)
YEAR_FIRST = re.compile(r"(\d{4})[-/. ](\d{1,2})[-/. ](\d{1,2})")
PACKED = re.compile(r"(\d{4})(\d{2})(\d{2})")
NUMBERS = re.compile(r"(\d{1,2})[-/. ](\d{1,2})[-/. ](\d{4}|\d{2})")
DAY_MONTH_NAME = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[-/., ]*([a-z]{3,9})\.?[-/., ]*(\d{4}|\d{2})", re.IGNORECASE)
MONTH_NAME_DAY = re.compile(r"([a-z]{3,9})\.?[-/ ]*(\d{1,2})(?:st|nd|rd|th)?[-/, ]+(\d{4}|\d{2})", re.IGNORECASE)
SERIAL = re.compile(r"(\d{5})(?:[.,](\d+))?")
CLOCK = re.compile(
    r"(\d{1,2})\s*[:.h]\s*(\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?\s*(am|pm|a\.m\.|p\.m\.|a|p)?", re.IGNORECASE
)
PACKED_CLOCK = re.compile(r"(\d{1,2})(\d{2})\s*(am|pm|a\.m\.|p\.m\.)?(?:\s*h(?:rs)?)?", re.IGNORECASE)
HOUR = re.compile(r"(\d{1,2})\s*(am|pm|a\.m\.|p\.m\.)?", re.IGNORECASE)
FRACTION_OF_DAY = re.compile(r"0?[.,]\d+")
OFFSET = re.compile(r"(\d{2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?)\s*(z|[+-]\d{2}(?::?\d{2})?)$", re.IGNORECASE)
SPREADSHEET_DAY = re.compile(r"^(?:1899-12-3[01]|1900-01-0[01])[ T]")
"""The day a spreadsheet puts before a time of day that stands alone."""
AFTER_DATE = re.compile(r"(?:t|,|\s+at\s+|\s+)\s*", re.IGNORECASE)

HOURS_MINUTES = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?")
WORDED_DURATION = re.compile(
    r"(?:(\d+(?:\.\d+)?)\s*h(?:(?:ou)?rs?)?\s*)?(?:(\d+(?:\.\d+)?)\s*(?:m(?:in(?:ute)?s?)?\.?|')?)?", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Moment:
    """A date, a time of day, or both, and the style they were written in.

    ``day`` is ``2026-03-01`` and ``clock`` ``09:05:00``; each None where the text
    lacks it. ``impossible`` says that the text is shaped like a date or time, yet
    there is none such (31 February, month 13). ``twelve_hours`` says that no
    am, pm or hour above 12 fixes the half of the day. ``either_way`` says that
    day and month could be swapped, or with ``impossible`` that they must be. ``two_digit_year`` leaves the century open. ``offset_minutes`` is how far the clock is
    ahead of universal time, where that is written behind the time (``+01:00``, ``Z``).
    """

    day: str | None = None
    clock: str | None = None
    style: str = ""
    impossible: bool = False
    twelve_hours: bool = False
    either_way: bool = False
    two_digit_year: bool = False
    offset_minutes: float | None = None


NO_MOMENT = Moment()


def read_date(text: str, *, day_first: bool = True, zone: str = "") -> Moment:
    """Read a date, with or without a time after it.

    A time with its offset from universal time (``09:05+01:00``, ``08:05Z``) is
    the clinic's wall clock as written, or that of the time zone where one is named.

    Parameters
    ----------
    text : str
        One text; Excel's day numbers count as dates.
    day_first : bool, optional
        True reads 03/04/2026 as 3 April.
    zone : str, optional
        The clinic's time zone, such as ``Europe/Paris``; empty leaves times as written.

    Returns
    -------
    Moment
        Without ``day`` where the text is no date, or an impossible one.

    Examples
    --------
    >>> [read_date(each).day for each in ("2026-03-01", "01/03/2026", "1 Mar 26", "46082", "Sun 1st March 2026")]
    ['2026-03-01', '2026-03-01', '2026-03-01', '2026-03-01', '2026-03-01']
    >>> read_date("31/02/2026").impossible, read_date("1/3/26 9:05 am").clock
    (True, '09:05:00')
    >>> [read_date("2026-07-01T08:05:00Z", zone=zone).clock for zone in ("", "Europe/London")]
    ['08:05:00', '09:05:00']
    """
    text, offset = without_offset(WEEKDAY.sub("", text.strip()))
    return _in_zone(_read_day(text, day_first), offset, zone)


def without_offset(text: str) -> tuple[str, float | None]:
    """Take the offset from universal time off the end of a time.

    Examples
    --------
    >>> without_offset("2026-03-01 09:05+05:30"), without_offset("09:05:00Z"), without_offset("09:05")
    (('2026-03-01 09:05', 330.0), ('09:05:00', 0.0), ('09:05', None))
    """
    match = OFFSET.search(text)
    if match is None:
        return text, None
    mark = match[2].replace(":", "")
    minutes = 0.0 if mark in "zZ" else float(f"{mark[0]}1") * (int(mark[1:3]) * 60 + int(mark[3:5] or 0))
    return text[: match.end(1)], minutes


def _in_zone(found: Moment, offset_minutes: float | None, zone: str) -> Moment:
    """Keep the offset beside a time, and move it to the clinic's time zone where one is named."""
    if offset_minutes is None or found.clock is None:
        return found
    if not zone or found.day is None:
        return replace(found, twelve_hours=False, offset_minutes=offset_minutes)
    day, clock, offset = local_clock(found.day, found.clock, offset_minutes, zone)
    return replace(found, day=day, clock=clock, twelve_hours=False, offset_minutes=offset)


def _read_day(text: str, day_first: bool) -> Moment:
    """Read a date that has no offset behind it."""
    for pattern, style in (
        (YEAR_FIRST, "year first"),
        (DAY_MONTH_NAME, "month named"),
        (MONTH_NAME_DAY, "month named"),
        (NUMBERS, "day first" if day_first else "month first"),
        (PACKED, "eight digits"),
    ):
        if match := pattern.match(text):
            rest = text[match.end() :]
            found = _from_parts(match, style, day_first)
            if found is None or (rest and not _separated(rest)):
                continue
            return _with_clock(found, rest)
    if (match := SERIAL.fullmatch(text)) and EXCEL_DAYS[0] <= int(match[1]) < EXCEL_DAYS[1]:
        return _from_serial(match)
    return NO_MOMENT


def _separated(rest: str) -> bool:
    """Tell whether what follows a date is set apart from it."""
    return AFTER_DATE.match(rest) is not None


def _from_parts(match: re.Match[str], style: str, day_first: bool) -> Moment | None:
    """Make a date of a match; None where a word in it is no month."""
    parts = match.groups()
    if style in ("year first", "eight digits"):
        year, month, day = (int(part) for part in parts)
        return _date(year, month, day, style)
    if style == "month named":
        day_text, name = (parts[0], parts[1]) if parts[0].isdigit() else (parts[1], parts[0])
        if name[:3].casefold() not in MONTHS:
            return None
        return _date(
            _year(parts[2]), MONTHS.index(name[:3].casefold()) + 1, int(day_text), style, short=len(parts[2]) == 2
        )
    first, second = int(parts[0]), int(parts[1])
    day, month = (first, second) if day_first else (second, first)
    either_way = first <= 12 and second <= 12 and first != second
    made = _date(_year(parts[2]), month, day, style, either_way=either_way, short=len(parts[2]) == 2)
    if made.impossible and not _date(_year(parts[2]), day, month, style).impossible:
        return Moment(style=style, impossible=True, either_way=True)
    return made


def _year(text: str) -> int:
    """Give the year of two or four digits."""
    year = int(text)
    return year if len(text) == 4 else year + (2000 if year < CENTURY_TURNS_AT else 1900)


def _date(year: int, month: int, day: int, style: str, *, either_way: bool = False, short: bool = False) -> Moment:
    """Make a date, or an impossible one."""
    try:
        made = dt.date(year, month, day)
    except ValueError:
        return Moment(style=style, impossible=True)
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return Moment(style=style, impossible=True)
    return Moment(day=made.isoformat(), style=style, either_way=either_way, two_digit_year=short)


def _with_clock(found: Moment, rest: str) -> Moment:
    """Add the time that follows a date; one that cannot be read makes the whole impossible."""
    rest = AFTER_DATE.sub("", rest, count=1).strip() if rest else ""
    if not rest or found.day is None:
        return found
    clock = read_clock(rest)
    if clock.clock is None:
        return Moment(style=found.style, impossible=True)
    if clock.clock == "00:00:00":  # a spreadsheet's way to write a day without a time
        return found
    return Moment(
        found.day,
        clock.clock,
        found.style,
        twelve_hours=clock.twelve_hours,
        either_way=found.either_way,
        two_digit_year=found.two_digit_year,
    )


def _from_serial(match: re.Match[str]) -> Moment:
    """Make a date of Excel's day number, whose fraction is the time of day."""
    day = (EXCEL_DAY_ZERO + dt.timedelta(days=int(match[1]))).isoformat()
    clock = _from_fraction(float(f"0.{match[2]}")) if match[2] else None
    return Moment(day, None if clock == "00:00:00" else clock, "Excel number")


def _from_fraction(share: float) -> str:
    """Give the time of day of a share of the day, to the second."""
    seconds = min(round(share * 86400), 86399)
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def read_clock(text: str, *, day_first: bool = True, zone: str = "") -> Moment:
    """Read a time of day, or a date with a time.

    Parameters
    ----------
    text : str
    day_first, zone : optional
        As for ``read_date``. A time alone is left as written: which offset a zone has depends on the day.

    Returns
    -------
    Moment
        Without ``clock`` where the text is no time, or an impossible one.

    Examples
    --------
    >>> [read_clock(each).clock for each in ("9:05", "09.05", "9:05 am", "0905", "9pm", "0.5", "01/03/2026 14:30")]
    ['09:05:00', '09:05:00', '09:05:00', '09:05:00', '21:00:00', '12:00:00', '14:30:00']
    >>> read_clock("25:10").impossible
    True
    """
    text, offset = without_offset(SPREADSHEET_DAY.sub("", text.strip()))
    return _in_zone(_read_time(text, day_first), offset, zone)


def _read_time(text: str, day_first: bool) -> Moment:
    """Read a time of day that has no offset behind it."""
    if match := CLOCK.fullmatch(text):
        return _clock(match[1], match[2], match[3] or "0", match[4])
    if FRACTION_OF_DAY.fullmatch(text):
        return Moment(clock=_from_fraction(float(text.replace(",", "."))), style="Excel number")
    if match := PACKED_CLOCK.fullmatch(text):
        return _clock(match[1], match[2], "0", match[3])
    if match := HOUR.fullmatch(text):
        return _clock(match[1], "0", "0", match[2])
    found = _read_day(WEEKDAY.sub("", text), day_first)
    return found if found.clock or found.impossible else NO_MOMENT


def _clock(hour_text: str, minute_text: str, second_text: str, half: str | None) -> Moment:
    """Make a time of day, or an impossible one."""
    hour, minute, second = int(hour_text), int(minute_text), int(second_text)
    if half and not 1 <= hour <= 12 and not (hour > 12 and half[0] in "pP"):
        return Moment(style="time", impossible=True)
    if half and hour <= 12:
        hour = hour % 12 + (12 if half[0] in "pP" else 0)
    if hour > 23 or minute > 59 or second > 59:
        return Moment(style="time", impossible=True)
    twelve = half is None and 1 <= hour <= 12
    return Moment(clock=f"{hour:02d}:{minute:02d}:{second:02d}", style="time", twelve_hours=twelve)


def afternoon_unmarked(moments: Iterable[Moment]) -> bool:
    """Tell whether a column is kept on a 12-hour clock without am and pm.

    So it is where every time is open to it, some fall at 8 to 12 and at least
    two different ones at 1 to 6: no ear clinic works at both 2 in the night and
    9 in the morning and never after 1 in the afternoon. One alone may be a slip.

    Examples
    --------
    >>> afternoon_unmarked([read_clock(each) for each in ("9:30", "2:15", "3:00")])
    True
    >>> afternoon_unmarked([read_clock(each) for each in ("9:30", "2:15", "3:00", "14:15")])
    False
    """
    clocks = set()
    for each in moments:
        if each.clock is not None:
            if not each.twelve_hours:
                return False
            clocks.add(each.clock)
    return sum("01" <= clock < "07" for clock in clocks) >= 2 and any("08" <= clock < "13" for clock in clocks)


def in_the_afternoon(clock: str) -> str:
    """Move a time of 1:00 to 6:59 to the afternoon.

    Examples
    --------
    >>> in_the_afternoon("02:15:00"), in_the_afternoon("09:30:00")
    ('14:15:00', '09:30:00')
    """
    hour = int(clock[:2])
    return f"{hour + 12:02d}{clock[2:]}" if 1 <= hour <= 6 else clock


def read_minutes(text: str) -> float | None:
    """Read a duration in minutes: ``25``, ``25 min``, ``0:25``, ``1h 5m``, ``00:25:00``.

    ``25:00`` counts as minutes and seconds, because no visit takes a day; a
    number below 1 is a share of a day, as a spreadsheet stores ``0:25``.

    Returns
    -------
    float or None

    Examples
    --------
    >>> [read_minutes(each) for each in ("25", "25 min", "0:25", "1:05", "1h 5m", "00:25:00", "25:00", "soon")]
    [25.0, 25.0, 25.0, 65.0, 65.0, 25.0, 25.0, None]
    """
    text = text.strip().replace(",", ".")
    if match := HOURS_MINUTES.fullmatch(text):
        first, second, third = int(match[1]), int(match[2]), int(match[3] or 0)
        if second > 59 or third > 59:
            return None
        return first + second / 60 if match[3] is None and first >= 5 else first * 60 + second + third / 60
    if FRACTION_OF_DAY.fullmatch(text):
        return round(float(text) * 1440, 2)
    match = WORDED_DURATION.fullmatch(text)
    if match is None or (match[1] is None and match[2] is None):
        return None
    return float(match[1] or 0) * 60 + float(match[2] or 0)
