"""Headings of an export to the columns they are taken for."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache, lru_cache

from analysis.intake.heading import CLINIC, GUESSED, IGNORE, SIDES, SURE, TO_BE_NAMED, Heading, Headings, without_side
from analysis.intake.heading_content import fits, is_day, is_moment, judged
from analysis.intake.heading_suggestions import MAY_DATE_A_ROW, suggestion
from analysis.intake.vocabulary import heading_entries, plain, small_words
from analysis.intake.words import typing_slips
from analysis.problems import DataProblem
from analysis.settings import Settings

SAME_WORD = {
    "no": "number", "num": "number", "nr": "number", "nbr": "number", "id": "number", "ref": "number",
    "reference": "number", "pt": "patient", "px": "patient", "patients": "patient", "appt": "appointment",
    "apt": "appointment", "appts": "appointment", "mins": "minutes", "min": "minutes", "minute": "minutes",
    "pct": "percent", "perc": "percent", "tel": "phone", "telephone": "phone",
}  # fmt: skip
UNITS = frozenset(
    ("min", "mins", "minutes", "days", "day", "percent", "y n", "yes no", "y/n", "yes/no", "hh mm", "hh:mm", "h mm", "dd mm yyyy",
     "dd/mm/yyyy", "yyyy mm dd", "gbp", "eur", "usd", "years", "yrs", "text", "optional", "24h", "date", "time", "hh mm ss", "nights", "")
)  # fmt: skip
OTHER_NAMES = {"patient_key": "patient_number", "softening_method": "softener"}
"""Names of our own tables that an export holds under another name."""
MARK = "\u2020"
"""Stands in a comparable heading where minutes stood in brackets."""
MINUTE_UNITS = frozenset(("min", "mins", "minutes", "m"))
BRACKETS = re.compile(r"[(\[{]([^)\]}]*)[)\]}]")
HUMP = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
LONGEST_HEADING = 80
"""Letters; a longer text is no heading."""


@cache
def _side_words() -> dict[str, frozenset[str]]:
    """Give the words for left and right in every language."""
    return {side: frozenset(plain(word) for word in small_words("sides", side)) for side in SIDES}


def _side_of(token: str) -> str:
    """Tell whether a word says left or right."""
    return next((side for side, words in _side_words().items() if token in words), "")


@cache
def _names() -> dict[str, str]:
    """Give every known heading, in comparable form, and its column."""
    known: dict[str, str] = {}
    for column, entry in heading_entries().items():
        for name in (column, *entry["names"]):
            known.setdefault(_comparable(name), column)
    return known


@cache
def known_columns() -> tuple[str, ...]:
    """Give every column that a heading may be taken for."""
    made = list(heading_entries())
    made += [
        f"{column}_{side}" for column, entry in heading_entries().items() if entry["level"] == "ear" for side in SIDES
    ]
    return (*(column for column in made if column not in ("ear_left", "ear_right")), *OTHER_NAMES, IGNORE)


def _comparable(text: str) -> str:
    """Bring a heading to the form in which headings are compared."""
    text = HUMP.sub(" ", text).replace("%", " percent ").replace("#", " number ").replace("£", " ").replace("€", " ")
    text = BRACKETS.sub(_unit_or_words, text)
    tokens = re.sub(rf"[^\w {MARK}]|_", " ", plain(text)).split()
    return " ".join(SAME_WORD.get(token, token) for token in tokens)


def _lookup(comparable: str) -> str:
    """Find the column of a comparable heading; "slot (min)" is a length although "slot" is a time."""
    names = _names()
    bare = " ".join(comparable.replace(MARK, " ").split())
    as_length = names.get(f"{bare} minutes", "") if bare != comparable else ""
    return as_length or names.get(bare, "")


def _unit_or_words(match: re.Match[str]) -> str:
    """Leave a unit in brackets out of a heading; minutes are marked, because they tell a length from a time."""
    inside = plain(match[1])
    if inside in MINUTE_UNITS:
        return f" {MARK} "
    return " " if inside in UNITS else f" {match[1]} "


@lru_cache(maxsize=4096)
def match_heading(text: str) -> Heading:
    """Take one heading for a column.

    Parameters
    ----------
    text : str
        The heading as it stands.

    Returns
    -------
    Heading

    Examples
    --------
    >>> [match_heading(each).column for each in ("L wax", "Wax (left)", "Left ear - amount", "Appt No.", "DOB")]
    ['grade_left', 'grade_left', 'grade_left', 'visit_id', 'birth_date']
    >>> match_heading("Practicioner").certainty, match_heading("Room").column
    ('guessed', '')
    """
    comparable = _comparable(text)
    column, certainty = _exact_text(text)
    if column:
        return Heading(text, column, certainty)
    comparable = _comparable(text)
    names = _names()
    side, rest = _take_side(comparable)
    left_over = (rest if side else comparable).replace(MARK, "").strip()
    forgiven = _forgiven(left_over)
    if forgiven and (not side or _concerns_ear(forgiven)):
        return Heading(text, f"{forgiven}_{side}" if side else forgiven, GUESSED)
    close = difflib.get_close_matches(left_over, list(names), n=1, cutoff=0.78)
    suffix = f"_{side}" if side and close and _concerns_ear(names[close[0]]) else ""
    return Heading(text, "", "", f"{names[close[0]]}{suffix}" if close else "")


def _exact_text(text: str) -> tuple[str, str]:
    """Find the column of a heading as it stands, or without what stands in brackets: "Seen by (initials)"."""
    found = _exact(_comparable(text))
    if found[0] or not BRACKETS.search(text):
        return found
    inside = {token for match in BRACKETS.finditer(text) for token in plain(match[1]).split()}
    return ("", "") if any(_side_of(token) for token in inside) else _exact(_comparable(BRACKETS.sub(" ", text)))


def _exact(comparable: str) -> tuple[str, str]:
    """Find the column of a heading that is known as it stands, or once its ear is taken off."""
    if column := _lookup(comparable):
        return column, SURE
    side, rest = _take_side(comparable)
    if not side:
        return "", ""
    if not rest:
        return f"grade_{side}", GUESSED
    whole = " ".join(token for token in comparable.split() if _side_of(token) != side)
    for form in (whole, rest, _without_ear(rest)):
        column = _lookup(form)
        if column == "minutes":
            return f"ear_minutes_{side}", SURE
        if column and _concerns_ear(column):
            return f"{column}_{side}", SURE
    return "", ""


def _concerns_ear(column: str) -> bool:
    """Tell whether a column may stand once for each ear."""
    return heading_entries()[column]["level"] == "ear" and column != "ear"


def known_columns_of(texts: Sequence[str], own: dict[str, str]) -> list[str]:
    """Give the columns of a row of texts that are headings beyond doubt; quick, to find the row of headings.

    Parameters
    ----------
    texts : sequence of str
    own : dict
        From ``own_columns``.

    Returns
    -------
    list of str

    Examples
    --------
    >>> known_columns_of(["Date", "L wax", "9 May"], {})
    ['date', 'grade_left']
    """
    short = (text for text in texts if 0 < len(text) <= LONGEST_HEADING)
    found = (own.get(_comparable(text), "") or _exact_text(text)[0] for text in short)
    return list(dict.fromkeys(column for column in found if column))


def _take_side(comparable: str) -> tuple[str, str]:
    """Take left or right off either end of a heading, with the word "ear" beside it."""
    tokens = comparable.split()
    ears = small_words("sides", "ear")
    for place in (0, -1):
        if not tokens:
            break
        side = _side_of(tokens[place])
        if not side and len(tokens) > 1 and tokens[place] in ears:
            side = _side_of(tokens[1 if place == 0 else -2])
        if side:
            rest = [token for token in tokens if token not in _side_words()[side]]
            if rest and rest[0] in (*ears, "s"):
                rest = rest[1:]
            return side, " ".join(rest)
    return "", comparable


def _without_ear(rest: str) -> str:
    """Take the word "ear" off the end: "left wax ear"."""
    first, _, last = rest.rpartition(" ")
    return first if last in small_words("sides", "ear") else rest


def _forgiven(comparable: str) -> str:
    """Forgive a typing error in a heading: one slip in 6 to 9 letters, two in more."""
    if len(comparable) < 6:
        return ""
    allowed = 1 if len(comparable) < 10 else 2
    near: dict[int, set[str]] = {}
    for name, column in _names().items():
        if abs(len(name) - len(comparable)) <= allowed and name[:1] == comparable[0]:
            slips = typing_slips(comparable, name)
            if slips <= allowed:
                near.setdefault(slips, set()).add(column)
    nearest = near[min(near)] if near else set()
    return nearest.pop() if len(nearest) == 1 else ""


def own_columns(settings: Settings) -> dict[str, str]:
    r"""Give the clinic's own headings, in comparable form, and their columns.

    Raises
    ------
    DataProblem
        If ``[columns]`` names a column that does not exist.

    Examples
    --------
    >>> from analysis.settings import settings_from_toml
    >>> own_columns(settings_from_toml('[columns]\n"Stuff on the left" = "grade_left"'))
    {'stuff on the left': 'grade_left'}
    """
    for heading, column in settings.columns.items():
        if column == TO_BE_NAMED:
            raise DataProblem(
                "This column is not named yet.",
                f'For the question mark write one of our columns (the remark below the questions lists them), or "{IGNORE}" where nothing in it is needed.',
                file="clinic.toml",
                setting=f"columns.{heading}",
            )
        if column not in known_columns():
            close = difflib.get_close_matches(column, known_columns(), n=1, cutoff=0.5)
            remedy = f'Did you mean "{close[0]}"?' if close else f"Known are: {', '.join(known_columns())}."
            raise DataProblem(
                "There is no such column.", remedy, file="clinic.toml", setting=f"columns.{heading}", value=column
            )
    return {_comparable(heading): OTHER_NAMES.get(column, column) for heading, column in settings.columns.items()}


def match_headings(
    texts: Sequence[str], settings: Settings, content: Callable[[int], Sequence[str]] | None = None
) -> Headings:
    """Take the headings of a table for columns.

    The clinic's own ``[columns]`` come first and are never overruled. Of the others
    the content has a say where it is given: see ``heading_content``. Where two headings fit one column,
    the surer one fills it, and of equally sure ones the first; the other is
    named in the intake record and not read.

    Parameters
    ----------
    texts : sequence of str
    settings : Settings
    content : callable, optional
        Position of a heading to different values of its column, from ``sample_of``.

    Returns
    -------
    Headings

    Examples
    --------
    >>> match_headings(["Date", "Booked for"], Settings(), [["2026-03-01"], ["30 mins"]].__getitem__).columns
    ['date', 'slot_minutes']
    >>> match_headings(["Date", "Left ear wax", "Room"], Settings()).columns
    ['date', 'grade_left']
    """
    own = own_columns(settings)
    found = []
    for place, text in enumerate(texts):
        column = own.get(_comparable(text))
        if column is not None:
            found.append(Heading(text, column, CLINIC))
        else:
            found.append(_with_content(match_heading(text), content(place) if content else (), settings))
    if all(each.column != "softener" for each in found):  # "used drops?" then tells of the agent too
        found = [replace(each, column="softener") if each.column == "softening_used" else each for each in found]
    order = sorted(
        range(len(found)), key=lambda place: ((CLINIC, SURE, GUESSED, "").index(found[place].certainty), place)
    )
    taken: dict[str, int] = {}
    for place in order:
        if found[place].column not in ("", IGNORE):
            taken.setdefault(found[place].column, place)
    if content:
        found = _with_suggestions(found, taken, content, settings)
    found = [replace(each, nearest="", suggests="") if each.nearest in taken else each for each in found]
    used = tuple(sorted(taken.values()))
    doubled = tuple(
        place for place, each in enumerate(found) if each.column not in ("", IGNORE) and taken[each.column] != place
    )
    return Headings(tuple(found), used, doubled)


def _with_content(heading: Heading, values: Sequence[str], settings: Settings) -> Heading:
    """Let the content of a column correct or forbid what its heading was taken for."""
    if not heading.column or not values:
        return heading
    column, why = judged(heading.base, values, settings)
    if not why:
        return heading
    if not column:
        return Heading(heading.text, "", "", why=why)
    side = f"_{heading.side}" if heading.side and _concerns_ear(column) else ""
    return Heading(heading.text, f"{column}{side}", GUESSED, why=why)


def _with_suggestions(
    found: list[Heading], taken: dict[str, int], content: Callable[[int], Sequence[str]], settings: Settings
) -> list[Heading]:
    """Say of each heading that is not understood what its content suggests, and drop what it forbids."""
    dated = any(_holds_days(content(taken[column]), settings) for column in MAY_DATE_A_ROW if column in taken)
    filled = {without_side(column) for column in taken} | ({"date"} if dated else set())
    made = []
    for place, heading in enumerate(found):
        values = () if heading.column or heading.why else content(place)
        side, rest = _take_side(_comparable(heading.text))
        name = rest if side else heading.text
        column, why = suggestion(name, values, filled - _of_the_other_ear(taken, side), settings)
        if column:
            suffix = f"_{side}" if side and _concerns_ear(column) else ""
            made.append(replace(heading, nearest=f"{column}{suffix}", suggests=why))
        elif heading.nearest and values and not fits(without_side(heading.nearest), values, settings):
            made.append(replace(heading, nearest=""))
        else:
            made.append(heading)
    suggested = [heading.nearest for heading in made if heading.suggests]
    twice = {column for column in suggested if suggested.count(column) > 1}
    return [replace(each, nearest="") if each.suggests and each.nearest in twice else each for each in made]


def _holds_days(values: Sequence[str], settings: Settings) -> bool:
    """Tell whether any of some values dates a row."""
    return any(is_day(value, settings) or is_moment(value, settings) for value in values)


def _of_the_other_ear(taken: dict[str, int], side: str) -> set[str]:
    """Give the columns that only the other ear fills: for this one they are still free."""
    sided = {without_side(column) for column in taken if without_side(column) != column} if side else set()
    return {column for column in sided if f"{column}_{side}" not in taken}
