"""Both ears in one cell: "L full, R clear"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from analysis.intake.vocabulary import small_words

EDGE = " \t,;/|-\u2013&.:()"


@dataclass(frozen=True, slots=True)
class Sided:
    """What a cell says of each ear; ``rest`` is what it says without naming one."""

    left: str = ""
    right: str = ""
    rest: str = ""


@cache
def _marker() -> re.Pattern[str]:
    """Put the pattern that finds an ear in a cell together from the small words."""
    left, right, both, ear, joined = (
        "|".join(re.escape(word) for word in sorted(small_words("sides", part), key=lambda word: (-len(word), word)))
        for part in ("left", "right", "both", "ear", "and")
    )
    plus = rf"\s*(?:\+|&|/|(?:{joined})(?!\w))\s*"
    both = rf"{both}|(?:{left}){plus}(?:{right})|(?:{right}){plus}(?:{left})"
    return re.compile(
        rf"(?<![\w/])(?:(?P<both>{both})|(?P<left>{left})|(?P<right>{right}))(?![\w/])\.?(?:\s*(?:{ear})(?!\w))?"
        r"\s*[:=\-\u2013]?\s*",
        re.IGNORECASE,
    )


def split_sides(text: str, *, may_trail: bool = True) -> Sided:
    """Cut a cell that speaks of both ears.

    Parameters
    ----------
    text : str
    may_trail : bool, optional
        False where "left" at the end means left behind: "some wax left" is an outcome, not an ear.

    Returns
    -------
    Sided
        ``rest`` holds the whole text where it names no ear.

    Examples
    --------
    >>> split_sides("L full, R clear")
    Sided(left='full', right='clear', rest='')
    >>> split_sides("both partial").right, split_sides("semi occ").rest, split_sides("full left")
    ('partial', 'semi occ', Sided(left='full', right='', rest=''))
    """
    marks = list(_marker().finditer(text))
    if not marks:
        return Sided(rest=text)
    before = text[: marks[0].start()].strip(EDGE)
    ends = [mark.start() for mark in marks[1:]] + [len(text)]
    parts = [text[mark.end() : end].strip(EDGE) for mark, end in zip(marks, ends, strict=True)]
    named = {side for mark in marks for side in ("left", "right") if mark["both"] or mark[side]}
    if before and not may_trail and len(named) == 1:
        return Sided(rest=text)
    if before and not parts[-1]:  # the ear stands after what is said: "full left, clear right"
        parts = [before, *parts[:-1]]
        before = ""
    found = {"left": "", "right": "", "rest": before}
    for mark, part in zip(marks, parts, strict=True):
        part = re.sub(rf"\s+(?:{'|'.join(small_words('sides', 'and'))})$", "", part)
        for side in ("left", "right") if mark["both"] else (("left",) if mark["left"] else ("right",)):
            if found[side] and found[side] != part:
                return Sided(rest=text)
            found[side] = part
    nothing_said = not (found["left"] or found["right"])
    return Sided(rest=text) if before or nothing_said else Sided(**found)
