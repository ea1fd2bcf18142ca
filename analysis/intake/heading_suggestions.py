"""What a heading that is not understood could be by what stands below it: asked, never taken."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Sequence
from functools import cache

from analysis.intake import times
from analysis.intake.heading_content import CODED, FITS_ENOUGH, is_clock, is_day, is_moment, spread
from analysis.intake.vocabulary import heading_entries, plain
from analysis.intake.words import LEAST_CONFIDENCE, NOTHING, own_words, read_words
from analysis.settings import Settings

FEWEST_VALUES, MOST_VALUES = 2, 24
"""Different values from which, and of which, a suggestion is made."""
FEWEST_CODED = 2
CLEARLY_BETTER = 0.15
"""Share of values by which the best column must be ahead of the next; nearer ones only the heading's own words part."""
MAY_DATE_A_ROW = ("date", "slot_start", "started_at")
MOMENTS = ("started_at", "ended_at", "arrived_at", "slot_start", "slot_end", "booked_on")
CLOCKS = ("started_at", "ended_at", "arrived_at", "slot_time", "slot_end")
SAYS_LITTLE = frozenset(
    ("number", "patient", "date", "time", "ear", "ears", "of", "the", "to", "at", "on", "before", "after", "done")
)
"""Words of headings that many columns share."""
YEARS_OF_BIRTHS = 25
"""Dates of one column that lie further apart than this are of births: no log is that long."""
MONEY = re.compile(r"[£€$]\s*\d|\d\s*[£€$]")


def suggestion(heading: str, values: Sequence[str], taken: Collection[str], settings: Settings) -> tuple[str, str]:
    """Say which column a heading could be by its content.

    Dates are suggested as the date of the visit only where no other column dates
    the rows. Of words the column is suggested that knows at least half of
    them, and clearly more than the next column does, or whose own
    headings have a word in common with this one.

    Parameters
    ----------
    heading : str
    values : sequence of str
        Different values of the column.
    taken : collection of str
        Columns that other headings fill; ``date`` among them where the rows are dated.
    settings : Settings

    Returns
    -------
    (str, str)
        The column without its ear, and why in plain words; both empty where nothing fits.

    Examples
    --------
    >>> suggestion("Rx", ["suction", "MS + hook", "irrigation", "magic"], (), Settings())
    ('methods', '3 of 4 different values are words of methods')
    >>> suggestion("Termin", ["03.03.2025", "04.03.2025"], (), Settings())
    ('date', 'its values are dates')
    >>> suggestion("Room", ["blue", "green"], (), Settings())
    ('', '')
    """
    some = spread(values, MOST_VALUES)
    if len(some) < FEWEST_VALUES:
        return "", ""
    free = [column for column in heading_entries() if column not in taken]
    for test, fitting in ((is_day, _day), (is_moment, _moment), (is_clock, _clock)):
        if sum(bool(test(value, settings)) for value in some) >= LEAST_CONFIDENCE * len(some):
            return fitting(heading, some, free, "date" in taken)
    if "fee" in free and sum(bool(MONEY.search(f"{heading} {value}")) for value in some) >= FITS_ENOUGH * len(some):
        return "fee", "it speaks of money"
    return _by_words(heading, some, free, settings)


def births(values: Iterable[str]) -> bool:
    """Tell whether a column's dates lie decades apart, as those of births do.

    Examples
    --------
    >>> births(["01/02/1948", "03/04/2001"]), births(["01/02/2025", "03/04/2026"])
    (True, False)
    """
    days = [read.day for value in values if (read := times.read_date(value)).day and not read.clock]
    years = [int(day[:4]) for day in days if day]
    return bool(years) and max(years) - min(years) >= YEARS_OF_BIRTHS


def _day(heading: str, values: Sequence[str], free: Sequence[str], dated: bool) -> tuple[str, str]:
    """Choose among the columns of dates."""
    if births(values):
        return ("birth_date", "its values are dates decades apart") if "birth_date" in free else ("", "")
    if not dated and "date" in free:
        return "date", "its values are dates"
    alike = _alike(heading, ("booked_on",), free)
    return (alike, "its values are dates") if alike else ("", "")


def _moment(heading: str, _values: Sequence[str], free: Sequence[str], dated: bool) -> tuple[str, str]:
    """Choose among the columns of dates with times of day."""
    found = _alike(heading, MOMENTS, free) or ("slot_start" if not dated and "slot_start" in free else "")
    return (found, "its values are dates with times of day") if found else ("", "")


def _clock(heading: str, _values: Sequence[str], free: Sequence[str], _dated: bool) -> tuple[str, str]:
    """Choose among the columns of times of day."""
    found = _alike(heading, CLOCKS, free) or ("slot_time" if {*CLOCKS, "slot_start"} <= set(free) else "")
    return (found, "its values are times of day") if found else ("", "")


def _alike(heading: str, columns: Iterable[str], free: Sequence[str]) -> str:
    """Find the one column of some that has a heading nearest to this one by the words they share."""
    likeness = {column: max(map(_share_of_words(heading), _names(column))) for column in columns if column in free}
    best = max(likeness.values(), default=0.0)
    found = [column for column, share in likeness.items() if share == best]
    return found[0] if best and len(found) == 1 else ""


def _share_of_words(heading: str) -> Callable[[frozenset[str]], float]:
    """Give what tells which share of the words of two headings both have."""
    mine = _words_of(heading)
    return lambda words: len(mine & words) / max(len(mine | words), 1)


@cache
def _names(column: str) -> tuple[frozenset[str], ...]:
    """Give the telling words of each of a column's known headings."""
    return tuple(_words_of(name) for name in (column, *heading_entries()[column]["names"]))


def _words_of(heading: str) -> frozenset[str]:
    """Collect the telling words of a heading."""
    return frozenset(re.findall(r"[^\W\d_]+", plain(heading))) - SAYS_LITTLE


def _by_words(heading: str, values: Sequence[str], free: Sequence[str], settings: Settings) -> tuple[str, str]:
    """Find the column of words that knows most of the values."""
    known: dict[str, tuple[float, int, int]] = {}
    for column in free:
        if heading_entries()[column]["kind"] in CODED:
            read = read_words(column, values, own_words(settings, column), suggest=False).values()
            coded = sum(bool(each.code) for each in read)
            said = sum(each.certainty != NOTHING for each in read)
            if coded >= FEWEST_CODED and coded >= FITS_ENOUGH * said:
                known[column] = (coded / said, coded, said)
    if not known:
        return "", ""
    best = max(share for share, _, _ in known.values())
    near = [column for column, (share, _, _) in known.items() if share > best - CLEARLY_BETTER]
    in_words = sum(any(map(str.isalpha, value)) for value in values) >= FEWEST_CODED  # bare numbers may be anything
    if set(near) == {"grade", "grade_revised"} and in_words:  # the same words; a revision comes after a grade
        near = [_alike(heading, near, free) or "grade"]
    chosen = near[0] if len(near) == 1 else _alike(heading, near, free)
    if not chosen:
        return "", ""
    _, coded, said = known[chosen]
    return chosen, f"{coded} of {said} different values are words of {chosen}"
