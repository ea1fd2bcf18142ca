"""Numbers as clinics write them: counts, money, percentages, fractions, days."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from analysis.intake.vocabulary import plain, small_numbers, small_words

NUMBER = re.compile(r"[-+]?\d[\d ]*(?:[.,]\d+)*")
BOTTOMS = (2, 3, 4, 5, 6, 8, 10)
"""Denominators of a share of the canal; sevenths and fifty-seconds are days and weeks."""


@dataclass(frozen=True, slots=True)
class _Shares:
    """What finds a share of the canal, in every language."""

    percent: re.Pattern[str]
    span: re.Pattern[str]
    bound: re.Pattern[str]
    fraction: re.Pattern[str]
    worded: re.Pattern[str]
    tens: re.Pattern[str]


def _any(words: list[str] | dict[str, float]) -> str:
    """Write alternatives, the longest first."""
    return "|".join(re.escape(word) for word in sorted(words, key=lambda word: (-len(word), word)))


@cache
def _shares() -> _Shares:
    """Put the patterns of shares together from the small words."""
    about = rf"(?:(?:{_any(small_words('shares', 'about'))})\s*)?"
    sign = rf"(?:{_any(small_words('shares', 'percent'))})"
    after = rf"(?:\s*(?:{_any(small_words('shares', 'after'))})(?!\w))*"
    less, more = _any(small_words("shares", "less")), _any(small_words("shares", "more"))
    counts, parts = _any(small_numbers("counts")), _any(small_numbers("parts"))
    return _Shares(
        percent=re.compile(rf"{about}(\d+(?:[.,]\d+)?)\s*{sign}{after}"),
        span=re.compile(
            rf"{about}(\d+)\s*(?:{sign})?\s+(?:(?:{_any(small_words('shares', 'to'))})\s+)?(\d+)\s*{sign}{after}"
        ),
        bound=re.compile(rf"(?:(?P<less>{less})|{more})\s*(\d+)\s*(?:{sign})?{after}"),
        fraction=re.compile(rf"{about}(\d)\s*/\s*(\d{{1,2}})(?:rds|ths|th|rd)?{after}"),
        worded=re.compile(rf"{about}(?:({counts}|\d)\s+)?({parts}){after}"),
        tens=re.compile(rf"{about}({_any(small_numbers('tens'))})\s*{sign}{after}"),
    )


@cache
def _lengths() -> re.Pattern[str]:
    """Put the pattern of days of use together from the small words."""
    units = _any(small_numbers("units"))
    before = _any(small_words("shares", "for"))
    return re.compile(
        rf"(?:(?<!\w)(?:{before}))?\s*(?:(?<![\d.])(?<!\d )(\d+(?:[.,]\d+)?)|(?<!\w)({_any(small_numbers('counts'))})(?!\w))"
        rf"\s*({units})(?!\w)"
    )


def number(text: str, *, decimal_comma: bool = False) -> float | None:
    """Read a number with or without currency sign, unit or thousands mark.

    Parameters
    ----------
    text : str
    decimal_comma : bool, optional
        True reads ``12,5`` as twelve and a half.

    Returns
    -------
    float or None
        None where the text holds no number, or more than one.

    Examples
    --------
    >>> number("£1,250.00"), number("45,50", decimal_comma=True), number("sixty"), number("3 or 4")
    (1250.0, 45.5, None, None)
    >>> number("1.265,50"), number("1.265,50", decimal_comma=True), number("65.5", decimal_comma=True)
    (None, 1265.5, 65.5)
    """
    found = NUMBER.findall(text.replace("\u00a0", " "))
    if len(found) != 1:
        return None
    digits = found[0].replace(" ", "")
    group, point = (".", ",") if decimal_comma else (",", ".")
    if re.fullmatch(rf"[-+]?\d{{1,3}}({re.escape(group)}\d{{3}})+({re.escape(point)}\d+)?", digits):
        return float(digits.replace(group, "").replace(point, "."))
    if re.fullmatch(rf"[-+]?\d+({re.escape(point)}\d+)?", digits):
        return float(digits.replace(point, "."))
    if decimal_comma and re.fullmatch(r"[-+]?\d+\.\d+", digits):
        return float(digits)  # a workbook keeps its numbers with a point whatever the country
    return None  # "45,50" is either 45.50 or a slip; decimal_comma decides


def waits_for_decimal_comma(text: str) -> bool:
    """Tell whether a number is not read because only the clinic knows what its comma means.

    Examples
    --------
    >>> waits_for_decimal_comma("45,50"), waits_for_decimal_comma("1.265,50"), waits_for_decimal_comma("free")
    (True, True, False)
    """
    return "," in text and number(text) is None and number(text, decimal_comma=True) is not None


def percent(text: str) -> float | None:
    """Read a share as percent: ``80%``, ``~80 %``, ``2/3``, ``two thirds``, ``<50%``, ``50-75%``.

    A bare number from 5 to 100 is a percentage; from 1 to 4 it may be a step
    of a scale, so it is not read. A bound counts just inside it, a range in its middle.

    Returns
    -------
    float or None
        0 to 100, or None where the text is no share.

    Examples
    --------
    >>> percent("~80%"), round(percent("2/3 blocked"), 1), percent("half"), percent("< 50%"), percent("3")
    (80.0, 66.7, 50.0, 49.0, None)
    >>> percent("\u00be"), percent("eighty per cent"), percent("2 thirds"), percent("at least 80 %")
    (75.0, 80.0, 66.6667, 81.0)
    """
    text, shares = plain(text), _shares()
    if match := shares.bound.fullmatch(text):
        return _share(float(match[2]) + (-1.0 if match["less"] else 1.0))
    if match := shares.percent.fullmatch(text):
        return _share(float(match[1].replace(",", ".")))
    if match := shares.span.fullmatch(text):
        low, high = float(match[1]), float(match[2])
        return _share((low + high) / 2) if low <= high else None
    if match := shares.fraction.fullmatch(text):
        top, bottom = int(match[1]), int(match[2])
        return _share(100.0 * top / bottom) if bottom in BOTTOMS and top <= bottom else None
    if match := shares.worded.fullmatch(text):
        return _share(100.0 * _count(match[1] or "1") * small_numbers("parts")[match[2]])
    if match := shares.tens.fullmatch(text):
        return _share(small_numbers("tens")[match[1]])
    if re.fullmatch(r"\d{1,3}(\.\d+)?", text) and (float(text) == 0 or float(text) >= 5):
        return _share(float(text))
    return None


def _count(text: str) -> float:
    """Read a number word or a digit."""
    return float(text) if text.isdecimal() else small_numbers("counts")[text]


def _share(value: float) -> float | None:
    """Give a percentage if it is one."""
    return round(value, 4) if 0 <= value <= 100 else None


def days(text: str) -> float | None:
    """Read days of use: ``5``, ``5 days``, ``5/7``, ``a week``, ``3 nights``, ``1/52``.

    Examples
    --------
    >>> days("5/7"), days("a week"), days("x 3 nights"), days("5"), days("some"), days("olive oil for 4 days")
    (5.0, 7.0, 3.0, 5.0, None, 4.0)
    """
    text = plain(text)
    if re.fullmatch(r"\d{1,3}([.,]\d)?", text):
        return float(text.replace(",", "."))
    found = _lengths().findall(text)
    if len(found) != 1:
        return None
    digits, word, unit = found[0]
    return (float(digits.replace(",", ".")) if digits else _count(word)) * small_numbers("units")[unit]


def without_days(text: str) -> str:
    """Leave a length of use out of a text: ``olive oil 5/7`` becomes ``olive oil``."""
    return plain(_lengths().sub(" ", plain(text)))
