"""The words clinics use: ``shared/vocabulary/*.toml`` and its languages, read once."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

DASHES = re.compile(r"[\u2010-\u2015\u2212_-]")
STRAY = re.compile(r"(?<!\d)[.,;:!\"'`()\[\]{}\u2019]|[.,;:!\"'`()\[\]{}\u2019](?!\d)")
SPACES = re.compile(r"\s+")
SIGNS = str.maketrans({"\u2044": "/", "\u00d7": "x", "\u2265": ">", "\u2264": "<", "\u2248": "~"})
"""One way of writing signs; at least and at most count as more and less than."""
ENDINGS = re.compile(r"([<>])=")
GLUED_FRACTION = re.compile(r"(\d)([\u00bc-\u00be\u2150-\u215e])")


def shared_folder() -> Path:
    """Find ``shared/``: inside the installed package, or beside it in a clone.

    Returns
    -------
    Path

    Examples
    --------
    >>> (shared_folder() / "vocabulary" / "grade.toml").exists()
    True
    """
    package = Path(__file__).resolve().parents[1]
    inside = package / "shared"
    return inside if inside.is_dir() else package.parent / "shared"


def plain(text: str) -> str:
    """Bring a text to the form in which words are compared.

    Lower case, dashes and underscores as spaces, no stray punctuation, single spaces.
    A decimal point, a slash, ``%``, ``<``, ``>``, ``~``, ``+`` and ``&`` stay.

    Examples
    --------
    >>> plain(" Semi-Occ. "), plain("2/3 BLOCKED"), plain("12.5 %"), plain("\u2265 \u00be")
    ('semi occ', '2/3 blocked', '12.5 %', '> 3/4')
    """
    text = GLUED_FRACTION.sub(r"\1 \2", text)
    text = ENDINGS.sub(r"\1", unicodedata.normalize("NFKC", text).translate(SIGNS).casefold())
    text = STRAY.sub(" ", DASHES.sub(" ", text))
    return SPACES.sub(" ", text).strip()


@dataclass(frozen=True)
class Pattern:
    """One regular expression of a vocabulary.

    Attributes
    ----------
    match : re.Pattern
        Must match the whole text.
    code : str
    language : str
        Empty for the words of ``shared/vocabulary`` itself.
    loose : bool
        It lets words through that it does not name, so it may not be used on a
        text with a negation or a doubt among them.
    """

    match: re.Pattern[str]
    code: str
    language: str
    loose: bool


@dataclass(frozen=True)
class Vocabulary:
    """The words of one column.

    Attributes
    ----------
    column : str
    exact : dict
        Plain text to code.
    patterns : tuple of Pattern
        Tried in order.
    fillers : frozenset
        Words that say nothing at either end of a text.
    qualities : frozenset
        Of these, those that say what kind of thing is denied: "no hard wax" is not "no wax".
    empty : frozenset
        Texts that say that nothing was recorded or done.
    labels : dict
        Code to plain label, in order.
    examples : dict
        Code to texts that must get it.
    one_only : bool
        A text that matches two codes is not coded.
    several : str
        The code of a text that names several things, each known; empty where that is asked about.
    sequence : bool
        A text may be several codes in order.
    days_may_follow : bool
        Days of use may stand in the same cell.
    days_alone : str
        The code of a cell that holds days of use and nothing else.
    percents : tuple of (bound, inclusive, code)
        From percent to code, lowest first; empty where numbers mean nothing.
    contested : frozenset
        Plain texts that mean one thing in one language and another in another: asked about.
    """

    column: str
    exact: dict[str, str]
    patterns: tuple[Pattern, ...]
    fillers: frozenset[str]
    empty: frozenset[str]
    labels: dict[str, str]
    examples: dict[str, list[str]]
    qualities: frozenset[str] = frozenset()
    one_only: bool = False
    several: str = ""
    sequence: bool = False
    days_may_follow: bool = False
    days_alone: str = ""
    percents: tuple[tuple[float, bool, str], ...] = field(default=())
    contested: frozenset[str] = frozenset()


@cache
def languages() -> tuple[str, ...]:
    """Name the languages beside the words of ``shared/vocabulary`` itself: its folders.

    Examples
    --------
    >>> "german" in languages()
    True
    """
    folder = shared_folder() / "vocabulary"
    return tuple(sorted(path.name for path in folder.iterdir() if path.is_dir() and any(path.glob("*.toml"))))


@cache
def _read(name: str, language: str = "") -> dict[str, Any]:
    """Read one vocabulary file; a language need not have each."""
    path = shared_folder() / "vocabulary" / language / f"{name}.toml"
    if language and not path.exists():
        return {}
    return tomllib.loads(path.read_text(encoding="utf-8"))


@cache
def small_words(part: str, name: str) -> list[str]:
    """Give a list of small words in every language, from ``small_words.toml``.

    Examples
    --------
    >>> small_words("sides", "left")[:2]
    ['left', 'l']
    """
    read = (_read("small_words", language) for language in ("", *languages()))
    return list(dict.fromkeys(word for each in read for word in each.get(part, {}).get(name, [])))


@cache
def small_numbers(part: str) -> dict[str, float]:
    """Give what the number words of every language are worth, from ``small_words.toml``.

    Examples
    --------
    >>> small_numbers("units")["week"]
    7.0
    """
    read = (_read("small_words", language) for language in ("", *languages()))
    return {word: float(value) for each in read for word, value in each.get(part, {}).items()}


@cache
def negation() -> re.Pattern[str]:
    """Give what finds a word that turns a meaning round, in any language.

    Examples
    --------
    >>> bool(negation().search("isn t blocked")), bool(negation().search("blocked"))
    (True, False)
    """
    return re.compile(rf"(?<!\w)(?:{'|'.join(small_words('negation', 'patterns'))})(?!\w)")


@cache
def _nothing_words() -> frozenset[str]:
    """Give the texts that say in any language that nothing was recorded."""
    return frozenset(
        plain(word) for language in ("", *languages()) for word in _read("not_recorded", language).get("words", [])
    )


def says_nothing(text: str) -> bool:
    """Tell whether a text says that nothing was recorded: then there is nothing to be read, and nothing to mend.

    Examples
    --------
    >>> says_nothing("-"), says_nothing("N/A"), says_nothing("free")
    (True, True, False)
    """
    short = plain(text)
    return not short or short in _nothing_words()


@cache
def doubt() -> re.Pattern[str]:
    """Give what finds a word after which something was advised, planned or feared rather than done, in any language.

    Examples
    --------
    >>> [bool(doubt().search(text)) for text in ("allergic to olive oil", "will use olive oil", "olive oil?", "olive oil 5/7")]
    [True, True, True, False]
    """
    return re.compile(rf"\?|(?<!\w)(?:{'|'.join(small_words('doubt', 'patterns'))})(?!\w)")


@cache
def vocabulary(column: str) -> Vocabulary:
    """Give the words of one column, those of every language together.

    A word that means two things in two languages is in neither's: it is asked
    about. A language brings words, patterns, examples and fillers, never codes
    or labels of its own.

    Parameters
    ----------
    column : str
        A coded column of the tables, or one that only exports have
        (``softening_used``); ``grade_revised`` has the words of ``grade``.

    Returns
    -------
    Vocabulary

    Examples
    --------
    >>> vocabulary("grade").exact["wax free"], vocabulary("grade").exact["ohrenschmalzfrei"]
    ('clear', 'clear')
    """
    name = "grade" if column == "grade_revised" else column
    read = _read(name)
    by_language = {language: _files(name, language) for language in ("", *languages())}
    files = [each for found in by_language.values() for each in found]
    exact, contested = _without_contested({language: _words(found) for language, found in by_language.items()})
    examples: dict[str, list[str]] = {}
    for each in files:
        for code, entry in each["codes"].items():
            examples.setdefault(code, []).extend(entry["examples"])
    own_empty = [
        word for each in files for part in ("empty", "not_recorded") for word in each.get(part, {}).get("words", [])
    ]
    every_empty = [word for language in by_language for word in _read("not_recorded", language).get("words", [])]
    return Vocabulary(
        column=column,
        exact=exact,
        patterns=tuple(each for language, found in by_language.items() for each in _patterns(found, language)),
        fillers=frozenset(word for each in files for word in each["fillers"]),
        empty=frozenset(plain(word) for word in [*own_empty, *every_empty]) - frozenset(exact),
        labels={code: entry["label"] for code, entry in read["codes"].items()},
        examples=examples,
        qualities=frozenset(word for each in files for word in each.get("qualities", [])),
        one_only=read.get("one_only", False),
        several=read.get("several", ""),
        sequence=read.get("sequence", False),
        days_may_follow=read.get("days_may_follow", False),
        days_alone=read.get("days_alone", ""),
        percents=tuple(_percent_bound(entry) for entry in read.get("percent", [])),
        contested=contested,
    )


def _files(name: str, language: str) -> list[dict[str, Any]]:
    """Give a column's file in one language, and the one it names in "also"."""
    also = _read(name).get("also", "")
    return [each for part in (name, also) if part and (each := _read(part, language))]


def _words(files: Iterable[dict[str, Any]]) -> dict[str, str]:
    """Give the texts that match as they stand in one language: the column's own file first."""
    exact: dict[str, str] = {}
    for each in files:
        for code, entry in each["codes"].items():
            labels = [code, entry["label"]] if "label" in entry else []
            for text in [*labels, *entry["words"]]:
                exact.setdefault(plain(text), code)
            for text in entry["examples"]:
                if not any(letter.isdigit() for letter in text):
                    exact.setdefault(plain(text), code)
    return exact


def _without_contested(by_language: dict[str, dict[str, str]]) -> tuple[dict[str, str], frozenset[str]]:
    """Put the words of all languages together, but for those that mean different things."""
    codes: dict[str, set[str]] = {}
    for words in by_language.values():
        for text, code in words.items():
            codes.setdefault(text, set()).add(code)
    contested = frozenset(text for text, found in codes.items() if len(found) > 1)
    return {text: next(iter(found)) for text, found in codes.items() if text not in contested}, contested


def _patterns(files: Iterable[dict[str, Any]], language: str) -> list[Pattern]:
    """Give the patterns of one language."""
    return [
        Pattern(re.compile(pattern), code, language, loose=".*" in pattern and not negation().search(pattern))
        for each in files
        for code, entry in each["codes"].items()
        for pattern in entry["patterns"]
    ]


def _percent_bound(entry: dict[str, Any]) -> tuple[float, bool, str]:
    """Read one line of the table from percent to code."""
    inclusive = "up_to" in entry
    return float(entry["up_to"] if inclusive else entry["below"]), inclusive, entry["code"]


@cache
def heading_entries() -> dict[str, dict[str, Any]]:
    """Give what ``headers.toml`` says of each column of an export, with the names of every language."""
    entries = {column: dict(entry) for column, entry in _read("headers").items()}
    for language in languages():
        for column, entry in _read("headers", language).items():
            entries[column]["names"] = [*entries[column]["names"], *entry["names"]]
    return entries
