"""Names typed where a word of the trade belongs: hidden although no column of names tells that they are names."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache

from analysis.intake.privacy import MASK, safe_to_show, tells_who
from analysis.intake.times import MONTHS, read_clock, read_date
from analysis.intake.vocabulary import shared_folder
from analysis.intake.words import typing_slips

FIRST_LOGGED = "2000-01-01"
"""No log of visits is likely to reach further back (our choice, no source)."""
OFTEN = 5
"""Rows; a capitalised word that stands in so many alike cells is the clinic's own word, not a patient."""
LONG_ENOUGH_TO_FORGIVE = 6
"""Letters; a shorter word with a slip in it may be a name."""
WORD = re.compile(r"[^\W\d_][\w'\u2019-]*")
TWO_CAPITALISED, MOST_WORDS_OF_A_TERM = 2, 2
GLUED = re.compile(r"(?<=[a-z])(?=[A-Z])")
"""Where a capital letter begins a word that stands glued to another."""
BETWEEN = "\u2060"
WEB = re.compile(r"[\w-]{8,}\.[a-z]{3,}\b")
"""A web address, or a mail address that lost its mark."""
CALENDAR = frozenset(
    ("mon", "tue", "wed", "thu", "fri", "sat", "sun", "am", "pm", "monday", "tuesday", "wednesday", "thursday", "friday",
     "saturday", "sunday", "january", "february", "march", "april", "june", "july", "august", "september", "october",
     "november", "december", "today", "tomorrow", "yesterday", "sept", "unknown", "total", "totals", "average", "sum")
)  # fmt: skip


@cache
def trade_words() -> frozenset[str]:
    """Collect every word that stands anywhere in the vocabulary, of headings and of all languages.

    Examples
    --------
    >>> {"suction", "blocked"} <= trade_words(), "fennimore" in trade_words()
    (True, False)
    """
    found = set(CALENDAR) | set(MONTHS)
    for path in (shared_folder() / "vocabulary").rglob("*.toml"):
        found |= {word.casefold() for word in WORD.findall(path.read_text(encoding="utf-8"))}
    parts = {part for word in found for part in re.split(r"['\u2019-]", word)}
    return frozenset((found | parts) - {""})


@cache
def _is_strange(word: str) -> bool:
    """Tell whether a word is none of the trade, nor one of its longer words with a slip in it."""
    known = trade_words()
    parts = [part for part in re.split(r"['\u2019-]", word.casefold()) if len(part) > 1]
    if all(part in known for part in parts):
        return False
    plain = word.casefold()
    if len(plain) < LONG_ENOUGH_TO_FORGIVE:
        return True
    return not any(
        each[0] == plain[0] and abs(len(each) - len(plain)) <= 1 and typing_slips(plain, each) <= 1 for each in known
    )


def safe_word(text: str, names: frozenset[str] = frozenset(), *, times: int = 1) -> str:
    """Mask what could tell who a patient is in a cell of a column that holds no names.

    Besides what ``safe_to_show`` masks, capitalised words that are none of the
    trade are masked: two or more in one cell always, one alone where it stands in
    few cells. A name that is also a word of the trade ("Brown") cannot be told.

    Parameters
    ----------
    text : str
    names : frozenset of str, optional
        Words of patients' names, from ``name_words``.
    times : int, optional
        In how many rows the text stands.

    Returns
    -------
    str

    Examples
    --------
    >>> safe_word("Orla Fennimore"), safe_word("full, Fennimore"), safe_word("gunky"), safe_word("Gunky", times=9)
    ('*** ***', 'full, ***', 'gunky', 'Gunky')
    """
    apart = GLUED.sub(BETWEEN, WEB.sub(MASK, safe_to_show(text, names)))
    words = WORD.findall(apart)
    strange = [word for word in words if len(word) > 1 and word[0].isupper() and _is_strange(word)]
    the_clinics_own = len(strange) < TWO_CAPITALISED and len(words) <= MOST_WORDS_OF_A_TERM and times >= OFTEN
    hidden = frozenset() if the_clinics_own else frozenset(strange)
    return WORD.sub(lambda match: MASK if match[0] in hidden else match[0], apart).replace(BETWEEN, "")


def safe_headings(headings: Sequence[str], names: frozenset[str] = frozenset()) -> list[str]:
    """Mask headings that must be shown; where they look like a row of data, as strictly as a cell.

    A file whose first line was cut off has a visit in the place of its headings.

    Parameters
    ----------
    headings : sequence of str
        All headings of a table.
    names : frozenset of str, optional
        Words of patients' names, from ``name_words``.

    Returns
    -------
    list of str

    Examples
    --------
    >>> safe_headings(["Date", "Zone"]), safe_headings(["06/03/2026", "Orla Fennimore"])
    (['Date', 'Zone'], ['06/03/2026', '*** ***'])
    """
    a_row = any(tells_who(text) or read_date(text).day or (":" in text and read_clock(text).clock) for text in headings)
    if not a_row:
        return [safe_to_show(text, names) for text in headings]
    return [MASK if is_long_ago(text) else safe_word(text, names) for text in headings]


def is_long_ago(text: str) -> bool:
    """Tell whether a text is a date from before any log: a birth date more likely than a visit.

    Examples
    --------
    >>> is_long_ago("04/05/1948"), is_long_ago("06/03/2026"), is_long_ago("left")
    (True, False, False)
    """
    day = read_date(text).day
    return day is not None and day < FIRST_LOGGED
