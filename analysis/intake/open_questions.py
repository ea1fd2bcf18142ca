"""What preview could not understand, as lines of ``clinic.toml`` ready to edit."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from analysis.intake.headers import known_columns
from analysis.intake.heading import IGNORE, TO_BE_NAMED
from analysis.intake.preview import Preview
from analysis.intake.vocabulary import vocabulary

PART_FILE = "clinic_part.toml"
"""Where the questions go when no clinic folder is named: read again by the next preview beside it."""
MARK = "# ? "
"""Stands before each open question; without it the line holds."""
ASKED = "  # asked by preview"
MOST_ASKED = 50
"""Words of one column asked about at a time, the commonest first."""

Questions = Mapping[str, tuple[str, tuple[str, ...]]]
"""Part of ``clinic.toml`` to (remark, lines with their mark)."""


def open_questions(seen: Iterable[Preview]) -> Questions:
    """Collect what is not understood in some exports, part by part.

    A word that may hold a name is not written down; it is counted in the remark.

    Parameters
    ----------
    seen : iterable of Preview

    Returns
    -------
    Questions
        Empty where all is understood.
    """
    columns: dict[str, str] = {}
    words: dict[str, dict[str, tuple[str, int]]] = {}
    hidden: dict[str, int] = {}
    for each in seen:
        for column in each.unknown_columns:
            if not column.masked:
                columns.setdefault(column.heading, column.nearest or TO_BE_NAMED)
        for word in each.unknown_words:
            asked = words.setdefault(word.column, {})
            if word.masked:
                hidden[word.column] = hidden.get(word.column, 0) + 1
                continue
            code = word.nearest[1] if word.nearest else ""
            asked[word.text] = (code, word.count + asked.get(word.text, ("", 0))[1])
    found: dict[str, tuple[str, tuple[str, ...]]] = {}
    if columns:
        lines = [f"{MARK}{_quoted(heading)} = {_quoted(column)}" for heading, column in columns.items()]
        ask = f'for "{TO_BE_NAMED}" write one of our columns, or "{IGNORE}" only where it is not needed'
        found["columns"] = (f"{ask}; our columns: {', '.join(known_columns())}", tuple(lines))
    for name, asked in words.items():
        found[f"words.{name}"] = (_codes(name, hidden.get(name, 0)), tuple(_lines(asked)))
    return found


def _codes(name: str, hidden: int) -> str:
    """Name the codes of a column, and how many words are not written down."""
    told = f'our codes: {", ".join(vocabulary(name).labels)}; "" for nothing recorded'
    return told + (
        f"; {hidden:,} more {'text' if hidden == 1 else 'texts'} may hold a name and are not shown" if hidden else ""
    )


def _lines(asked: Mapping[str, tuple[str, int]]) -> list[str]:
    """Write the lines of one column's words, the commonest first."""
    by_count = sorted(asked.items(), key=lambda each: (-each[1][1], each[0]))
    lines = [
        f"{MARK}{_quoted(text)} = {_quoted(code)}  # {count:,} {'row' if count == 1 else 'rows'}"
        for text, (code, count) in by_count[:MOST_ASKED]
    ]
    more = len(by_count) - MOST_ASKED
    return [*lines, f"{MARK}and {more:,} more words, asked about once these are settled"] if more > 0 else lines


def _quoted(text: str) -> str:
    """Write a text as a TOML string on one line; marks that cannot be seen are written as numbers."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(each if each.isprintable() else f"\\U{ord(each):08x}" for each in escaped) + '"'


def as_toml(questions: Questions) -> str:
    """Write the questions as a part of ``clinic.toml`` of their own."""
    return with_questions("", questions).strip()


def with_questions(toml: str, questions: Questions) -> str:
    r"""Put open questions into the text of a ``clinic.toml``.

    Nothing that holds is changed: questions are remarks, put below the heading
    of their part, or with it at the end where the part is not there yet. What
    an earlier preview asked is taken out first, so that settled questions go.

    Parameters
    ----------
    toml : str
        The file's text; may be empty.
    questions : Questions

    Returns
    -------
    str
        Reads as the same settings.

    Examples
    --------
    >>> asked = {"words.grade": ("our codes: clear", ('# ? "wobbly" = "clear"',))}
    >>> print(with_questions('[words.grade]\n"full up" = "fully_occluding"\n', asked))
    [words.grade]
    # ? "wobbly" = "clear"
    # ? (our codes: clear)
    "full up" = "fully_occluding"
    <BLANKLINE>
    >>> with_questions(with_questions("", asked), {})
    ''
    """
    lines = _without_questions(toml)
    for part, (remark, asked) in questions.items():
        block = [*asked, f"{MARK}({remark})"]
        place = next((at for at, line in enumerate(lines) if _heads(line, part)), None)
        if place is not None:
            lines[place + 1 : place + 1] = block
        else:
            lines += [*([""] if lines and lines[-1].strip() else []), f"[{part}]{ASKED}", *block]
    made = "\n".join(lines) + "\n" if lines else ""
    return made if _same_settings(toml, made) else _all_as_remarks(toml, questions)


def _without_questions(toml: str) -> list[str]:
    """Take out what an earlier preview asked, and the headings it made that nothing stands below."""
    lines = [line for line in toml.split("\n") if not line.startswith(MARK)]
    kept = []
    for at, line in enumerate(lines):
        below = next((after for after in lines[at + 1 :] if after.strip()), "[")
        if not (line.endswith(ASKED) and below.startswith("[")):
            kept.append(line)
    while kept and not kept[-1].strip():
        kept.pop()
    return kept


def _heads(line: str, part: str) -> bool:
    """Tell whether a line is the heading of a part."""
    return re.match(rf"\s*\[\s*{re.escape(part)}\s*\]", line) is not None


def _same_settings(before: str, after: str) -> bool:
    """Tell whether two texts say the same, but for parts with nothing in them."""
    try:
        return _without_empty(tomllib.loads(before)) == _without_empty(tomllib.loads(after))
    except tomllib.TOMLDecodeError:
        return False


def _without_empty(settings: object) -> object:
    """Leave out parts with nothing in them."""
    if not isinstance(settings, dict):
        return settings
    inside = {name: _without_empty(value) for name, value in settings.items()}
    return {name: value for name, value in inside.items() if value != {}}


def _all_as_remarks(toml: str, questions: Questions) -> str:
    """Put the questions and their headings at the end as remarks, where the file writes its parts in another way."""
    lines = _without_questions(toml)
    for part, (remark, asked) in questions.items():
        lines += [f"{MARK}[{part}]", *asked, f"{MARK}({remark})"]
    return "\n".join(lines) + "\n"


def put_questions(path: Path, seen: Sequence[Preview]) -> str:
    """Put what is not understood into a ``clinic.toml``, and say so.

    Only remarks are written, so that nothing holds until the owner takes a mark
    off. The file is replaced at once or not at all; where nothing changes it is
    not touched, and where nothing is open and there is no file, none is made.

    Parameters
    ----------
    path : Path
    seen : sequence of Preview

    Returns
    -------
    str
        What was done, in plain words; empty where nothing is open and nothing was.
    """
    before = path.read_text(encoding="utf-8-sig") if path.exists() else ""
    questions = open_questions(seen)
    after = with_questions(before, questions)
    if after.strip() != before.strip():
        beside = path.with_name(f".{path.name}.part")
        beside.write_text(after, encoding="utf-8")
        beside.replace(path)
    count = sum(len(lines) for _, lines in questions.values())
    if not count:
        return "Nothing is open any more." if after.strip() != before.strip() else ""
    return (
        f"{count:,} open {'question stands' if count == 1 else 'questions stand'} in {path.name} as remarks. "
        f'Take "{MARK}" off a line, choose what is right, save, and look again.'
    )
