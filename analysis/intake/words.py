"""Free text to codes, on the distinct texts of a column."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache, lru_cache

from analysis.intake import amounts
from analysis.intake.vocabulary import Pattern, Vocabulary, doubt, negation, plain, small_words, vocabulary
from analysis.problems import DataProblem
from analysis.schema import METHOD_JOIN
from analysis.settings import Settings

SURE, GUESSED, NOTHING, UNKNOWN = "sure", "guessed", "nothing", "unknown"
LEAST_CONFIDENCE = 0.8
"""Below this nothing is coded. A known word, number or pattern has 1; a word with typing slips has the share of its
letters that are right, so one slip in five letters or two in ten are forgiven, and no more."""
LOOSE_CONFIDENCE = 0.9
"""Of a known word among others that are not: "olive oil from the market". """
SHORTEST_TO_GUESS = 5
"""Letters; a shorter text with a slip in it could be anything."""
MOST_SLIPS = 2
SHORT_WORD = 3
"""A word of so few letters may have them swapped, but no other ("now blocked" is not "not blocked")."""
MOST_SUGGESTIONS = 300
"""Unknown texts of a column for which the nearest known one is looked for; a column with more is no column of words."""
SLASH = re.compile(r"\s*/\s*")


@dataclass(frozen=True, slots=True)
class Reading:
    """What one text of a coded column was taken for.

    ``certainty`` is ``sure``, ``guessed`` (a typing error was forgiven),
    ``nothing`` (the text says that nothing was recorded) or ``unknown``.
    ``nearest`` is the closest known text and its code where the text is unknown.
    ``confidence`` is 1 for what is known, the share of right letters for what is
    guessed, and 0 for what is not coded.
    """

    text: str
    code: str | None
    certainty: str
    nearest: tuple[str, str] | None = None
    confidence: float = 1.0


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


def read_words(
    column: str, texts: Iterable[str], own: dict[str, str] | None = None, *, suggest: bool = True
) -> dict[str, Reading]:
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
    suggest : bool, optional
        False looks for no nearest known text, which takes the longest.

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
    words, own = vocabulary(column), own or {}
    found = {text: _read_text(text, words, own) for text in texts}
    if not suggest:
        return found
    unknown = sorted(text for text, each in found.items() if each.certainty == UNKNOWN)[:MOST_SUGGESTIONS]
    return found | {text: replace(found[text], nearest=_nearest(plain(text), words.exact | own)) for text in unknown}


def _read_text(text: str, words: Vocabulary, own: dict[str, str]) -> Reading:
    """Code one text: as a whole, as a sequence where the column has them, or as several things."""
    short = plain(text)
    if short in own:
        return Reading(text, own[short] or None, SURE if own[short] else NOTHING)
    found = _read_part(short, words, own)
    if found.confidence < 1 and short not in words.contested:
        in_parts = _NOT_KNOWN
        if words.sequence:
            in_parts = _read_steps(text, words, own)
        elif words.several:
            in_parts = _read_several(text, words, own)
        found = max(found, in_parts, key=lambda each: each.confidence)
    return Reading(text, found.code, found.certainty, None, found.confidence)


@dataclass(frozen=True, slots=True)
class _Part:
    """What a part of a text was taken for, and how surely."""

    code: str | None
    certainty: str
    confidence: float


_NOT_KNOWN, _NOTHING_SAID, _DAYS = _Part(None, UNKNOWN, 0.0), _Part(None, NOTHING, 1.0), _Part(None, NOTHING, 1.0)


@cache
def _between() -> re.Pattern[str]:
    """Put the pattern that stands between steps together from the small words."""
    words = "|".join(small_words("between", "patterns"))
    return re.compile(rf"\s*(?:>+|->|=>|→|\+|&|;|,|(?:^|(?<=\s))\d[.)]\s|\b(?:{words})\b)\s*")


def _parts(text: str, words: Vocabulary, own: dict[str, str]) -> list[_Part]:
    """Read a text part by part, cut further at slashes where a part is not known."""
    found = []
    for step in _between().split(text.casefold().replace("->", ">")):
        short = plain(step)
        if not short:
            continue
        if words.days_may_follow and not amounts.without_days(short):
            found.append(_DAYS)
            continue
        whole = _read_own(short, words, own)
        if whole.certainty in (SURE, NOTHING) or "/" not in short:
            found.append(whole)
        else:
            found += [_read_own(plain(part), words, own) for part in SLASH.split(short)]
    return found


def _read_steps(text: str, words: Vocabulary, own: dict[str, str]) -> _Part:
    """Code a sequence, step by step; a step that is not known leaves the whole unknown."""
    parts = _parts(text, words, own)
    if any(part.certainty == UNKNOWN for part in parts):
        return _NOT_KNOWN
    codes = [each for part in parts for each in (part.code or "").split(METHOD_JOIN) if each]
    in_order = [code for place, code in enumerate(codes) if place == 0 or codes[place - 1] != code]
    if not in_order:
        return _NOTHING_SAID
    certainty = GUESSED if any(part.certainty == GUESSED for part in parts) else SURE
    return _Part(METHOD_JOIN.join(in_order), certainty, min(part.confidence for part in parts))


def _read_several(text: str, words: Vocabulary, own: dict[str, str]) -> _Part:
    """Code a text that names several things, each beyond doubt; what it denies beside them does not count."""
    parts = [part for part in _parts(text, words, own) if part is not _DAYS]
    if len(parts) < 2 or any(part.certainty not in (SURE, NOTHING) for part in parts):
        return _NOT_KNOWN
    codes = dict.fromkeys(part.code for part in parts if part.code)
    named = [code for code in codes if code not in ("none", words.several)]
    named = named or [code for code in codes if code != "none"] or list(codes)
    if not named:
        return _NOTHING_SAID
    return _Part(named[0] if len(named) == 1 else words.several, SURE, min(part.confidence for part in parts))


def _read_own(short: str, words: Vocabulary, own: dict[str, str]) -> _Part:
    """Code one plain text, by the clinic's own words first."""
    if short in own:
        return _Part(own[short], SURE, 1.0) if own[short] else _NOTHING_SAID
    return _read_part(short, words, own)


def _read_part(short: str, words: Vocabulary, own: dict[str, str]) -> _Part:
    """Code one plain text."""
    if not short or short in words.empty:
        return _NOTHING_SAID
    if short in words.contested:
        return _NOT_KNOWN
    forms = _forms(short, words)
    if words.days_alone and not amounts.without_days(short):
        return _Part(words.days_alone, SURE, 1.0)
    for form in forms:
        if form in words.exact:
            return _Part(words.exact[form], SURE, 1.0)
    if words.percents and (share := amounts.percent(short)) is not None:
        return _Part(_code_of_percent(share, words), SURE, 1.0)
    for form in forms:
        matched, loosely = _matched(form, words)
        if matched:
            confidence = LOOSE_CONFIDENCE if loosely else 1.0
            return _Part(matched[0], SURE, confidence) if len(matched) == 1 else _NOT_KNOWN
    return max((_forgiven(form, words.exact | own) for form in forms), key=lambda each: each.confidence)


def _matched(form: str, words: Vocabulary) -> tuple[list[str], bool]:
    """Give the codes whose patterns match, and whether only patterns that let other words through do.

    One code of each language, or all of them where a text can have but one.
    """
    denied = negation().search(form) is not None or doubt().search(form) is not None
    found: dict[str, list[Pattern]] = {}
    for each in words.patterns:
        if not (denied and each.loose) and each.match.fullmatch(form):
            found.setdefault(each.language, []).append(each)
    chosen = [each for matched in found.values() for each in (matched if words.one_only else matched[:1])]
    return list(dict.fromkeys(each.code for each in chosen)), all(each.loose for each in chosen)


def _forms(short: str, words: Vocabulary) -> list[str]:
    """Give the text as it stands, without its days, and without its fillers."""
    forms = [short]
    if words.days_may_follow:
        forms.append(amounts.without_days(short))
    fillers = words.fillers - words.qualities if negation().search(short) else words.fillers
    tokens = forms[-1].split()
    while tokens and tokens[-1] in fillers:
        tokens.pop()
        forms.append(" ".join(tokens))
    tokens = forms[-1].split()
    while tokens and tokens[0] in fillers:
        tokens.pop(0)
        forms.append(" ".join(tokens))
    return list(dict.fromkeys([short, *(form for form in forms if form)]))


def _code_of_percent(share: float, words: Vocabulary) -> str:
    """Give the code of a percentage."""
    for bound, inclusive, code in words.percents:
        if share < bound or (inclusive and share == bound):
            return code
    return words.percents[-1][2]


def _forgiven(short: str, known: dict[str, str]) -> _Part:
    """Forgive typing errors as far as the least confidence allows, never in the first letter.

    The first letter must agree because the slips that would turn a meaning round
    stand there ("unblocked" is two slips from "blocked"). A text with digits or
    signs is never guessed, nor one that is as near to a word of another code,
    nor one of whose short words is another than the known one's.
    """
    if len(short) < SHORTEST_TO_GUESS or not short.replace(" ", "").isalpha():
        return _NOT_KNOWN
    allowed = min(MOST_SLIPS, int(len(short) * (1 - LEAST_CONFIDENCE) + 1e-9))
    best: dict[int, set[str]] = {}
    for word, code in known.items():
        if code and word[:1] == short[0] and abs(len(word) - len(short)) <= allowed and _same_build(short, word):
            slips = typing_slips(short, word)
            if slips <= allowed:
                best.setdefault(slips, set()).add(code)
    if not best or len(best[min(best)]) > 1:
        return _NOT_KNOWN
    return _Part(best[min(best)].pop(), GUESSED, 1 - min(best) / len(short))


def _same_build(short: str, word: str) -> bool:
    """Tell whether two texts differ in long words only, or in a space and deny alike."""
    if len(word) < SHORTEST_TO_GUESS - 1:
        return False
    ours, theirs = short.split(), word.split()
    if len(ours) != len(theirs):
        deny_alike = bool(negation().search(short)) == bool(negation().search(word))
        return deny_alike and abs(len(ours) - len(theirs)) == 1
    return all(
        sorted(mine) == sorted(other) if max(len(mine), len(other)) <= SHORT_WORD else _turned(mine) == _turned(other)
        for mine, other in zip(ours, theirs, strict=True)
    )


def _turned(word: str) -> bool:
    """Tell whether a word begins as one does that says the opposite: "unsuccessful", "incomplete"."""
    return word.startswith(("un", "in", "non", "dis"))


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


def _nearest(short: str, known: dict[str, str]) -> tuple[str, str] | None:
    """Give the closest known text and its code, as a suggestion only.

    It begins alike and denies alike, because the nearest to "incomplete" must not be "complete".
    """
    asked = short.lstrip("?~ ")
    denied = bool(negation().search(asked))
    alike = [
        word
        for word, code in known.items()
        if code and word[:1] == asked[:1] and bool(negation().search(word)) == denied
    ]
    close = difflib.get_close_matches(asked, alike, n=1, cutoff=0.75)
    return (close[0], known[close[0]]) if close else None
