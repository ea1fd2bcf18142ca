"""Minutes and fees as people write them: "approx 20", "1/2 hr", "free"."""

from __future__ import annotations

import re
from functools import cache

from analysis.intake import amounts, times
from analysis.intake.vocabulary import plain, small_numbers, small_words

HOUR_MINUTES = 60


@cache
def _about() -> re.Pattern[str]:
    """Put together what finds a word of rounding before or behind a length."""
    words = _any(small_words("shares", "about"))
    return re.compile(rf"(?:(?:{words})\s*(?=\d)|(?<!\w)(?:{words})\s+)(.+)|(.+?)\s+(?:{words})")


@cache
def _part_of_an_hour() -> re.Pattern[str]:
    """Put together what finds a part of an hour, in digits or words."""
    parts, counts = _any(small_numbers("parts")), _any(small_numbers("counts"))
    of, hours = _any(small_words("lengths", "of")), _any(small_words("lengths", "hours"))
    part = rf"(?:(\d)\s*/\s*(\d)|(?:(\d|{counts})\s+)?({parts}))"
    return re.compile(rf"(?:(\d)\s+)?{part}\s*(?:(?:{of})\s+)?(?:{hours})")


def _any(words: list[str] | dict[str, float]) -> str:
    """Write alternatives, the longest first."""
    return "|".join(re.escape(word) for word in sorted(words, key=lambda word: (-len(word), word)))


def is_about(text: str) -> bool:
    """Tell whether a length is written as one that was not counted exactly.

    Examples
    --------
    >>> [is_about(each) for each in ("approx 20", "~20 min", "20 min approx", "20 min")]
    [True, True, True, False]
    """
    return _about().fullmatch(plain(text)) is not None


def minutes(text: str) -> float | None:
    """Read a length in minutes, also one that is rounded in words or a part of an hour; see ``times.read_minutes``.

    Returns
    -------
    float or None

    Examples
    --------
    >>> [minutes(each) for each in ("approx 20", "about 25 min", "~20", "1/2 hr", "1½ hrs", "half an hour", "soon")]
    [20.0, 25.0, 20.0, 30.0, 90.0, 30.0, None]
    """
    read = times.read_minutes(text)
    if read is not None:
        return read
    told = plain(text)
    if match := _about().fullmatch(told):
        told = match[1] or match[2]
        read = times.read_minutes(told)
    if read is None and (match := _part_of_an_hour().fullmatch(told)):
        return _of_an_hour(match)
    return read


def _of_an_hour(match: re.Match[str]) -> float | None:
    """Give the minutes of a part of an hour, with the whole hours before it."""
    whole, top, bottom, many, part = match.groups()
    if part:
        count = 1.0 if not many else float(many) if many.isdecimal() else small_numbers("counts")[many]
        share = count * small_numbers("parts")[part]
    elif int(bottom) in amounts.BOTTOMS and int(top) < int(bottom):
        share = int(top) / int(bottom)
    else:
        return None
    return round((int(whole or 0) + share) * HOUR_MINUTES, 2)


def fee(text: str, *, decimal_comma: bool = False) -> float | None:
    """Read a fee: a number, or 0 where the text says that nothing was charged.

    Parameters
    ----------
    text : str
    decimal_comma : bool, optional
        As for ``amounts.number``.

    Returns
    -------
    float or None

    Examples
    --------
    >>> [fee(each) for each in ("£60", "Free", "no charge", "F.O.C.", "lots")]
    [60.0, 0.0, 0.0, 0.0, None]
    """
    return 0.0 if plain(text) in small_words("fees", "free") else amounts.number(text, decimal_comma=decimal_comma)
