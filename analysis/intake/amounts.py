"""Numbers as clinics write them: counts, money, percentages, fractions, days."""

from __future__ import annotations

import re

from analysis.intake.vocabulary import plain

NUMBER = re.compile(r"[-+]?\d[\d ]*(?:[.,]\d+)*")
COUNTED = {
    "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7,
    "eight": 8, "nine": 9, "ten": 10, "fourteen": 14, "couple of": 2, "a couple of": 2,
}  # fmt: skip
PARTS = {
    "half": 1 / 2, "third": 1 / 3, "thirds": 1 / 3, "quarter": 1 / 4, "quarters": 1 / 4,
    "fifth": 1 / 5, "fifths": 1 / 5, "tenth": 1 / 10, "tenths": 1 / 10,
}  # fmt: skip
ABOUT = r"(?:~|approx(?:imately)?|about|around|roughly|circa|c)?\s*"
AFTER = (
    r"(?:\s*(?:blocked|occluded|occluding|full|filled|obstructed|occlusion|blockage|wax|of canal|of the canal|canal))*"
)
PERCENT = re.compile(rf"{ABOUT}(\d+(?:[.,]\d+)?)\s*(?:%|percent|per cent|pc){AFTER}")
PERCENT_RANGE = re.compile(rf"{ABOUT}(\d+)\s*%?\s+(?:to\s+)?(\d+)\s*(?:%|percent|per cent){AFTER}")
BOUND = re.compile(rf"(<|>|<=|>=|under|over|less than|more than|below|above)\s*(\d+)\s*(?:%|percent|per cent)?{AFTER}")
FRACTION = re.compile(rf"{ABOUT}(\d)\s*/\s*(\d{{1,2}})(?:rds|ths|th|rd)?{AFTER}")
WORDED = re.compile(rf"{ABOUT}(?:(a|an|one|two|three|four)\s+)?({'|'.join(PARTS)}){AFTER}")
UNIT_DAYS = {"d": 1.0, "day": 1.0, "days": 1.0, "night": 1.0, "nights": 1.0, "nocte": 1.0, "/7": 1.0}
UNIT_WEEKS = {"w": 7.0, "wk": 7.0, "wks": 7.0, "week": 7.0, "weeks": 7.0, "/52": 7.0}
LENGTH_UNITS = UNIT_DAYS | UNIT_WEEKS
DAYS = re.compile(
    rf"(?:x|for|used)?\s*(?:(?<![\d.])(?<!\d )(\d+(?:[.,]\d+)?)|({'|'.join(COUNTED)}))\s*(/7|/52|{'|'.join(sorted((u for u in LENGTH_UNITS if u[0] != '/'), key=len, reverse=True))})\b"
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
    """
    found = NUMBER.findall(text.replace("\u00a0", " "))
    if len(found) != 1:
        return None
    digits = found[0].replace(" ", "")
    if decimal_comma:
        digits = digits.replace(".", "").replace(",", ".")
    elif re.fullmatch(r"[-+]?\d+,\d{1,2}", digits):
        return None  # "45,50" is either 45.50 or a slip; decimal_comma decides
    else:
        digits = digits.replace(",", "")
    return float(digits) if digits.count(".") <= 1 else None


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
    """
    text = plain(text)
    if match := BOUND.fullmatch(text):
        inside = -1.0 if match[1] in ("<", "<=", "under", "less than", "below") else 1.0
        return _share(float(match[2]) + inside)
    if match := PERCENT.fullmatch(text):
        return _share(float(match[1].replace(",", ".")))
    if match := PERCENT_RANGE.fullmatch(text):
        low, high = float(match[1]), float(match[2])
        return _share((low + high) / 2) if low <= high else None
    if match := FRACTION.fullmatch(text):
        top, bottom = int(match[1]), int(match[2])
        return _share(100.0 * top / bottom) if bottom in (2, 3, 4, 5, 6, 8, 10) and top <= bottom else None
    if match := WORDED.fullmatch(text):
        return _share(100.0 * COUNTED.get(match[1] or "a", 1) * PARTS[match[2]])
    if re.fullmatch(r"\d{1,3}(\.\d+)?", text) and (float(text) == 0 or float(text) >= 5):
        return _share(float(text))
    return None


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
    found = DAYS.findall(text)
    if len(found) != 1:
        return None
    digits, word, unit = found[0]
    return (float(digits.replace(",", ".")) if digits else COUNTED[word]) * LENGTH_UNITS[unit]


def without_days(text: str) -> str:
    """Leave a length of use out of a text: ``olive oil 5/7`` becomes ``olive oil``."""
    return plain(DAYS.sub(" ", plain(text)))
