"""Free text to codes, on the distinct texts of a column."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from analysis.intake import amounts
from analysis.intake.vocabulary import Vocabulary, plain, vocabulary
from analysis.problems import DataProblem
from analysis.schema import METHOD_JOIN
from analysis.settings import Settings

SURE, GUESSED, NOTHING, UNKNOWN = "sure", "guessed", "nothing", "unknown"
SHORTEST_TO_GUESS = 5
"""Letters; a shorter text with a slip in it could be anything."""
STEPS = re.compile(r"\s*(?:>+|->|=>|→|\+|&|;|,|\bthen\b|\bfollowed by\b|\band\b|\bwith\b|\bplus\b)\s*")
SLASH = re.compile(r"\s*/\s*")


@dataclass(frozen=True, slots=True)
class Reading:
    """What one text of a coded column was taken for.

    ``certainty`` is ``sure``, ``guessed`` (a typing error was forgiven),
    ``nothing`` (the text says that nothing was recorded) or ``unknown``.
    ``nearest`` is the closest known text and its code where the text is unknown.
    """

    text: str
    code: str | None
    certainty: str
    nearest: tuple[str, str] | None = None


def own_words(settings: Settings, column: str) -> dict[str, str]:
    r"""Give the clinic's own words for one column, plain text to code.

    Raises
    ------
    DataProblem
        If ``[words]`` names a column or a code that does not exist.

    Examples
    --------
    >>> from analysis.settings import settings_from_toml
    >>> own_words(settings_from_toml('[words.grade]\n"bunged" = "fully_occluding"'), "grade")
    {'bunged': 'fully_occluding'}
    """
    given = settings.words.get(column, {})
    if column == "grade_revised":
        given = settings.words.get("grade", {}) | given
    labels = vocabulary(column).labels
    for word, code in given.items():
        allowed = {*labels, ""}
        steps = code.split(METHOD_JOIN) if vocabulary(column).sequence else [code]
        if not set(steps) <= allowed:
            close = difflib.get_close_matches(code, labels, n=1, cutoff=0.5)
            remedy = (
                f"Did you mean {close[0]}?" if close else f'Known are: {", ".join(labels)}; "" for nothing recorded.'
            )
            raise DataProblem(
                "There is no such code.", remedy, file="clinic.toml", setting=f"words.{column}.{word}", value=code
            )
    return {plain(word): code for word, code in given.items()}


def check_words(settings: Settings, columns: Iterable[str]) -> None:
    """Refuse ``[words]`` for a column that has no words, or with a code that does not exist."""
    known = sorted(columns)
    for column in settings.words:
        if column not in known:
            close = difflib.get_close_matches(column, known, n=1, cutoff=0.5)
            remedy = f"Did you mean [words.{close[0]}]?" if close else f"Columns with words are: {', '.join(known)}."
            raise DataProblem(
                "There is no such column of words.", remedy, file="clinic.toml", setting=f"words.{column}"
            )
        own_words(settings, column)


def read_words(column: str, texts: Iterable[str], own: dict[str, str] | None = None) -> dict[str, Reading]:
    """Code the distinct texts of a column.

    The clinic's own words come first, then exact words, numbers and fractions
    where they mean something, patterns, and last a forgiven typing error. What
    is left is unknown: it is never coded, only shown with the nearest known text.

    Parameters
    ----------
    column : str
        A coded column.
    texts : iterable of str
        The distinct texts.
    own : dict, optional
        The clinic's own words, from ``own_words``.

    Returns
    -------
    dict
        Text to ``Reading``.

    Examples
    --------
    >>> read = read_words("grade", ["2/3 blocked", "fulyl occluding", "not blocked", "wobbly"])
    >>> [(each.code, each.certainty) for each in read.values()]
    [('partly_occluding', 'sure'), ('fully_occluding', 'guessed'), ('non_occluding', 'sure'), (None, 'unknown')]
    """
    words = vocabulary(column)
    return {text: _read_text(text, words, own or {}) for text in texts}


def _read_text(text: str, words: Vocabulary, own: dict[str, str]) -> Reading:
    """Code one text, as a sequence where the column has sequences."""
    short = plain(text)
    if short in own:
        return Reading(text, own[short] or None, SURE if own[short] else NOTHING)
    whole = _read_part(short, words, own)
    if whole[1] == SURE or not words.sequence:
        code, certainty = whole
        return Reading(text, code, certainty, _nearest(short, words) if certainty == UNKNOWN else None)
    if whole[1] == NOTHING or not short:
        return Reading(text, None, NOTHING)
    code, certainty = _read_steps(text, words, own)
    if certainty == UNKNOWN and whole[1] == GUESSED:
        code, certainty = whole
    return Reading(text, code, certainty, _nearest(short, words) if certainty == UNKNOWN else None)


def _read_steps(text: str, words: Vocabulary, own: dict[str, str]) -> tuple[str | None, str]:
    """Code a sequence, step by step; a step that is not known leaves the whole unknown."""
    codes: list[str] = []
    certainty = SURE
    for step in STEPS.split(text.casefold().replace("->", ">")):
        short = plain(step)
        if not short:
            continue
        parts = (
            [short]
            if _read_part(short, words, own)[1] in (SURE, NOTHING)
            else [plain(part) for part in SLASH.split(short)]
        )
        for part in parts:
            code, sure = (own[part], SURE) if part in own else _read_part(part, words, own)
            if sure == UNKNOWN:
                return None, UNKNOWN
            certainty = GUESSED if sure == GUESSED else certainty
            codes += [each for each in (code or "").split(METHOD_JOIN) if each]
    in_order = [code for place, code in enumerate(codes) if place == 0 or codes[place - 1] != code]
    return (METHOD_JOIN.join(in_order), certainty) if in_order else (None, NOTHING)


def _read_part(short: str, words: Vocabulary, own: dict[str, str]) -> tuple[str | None, str]:
    """Code one plain text."""
    if not short or short in words.empty:
        return None, NOTHING
    forms = list(dict.fromkeys(_forms(short, words)))
    for form in forms:
        if form in words.exact:
            return words.exact[form], SURE
    if words.percents and (share := amounts.percent(short)) is not None:
        return _code_of_percent(share, words), SURE
    for form in forms:
        matched = list(dict.fromkeys(code for pattern, code in words.patterns if pattern.fullmatch(form)))
        if len(matched) > 1 and words.one_only:
            return None, UNKNOWN
        if matched:
            return matched[0], SURE
    for form in forms:
        if code := _forgiven(form, words.exact | own):
            return code, GUESSED
    return None, UNKNOWN


def _forms(short: str, words: Vocabulary) -> list[str]:
    """Give the text as it stands, without its days, and without its fillers."""
    forms = [short]
    if words.days_may_follow:
        forms.append(amounts.without_days(short))
    tokens = forms[-1].split()
    while tokens and tokens[-1] in words.fillers:
        tokens.pop()
        forms.append(" ".join(tokens))
    tokens = forms[-1].split()
    while tokens and tokens[0] in words.fillers:
        tokens.pop(0)
        forms.append(" ".join(tokens))
    return [form for form in forms if form]


def _code_of_percent(share: float, words: Vocabulary) -> str:
    """Give the code of a percentage."""
    for bound, inclusive, code in words.percents:
        if share < bound or (inclusive and share == bound):
            return code
    return words.percents[-1][2]


def _forgiven(short: str, known: dict[str, str]) -> str | None:
    """Forgive a typing error: one slip in 5 to 8 letters, two in more, never in the first letter.

    The first letter must agree because the slips that would turn a meaning round
    stand there ("unblocked" is two slips from "blocked"). A text with digits is
    never guessed, nor one that is as near to a word of another code.
    """
    if len(short) < SHORTEST_TO_GUESS or any(letter.isdigit() for letter in short):
        return None
    allowed = 1 if len(short) <= 8 else 2
    best: dict[int, set[str]] = {}
    for word, code in known.items():
        if (
            code
            and word[:1] == short[0]
            and len(word) >= SHORTEST_TO_GUESS - 1
            and abs(len(word) - len(short)) <= allowed
        ):
            slips = typing_slips(short, word)
            if slips <= allowed and word.count(" ") <= short.count(" ") + 1:
                best.setdefault(slips, set()).add(code)
    if not best:
        return None
    codes = best[min(best)]
    return codes.pop() if len(codes) == 1 else None


@lru_cache(maxsize=65536)
def typing_slips(one: str, other: str) -> int:
    """Count the slips between two words: a letter wrong, missing, extra, or two swapped.

    Examples
    --------
    >>> typing_slips("occulding", "occluding"), typing_slips("ful", "full"), typing_slips("same", "same")
    (1, 1, 0)
    """
    before: list[int] = []
    last = list(range(len(other) + 1))
    for i, letter in enumerate(one, start=1):
        now = [i]
        for j, against in enumerate(other, start=1):
            cost = min(last[j] + 1, now[j - 1] + 1, last[j - 1] + (letter != against))
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == against:
                cost = min(cost, before[j - 2] + 1)
            now.append(cost)
        before, last = last, now
    return last[-1]


def _nearest(short: str, words: Vocabulary) -> tuple[str, str] | None:
    """Give the closest known text and its code, as a suggestion only."""
    close = difflib.get_close_matches(short, list(words.exact), n=1, cutoff=0.8)
    return (close[0], words.exact[close[0]]) if close else None
