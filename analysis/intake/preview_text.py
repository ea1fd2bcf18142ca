"""What preview saw, in plain words for a screen of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import replace

from analysis.intake.open_questions import MARK, as_toml, open_questions
from analysis.intake.preview import ColumnSeen, Preview, WordSeen
from analysis.intake.words import GUESSED, LEAST_CONFIDENCE, UNKNOWN

WIDTH = 80
MOST_WORDS, MOST_OF_A_KIND = 60, 20
"""Different words up to which a column's are all shown; beyond, so many of each kind, the commonest first."""
LONGEST_BESIDE = 34
"""Letters of a word up to which its code stands on the same line."""
HOW_CODED = (
    f"A word is coded where it is known, or where at least {LEAST_CONFIDENCE:.0%} of its letters are those of one known "
    "word and of no other code. Any other is left open, counted, and asked about."
)


def preview_text(seen: Preview, before: Sequence[Preview] = ()) -> str:
    """Say what an export holds: facts, columns, words, what cannot be read, and what is still open.

    Parameters
    ----------
    seen : Preview
    before : sequence of Preview, optional
        Exports shown already: columns and words that stood in one of them with the same columns
        (last month's file, the sheet before) are not shown again.

    Returns
    -------
    str
        No line is longer than 80 letters, but for a heading or word that itself is.
    """
    alike = [each for each in before if _taken_for(each) == _taken_for(seen)]
    if alike:
        shown = {(word.column, word.text) for each in alike for word in each.words}
        seen = replace(seen, words=tuple(word for word in seen.words if (word.column, word.text) not in shown))
        which = "The columns are those of" if seen.words else "The columns and words are those of"
        new = "; these words did not stand there:" if seen.words else "."
        parts = [_of_file(seen), "\n".join(_wrapped(f"{which} {alike[0].file}{new}", 0, more=0))]
    else:
        parts = [_of_file(seen), _of_columns(seen)]
    parts += [_of_words(seen), _of_unreadable(seen), _of_what_is_open(seen, again=bool(alike))]
    return "\n\n".join(part for part in parts if part) + "\n"


def _taken_for(seen: Preview) -> list[tuple[str, str]]:
    """List the headings of an export and what they are taken for."""
    return [(column.heading, column.taken_for) for column in seen.columns]


def _wrapped(text: str, indent: int, *, more: int = 2) -> list[str]:
    """Break a text into lines."""
    first, rest = " " * indent, " " * (indent + more)
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False, break_on_hyphens=False
    )


def _of_file(seen: Preview) -> str:
    """Say what kind of file it is."""
    facts = [f"{name}: {value}" for name, value in seen.facts.items() if value not in ("", None, [])]
    lines = [seen.file]
    for line in (*facts, *(f"Mind: {warning}" for warning in seen.warnings)):
        lines += _wrapped(line, 2)
    return "\n".join(lines)


def _of_columns(seen: Preview) -> str:
    """Say what each column is taken for, how sure, and a few values."""
    open_ones = len(seen.unknown_columns)
    lines = [f"Columns ({len(seen.columns)}, not read {open_ones})"]
    for column in seen.columns:
        lines += _column_lines(column)
    return "\n".join(lines)


def _column_lines(column: ColumnSeen) -> list[str]:
    """Say what one column is taken for."""
    taken = column.taken_for or (f"? (perhaps {column.nearest})" if column.nearest else "?")
    who = "; identifies people, never stored" if column.identifying else ""
    lines = _wrapped(f"{column.heading} -> {taken}", 2, more=4)
    shown = f"; e.g. {', '.join(column.examples)}" if column.examples else ""
    return lines + _wrapped(f"{column.how_sure}{who}{shown}", 6)


def _of_words(seen: Preview) -> str:
    """Say which code each word gets."""
    if not seen.words:
        return ""
    lines = ["Words", *_wrapped(HOW_CODED, 2, more=0)]
    for name in dict.fromkeys(word.column for word in seen.words):
        words = [word for word in seen.words if word.column == name]
        shown = _chosen(words)
        lines.append(f"  {name} ({len(words):,} different)")
        for word in shown:
            lines += _word_lines(word)
        if len(shown) < len(words):
            left = [word for word in words if word not in shown]
            still = sum(word.certainty == UNKNOWN for word in left)
            rows = sum(word.count for word in left)
            lines += _wrapped(
                f"and {len(left):,} more ({rows:,} rows): {len(left) - still:,} understood, {still:,} not", 4
            )
    return "\n".join(lines)


def _chosen(words: Sequence[WordSeen]) -> list[WordSeen]:
    """Choose the words to show: all of a few, else the commonest that are open, guessed and known."""
    if len(words) <= MOST_WORDS:
        return list(words)
    kinds = ((UNKNOWN,), (GUESSED,), tuple({word.certainty for word in words} - {UNKNOWN, GUESSED}))
    chosen = {
        id(word) for kind in kinds for word in [each for each in words if each.certainty in kind][:MOST_OF_A_KIND]
    }
    return [word for word in words if id(word) in chosen]


def _word_lines(word: WordSeen) -> list[str]:
    """Say what one word is taken for."""
    guess = f" (guessed, {word.confidence:.0%} alike)" if word.certainty == GUESSED else ""
    nearest = f'; nearest: "{word.nearest[0]}" = {word.nearest[1]}' if word.nearest else ""
    code = f"{word.code}{guess}{nearest}"
    quoted = f'"{word.text}"'
    if len(quoted) <= LONGEST_BESIDE and len(code) <= WIDTH - LONGEST_BESIDE - 15:
        return [f"    {word.count:>6,}  {quoted:<{LONGEST_BESIDE}} {code}"]
    return [f"    {word.count:>6,}  {quoted}", *_wrapped(code, 14)]


def _of_unreadable(seen: Preview) -> str:
    """Say which dates, times and numbers cannot be read, summed up where there are many."""
    if not seen.unreadable:
        return ""
    lines = ["Dates, times and numbers that cannot be read"]
    for heading in dict.fromkeys(each[0] for each in seen.unreadable):
        texts = [each for each in seen.unreadable if each[0] == heading]
        for _, text, count in texts[:MOST_OF_A_KIND]:
            lines += _wrapped(f'{heading}: "{text}" ({count:,} {"row" if count == 1 else "rows"})', 2)
        if len(texts) > MOST_OF_A_KIND:
            rows = sum(count for _, _, count in texts[MOST_OF_A_KIND:])
            lines.append(f"  {heading}: and {len(texts) - MOST_OF_A_KIND:,} more ({rows:,} rows)")
    return "\n".join(lines)


def _of_what_is_open(seen: Preview, *, again: bool = False) -> str:
    """Say what is still open and was not asked already, as the part of ``clinic.toml`` that would settle it."""
    toml = as_toml(open_questions([replace(seen, columns=()) if again else seen]))
    if not toml:
        return "" if again else "All headings and words are understood."
    how = 'For clinic.toml: take "# ? " off a line to make it hold, and choose what is right'
    lines = [broken for line in toml.split("\n") for broken in _remark(line)]
    return "\n".join([*_wrapped(how, 0, more=0), "", *lines])


def _remark(line: str) -> list[str]:
    """Break a long remark; a line that may come to hold stays whole."""
    return (
        [f"{MARK}{part}" for part in textwrap.wrap(line.removeprefix(MARK), WIDTH - len(MARK))]
        if line.startswith(f"{MARK}(")
        else [line]
    )
