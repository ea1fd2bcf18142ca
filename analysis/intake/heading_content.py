"""What stands below a heading has a say in what the heading is taken for."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

from analysis.intake import amounts, lengths, privacy, times
from analysis.intake.both_ears import split_sides
from analysis.intake.vocabulary import heading_entries, plain
from analysis.intake.words import LEAST_CONFIDENCE, NOTHING, UNKNOWN, own_words, read_words
from analysis.settings import Settings

FITS_ENOUGH = 0.5
"""Share of a column's different values that must fit what the heading says; below it the values are asked."""
FITS_HARDLY = 0.2
"""Below this share of understood words a column that looks identifying is not read at all."""
MOST_VALUES, MOST_ROWS = 200, 20_000
"""Different values looked at, spread over the alphabet, and rows they are taken from, spread over the file."""
FIRST_HOUR = "05:00:00"
"""A time of day earlier than this is a length: "0:25"."""
CODED = ("code", "yes_no", "methods")


def sample_of(rows: Sequence[Sequence[str]]) -> Callable[[int], list[str]]:
    """Give what reads a column's different values from the rows of a table.

    Parameters
    ----------
    rows : sequence of rows of text

    Returns
    -------
    callable
        Position of a column to at most 200 of its different values.

    Examples
    --------
    >>> sample_of([["x", "30 min"], ["y", "20 min"], ["x", ""]])(1)
    ['20 min', '30 min']
    """
    some = spread(rows, MOST_ROWS)
    return lambda place: spread(sorted({row[place] for row in some if row[place]}), MOST_VALUES)


def spread(values: Sequence[Any], most: int) -> list[Any]:
    """Take at most so many of some values, evenly spread."""
    return [values[place * len(values) // most] for place in range(most)] if len(values) > most else list(values)


def judged(column: str, values: Sequence[str], settings: Settings) -> tuple[str, str]:
    """Say what a column is by what stands in it, given what its heading was taken for.

    Nothing changes where at least half of the values fit. Where fewer do, and
    eight in ten are of a kind that the heading often stands over by mistake
    (``instead`` and ``words_of`` in ``headers.toml``), the column is that; or,
    where no other is named there, none. Values of nothing but one kind may say
    more than the heading whatever fits (``only``): a column of drops that holds
    yes and no tells whether, not which. A column of words of which hardly any
    is understood and which looks as if it told who patients are is none either.

    Parameters
    ----------
    column : str
        Without its ear.
    values : sequence of str
        Different values.
    settings : Settings

    Returns
    -------
    (str, str)
        The column, empty where the content forbids it, and why in plain words; empty where the heading stands.

    Examples
    --------
    >>> judged("booked_on", ["30 mins", "20 mins"], Settings())
    ('slot_minutes', 'its values are lengths in minutes')
    >>> judged("booked_on", ["01/03/2026"], Settings())
    ('booked_on', '')
    """
    entry = heading_entries()[column]
    instead, words_of, only = entry.get("instead", {}), entry.get("words_of", []), entry.get("only", {})
    if not values or not (instead or words_of or only or entry["kind"] in CODED):
        return column, ""
    for kind, other in only.items():
        if _share(values, _TESTS[kind](settings)) == 1:
            return other, f"its values are {_NAMES[kind]}"
    own_fit = _fit(column, entry["kind"], values, settings)
    if own_fit >= FITS_ENOUGH:
        return column, ""
    for kind, other in instead.items():
        if _share(values, _TESTS[kind](settings)) >= LEAST_CONFIDENCE:
            return other, f"its values are {_NAMES[kind]}"
    for other in words_of:
        if _fit(other, heading_entries()[other]["kind"], values, settings) >= LEAST_CONFIDENCE:
            return other, f"its words are those of {other}"
    looks = privacy.what_it_identifies(values) if entry["kind"] in CODED and own_fit < FITS_HARDLY else ""
    return ("", f"its values look like {looks}") if looks else (column, "")


def fits(column: str, values: Sequence[str], settings: Settings) -> bool:
    """Tell whether at least half of some values can be read as what a column holds.

    Examples
    --------
    >>> fits("debris", ["yes", "no"], Settings()), fits("debris", ["soft", "hard"], Settings())
    (False, True)
    """
    kind = heading_entries()[column]["kind"]
    return kind == "text" or _fit(column, kind, values, settings) >= FITS_ENOUGH


def _fit(column: str, kind: str, values: Sequence[str], settings: Settings) -> float:
    """Give the share of values that can be read as what the heading says."""
    if kind in CODED:
        return _understood(column, values, settings)
    tests: dict[str, Callable[[Settings], Callable[[str], object]]] = {
        "day": lambda of: lambda text: is_day(text, of) or is_moment(text, of),
        "moment": lambda of: lambda text: is_day(text, of) or is_moment(text, of) or is_clock(text, of),
        "clock": lambda of: lambda text: is_clock(text, of) or is_moment(text, of),
        "minutes": lambda of: lambda text: lengths.minutes(text) is not None and not is_clock(text, of),
        "days": lambda _: lambda text: amounts.days(text) is not None,
        "percent": lambda _: lambda text: amounts.percent(text) is not None or amounts.number(text) is not None,
        "number": lambda _: lambda text: amounts.number(text) is not None and not set(text) & set("<>+"),
    }
    if kind == "key":
        return _share(values, _TESTS["names" if column == "patient_name" else "numbers"](settings))
    if kind == "text":
        return 0.0  # any text fits, so that only what the column names instead can speak against it
    return _share(values, tests[kind](settings)) if kind in tests else 1.0


def _understood(column: str, values: Sequence[str], settings: Settings) -> float:
    """Give the share of values that are words of a column, each ear's part where a cell speaks of both."""
    parts = {}
    for text in values:
        sided = split_sides(text, may_trail=column != "outcome")
        parts[text] = [text] if sided.rest else [part for part in (sided.left, sided.right) if part]
    every = {*parts, *(part for each in parts.values() for part in each)}
    read = read_words(column, sorted(every), own_words(settings, column), suggest=False)
    known = {text for text, each in read.items() if each.certainty != UNKNOWN}
    return sum(text in known or known.issuperset(each) for text, each in parts.items()) / len(values)


def _share(values: Sequence[str], test: Callable[[str], object]) -> float:
    """Give the share of values that pass a test."""
    return sum(bool(test(value)) for value in values) / len(values)


def is_day(text: str, settings: Settings) -> bool:
    """Tell a date without a time of day; a bare number is none."""
    if text.strip().isdecimal() and len(text.strip()) < 5:
        return False
    read = times.read_date(text, day_first=settings.export.day_first)
    return (read.day is not None or read.impossible) and read.clock is None


def is_moment(text: str, settings: Settings) -> bool:
    """Tell a date with a time of day."""
    read = times.read_date(text, day_first=settings.export.day_first)
    return read.day is not None and read.clock is not None


def is_clock(text: str, settings: Settings) -> bool:
    """Tell a time of day; a bare number of minutes and "0:25" are none."""
    if re.fullmatch(r"\d{1,3}([.,]\d)?", text.strip()):
        return False
    read = times.read_clock(text, day_first=settings.export.day_first)
    return read.clock is not None and read.day is None and read.clock >= FIRST_HOUR


@cache
def _yes_no(text: str) -> bool:
    """Tell a yes or a no, or that nothing is recorded."""
    read = read_words("yes_no", [text])[text]
    return read.certainty == NOTHING or (read.code is not None and read.confidence == 1)


def _named(text: str) -> bool:
    """Tell a person's name: two words or more, without a digit."""
    return privacy.NAME.fullmatch(text) is not None


_TESTS: dict[str, Callable[[Settings], Callable[[str], object]]] = {
    "day": lambda of: lambda text: is_day(text, of),
    "moment": lambda of: lambda text: is_moment(text, of),
    "clock": lambda of: lambda text: is_clock(text, of),
    "minutes": lambda of: (
        lambda text: lengths.minutes(text) is not None and not is_clock(text, of) and not is_moment(text, of)
    ),
    "yes_no": lambda _: _yes_no,
    "days": lambda _: lambda text: amounts.days(text) is not None,
    "names": lambda _: _named,
    "numbers": lambda _: lambda text: any(letter.isdecimal() for letter in plain(text)),
}
_NAMES = {
    "day": "dates", "moment": "dates with times of day", "clock": "times of day", "minutes": "lengths in minutes",
    "yes_no": "yes and no", "days": "days of use", "names": "names", "numbers": "numbers",
}  # fmt: skip
