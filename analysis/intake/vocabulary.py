"""The words clinics use: ``shared/vocabulary/*.toml``, read once."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

DASHES = re.compile(r"[\u2010-\u2015\u2212_-]")
STRAY = re.compile(r"(?<!\d)[.,;:!\"'`()\[\]{}]|[.,;:!\"'`()\[\]{}](?!\d)")
SPACES = re.compile(r"\s+")


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
    >>> plain(" Semi-Occ. "), plain("2/3 BLOCKED"), plain("12.5 %")
    ('semi occ', '2/3 blocked', '12.5 %')
    """
    text = unicodedata.normalize("NFKC", text).casefold()
    text = STRAY.sub(" ", DASHES.sub(" ", text))
    return SPACES.sub(" ", text).strip()


@dataclass(frozen=True)
class Vocabulary:
    """The words of one column.

    Attributes
    ----------
    column : str
    exact : dict
        Plain text to code.
    patterns : tuple of (pattern, code)
        Each must match the whole text; tried in order.
    fillers : frozenset
        Words that say nothing at either end of a text.
    empty : frozenset
        Texts that say that nothing was recorded or done.
    labels : dict
        Code to plain label, in order.
    examples : dict
        Code to texts that must get it.
    one_only : bool
        A text that matches two codes is not coded.
    sequence : bool
        A text may be several codes in order.
    days_may_follow : bool
        Days of use may stand in the same cell.
    percents : tuple of (bound, inclusive, code)
        From percent to code, lowest first; empty where numbers mean nothing.
    """

    column: str
    exact: dict[str, str]
    patterns: tuple[tuple[re.Pattern[str], str], ...]
    fillers: frozenset[str]
    empty: frozenset[str]
    labels: dict[str, str]
    examples: dict[str, list[str]]
    one_only: bool = False
    sequence: bool = False
    days_may_follow: bool = False
    percents: tuple[tuple[float, bool, str], ...] = field(default=())


@cache
def _read(name: str) -> dict[str, Any]:
    """Read one vocabulary file."""
    path = shared_folder() / "vocabulary" / f"{name}.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


@cache
def vocabulary(column: str) -> Vocabulary:
    """Give the words of one column.

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
    >>> vocabulary("grade").exact["wax free"]
    'clear'
    """
    read = _read("grade" if column == "grade_revised" else column)
    codes = dict(read["codes"])
    exact: dict[str, str] = {}
    patterns: list[tuple[re.Pattern[str], str]] = []
    examples: dict[str, list[str]] = {}
    files = [read, _read(read["also"])] if "also" in read else [read]
    for each in files:
        for code, entry in each["codes"].items():
            texts = [code, entry["label"], *entry["words"]]
            for text in texts:
                exact.setdefault(plain(text), code)
            for text in entry["examples"]:
                if not any(letter.isdigit() for letter in text):
                    exact.setdefault(plain(text), code)
            patterns += [(re.compile(pattern), code) for pattern in entry["patterns"]]
            examples.setdefault(code, []).extend(entry["examples"])
    own_empty = [
        word for each in files for part in ("empty", "not_recorded") for word in each.get(part, {}).get("words", [])
    ]
    empty = frozenset(plain(word) for word in [*own_empty, *_read("not_recorded")["words"]]) - frozenset(exact)
    return Vocabulary(
        column=column,
        exact=exact,
        patterns=tuple(patterns),
        fillers=frozenset(word for each in files for word in each["fillers"]),
        empty=empty,
        labels={code: entry["label"] for code, entry in codes.items()},
        examples=examples,
        one_only=read.get("one_only", False),
        sequence=read.get("sequence", False),
        days_may_follow=read.get("days_may_follow", False),
        percents=tuple(_percent_bound(entry) for entry in read.get("percent", [])),
    )


def _percent_bound(entry: dict[str, Any]) -> tuple[float, bool, str]:
    """Read one line of the table from percent to code."""
    inclusive = "up_to" in entry
    return float(entry["up_to"] if inclusive else entry["below"]), inclusive, entry["code"]


@cache
def heading_entries() -> dict[str, dict[str, Any]]:
    """Give what ``headers.toml`` says of each column of an export."""
    return _read("headers")
