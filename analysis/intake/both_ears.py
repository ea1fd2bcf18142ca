"""Both ears in one cell: "L full, R clear"."""

from __future__ import annotations

import re
from dataclasses import dataclass

LEFT = r"(?:left|lt|l)"
RIGHT = r"(?:right|rt|r)"
BOTH = r"(?:both|bilateral(?:ly)?|bilat|b/l|l\s*(?:\+|&|/|and)\s*r|r\s*(?:\+|&|/|and)\s*l)"
MARKER = re.compile(
    rf"(?<![\w/])(?:(?P<both>{BOTH})|(?P<left>{LEFT})|(?P<right>{RIGHT}))(?![\w/])\.?(?:\s*ears?)?\s*[:=\-\u2013]?\s*",
    re.IGNORECASE,
)
EDGE = " \t,;/|-\u2013&.:()"


@dataclass(frozen=True, slots=True)
class Sided:
    """What a cell says of each ear; ``rest`` is what it says without naming one."""

    left: str = ""
    right: str = ""
    rest: str = ""


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
    marks = list(MARKER.finditer(text))
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
        part = re.sub(r"\s+(?:and|but|with)$", "", part)
        for side in ("left", "right") if mark["both"] else (("left",) if mark["left"] else ("right",)):
            if found[side] and found[side] != part:
                return Sided(rest=text)
            found[side] = part
    nothing_said = not (found["left"] or found["right"])
    return Sided(rest=text) if before or nothing_said else Sided(**found)
