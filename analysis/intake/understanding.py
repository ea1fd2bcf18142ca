"""What the distinct texts of one file mean: worked out once each, in plain Python."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from analysis.intake import amounts, lengths, times
from analysis.intake.privacy import may_identify
from analysis.intake.row_columns import columns_of_kind, kind_of
from analysis.intake.times import Moment
from analysis.intake.vocabulary import vocabulary
from analysis.intake.words import SURE, Reading, own_words, read_words
from analysis.settings import Settings

Counts = Mapping[str, Mapping[str, tuple[int, int]]]
"""Column to distinct text to (how often, first source row)."""
CODED_KINDS = ("code", "yes_no", "methods")
NUMBER_KINDS = ("number", "minutes", "days", "percent")
MOMENT_KINDS = ("day", "clock", "moment")
DAY_PART, CLOCK_PART = "__day_part", "__clock_part"
"""What a column's name ends in for the parts of cells that hold a date and a time together."""
MOMENT_PARTS = ("", DAY_PART, CLOCK_PART)
SOME_DAY, SOME_CLOCK = "2000-01-01", "12:34"
"""What stands in for the other part while one is read."""
SHARE_OF_ONE = re.compile(r"0?\.\d+")


@dataclass(frozen=True)
class Understanding:
    """What each distinct text of a file was taken for.

    Attributes
    ----------
    words : dict
        Coded column to text to ``Reading``.
    numbers : dict
        Number column to text to value; None where it cannot be read.
    moments : dict
        Date or time column to text to ``Moment``.
    counts : Counts
    twelve_hours : bool
        Times of 1:00 to 6:59 were moved to the afternoon.
    date_styles : Counter
        Style to the number of rows whose slot date is written so.
    """

    words: dict[str, dict[str, Reading]]
    numbers: dict[str, dict[str, float | None]]
    moments: dict[str, dict[str, Moment]]
    counts: Counts
    twelve_hours: bool = False
    date_styles: Counter[str] = field(default_factory=Counter)

    def day_month_order(self) -> str:
        """Say whether day-before-month is certain, doubtful or contradicted by the dates themselves.

        ``certain`` where a date could only be read as the settings say,
        ``doubtful`` where every date could be read either way, ``contradicted``
        where some dates can only be read the other way, empty where no date
        depends on it.
        """
        numeric = [
            each
            for column in self.moments.values()
            for each in column.values()
            if each.style in ("day first", "month first")
        ]
        if not numeric:
            return ""
        if any(each.impossible and each.either_way for each in numeric):
            return "contradicted"
        return "certain" if any(not each.impossible and not each.either_way for each in numeric) else "doubtful"


def understand(counts: Counts, settings: Settings) -> Understanding:
    """Work out what the distinct texts of one file mean.

    Parameters
    ----------
    counts : Counts
        Distinct texts of the columns the file fills.
    settings : Settings

    Returns
    -------
    Understanding

    Examples
    --------
    >>> understood = understand({"grade_left": {"FULL": (3, 2)}, "date": {"01/03/2026": (3, 2)}}, Settings())
    >>> understood.words["grade_left"]["FULL"].code, understood.moments["date"]["01/03/2026"].day
    ('fully_occluding', '2026-03-01')
    """
    words = {
        column: _words(column, counts[column], settings)
        for column in columns_of_kind(*CODED_KINDS)
        if counts.get(column)
    }
    numbers = {
        column: _numbers(column, counts[column], settings)
        for column in columns_of_kind(*NUMBER_KINDS)
        if counts.get(column)
    }
    moments = {
        f"{column}{part}": _moments(column, part, counts[f"{column}{part}"], settings)
        for column in columns_of_kind(*MOMENT_KINDS)
        for part in MOMENT_PARTS
        if counts.get(f"{column}{part}")
    }
    clocks = [
        each
        for column in moments
        if not column.startswith(("birth_date", "booked_on"))
        for each in moments[column].values()
    ]
    twelve = times.afternoon_unmarked(clocks)
    if twelve:
        moments = {column: {text: _afternoon(each) for text, each in read.items()} for column, read in moments.items()}
    styles: Counter[str] = Counter()
    for column in ("slot_start", "date", "started_at"):
        for name in (column, column + DAY_PART):
            for text, each in moments.get(name, {}).items():
                if each.day is not None:
                    styles[each.style] += counts[name][text][0]
        if styles:
            break
    return Understanding(words, numbers, moments, counts, twelve, styles)


def coded_as(column: str) -> str:
    """Give the vocabulary of a column: that of its name without the ear, or without the part of a moment."""
    for part in (DAY_PART, CLOCK_PART, "_left", "_right"):
        column = column.removesuffix(part)
    return column


def _words(column: str, texts: Mapping[str, tuple[int, int]], settings: Settings) -> dict[str, Reading]:
    """Code the texts of one column; a column with shares of one has 1 for 100 %."""
    base = coded_as(column)
    read = read_words(base, texts, own_words(settings, base))
    if vocabulary(base).percents and any(SHARE_OF_ONE.fullmatch(text) for text in texts) and "1" in read:
        read["1"] = Reading("1", vocabulary(base).percents[-1][2], SURE)
    return read


def _numbers(column: str, texts: Mapping[str, tuple[int, int]], settings: Settings) -> dict[str, float | None]:
    """Read the numbers of one column."""
    kind, comma = kind_of(column), settings.export.decimal_comma
    if kind == "minutes":
        return {text: lengths.minutes(text) for text in texts}
    if kind == "days":
        return {text: amounts.days(text) for text in texts}
    if kind == "percent":
        read = {text: _percent(text, comma) for text in texts}
        known = [value for value in read.values() if value is not None]
        as_shares = known and max(known) <= 1 and any(0 < value < 1 for value in known)
        return {text: value * 100 if as_shares and value is not None else value for text, value in read.items()}
    read_number = lengths.fee if coded_as(column) == "fee" else amounts.number
    return {text: None if may_identify(text) else read_number(text, decimal_comma=comma) for text in texts}


def _percent(text: str, comma: bool) -> float | None:
    """Read a percentage in a column of percentages, where a bare number is one."""
    found = amounts.number(text, decimal_comma=comma) if re.fullmatch(r"[\d.,]+ ?%?", text) else amounts.percent(text)
    return found if found is not None and 0 <= found <= 100 else None


def _moments(column: str, part: str, texts: Mapping[str, tuple[int, int]], settings: Settings) -> dict[str, Moment]:
    """Read the dates and times of one column, or one part of those that stood together."""
    if part == DAY_PART:
        return {text: _day_of(_moment(column, f"{text} {SOME_CLOCK}", settings)) for text in texts}
    if part == CLOCK_PART:
        return {text: _clock_of(_moment(column, f"{SOME_DAY} {text}", settings)) for text in texts}
    return {text: _moment(column, text, settings) for text in texts}


def _moment(column: str, text: str, settings: Settings) -> Moment:
    """Read one date or time as its column's kind demands."""
    day_first, zone, kind = settings.export.day_first, settings.export.time_zone, kind_of(column)
    if kind == "clock":
        return times.read_clock(text, day_first=day_first, zone=zone)
    read = times.read_date(text, day_first=day_first, zone=zone)
    if kind == "moment" and read.day is None and not read.impossible:
        return times.read_clock(text, day_first=day_first, zone=zone)
    return read


def _day_of(read: Moment) -> Moment:
    """Keep the day of a date with a time."""
    return replace(read, clock=None, twelve_hours=False)


def _clock_of(read: Moment) -> Moment:
    """Keep the time of a date with a time; midnight stands for no time."""
    return replace(read, day=None, style="time", either_way=False, two_digit_year=False)


def _afternoon(each: Moment) -> Moment:
    """Move an unmarked early hour to the afternoon."""
    if each.clock is None or not each.twelve_hours:
        return each
    return Moment(
        each.day,
        times.in_the_afternoon(each.clock),
        each.style,
        either_way=each.either_way,
        two_digit_year=each.two_digit_year,
    )
