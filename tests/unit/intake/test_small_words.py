"""Every line of the small words, of what says nothing and of what a heading's content may correct does what it says, in every language."""

import re
import tomllib

import pytest

from analysis.intake.amounts import days, percent
from analysis.intake.both_ears import split_sides
from analysis.intake.headers import match_heading
from analysis.intake.heading_content import judged
from analysis.intake.vocabulary import doubt, heading_entries, languages, negation, shared_folder
from analysis.intake.words import NOTHING, read_words
from analysis.settings import Settings

FOLDER = shared_folder() / "vocabulary"
DENIALS = (
    "no", "not", "nil", "none", "never", "non", "without", "neither", "nor", "cannot", "denies", "declined", "refused", "isn t",
    "unable", "failed", "unsuccessful", "hardly", "barely", "no longer", "stopped", "forgot", "zero", "free of", "nicht", "kein",
    "keine", "ohne", "nie", "niemals", "weder", "verneint", "frei von",
)  # fmt: skip
DOUBTS = (
    "allergic", "advised", "recommended", "suggested", "told to", "asked to", "will", "would", "should", "shall", "ought", "to use",
    "going to", "planned", "intends", "next time", "instead of", "rather than", "ran out", "run out", "maybe", "perhaps", "possibly",
    "probably", "unsure", "not sure", "if", "irritated", "reaction", "intolerant", "avoids", "contraindicated", "allergisch",
    "empfohlen", "geraten", "soll", "sollte", "wird", "werden", "geplant", "nächstes mal", "statt", "anstelle", "vielleicht", "eventuell",
    "evtl", "falls", "vermutlich", "unverträglich",
)  # fmt: skip
VALUES = {
    "day": ["01/03/2026", "02/03/2026"], "moment": ["01/03/2026 09:00", "02/03/2026 10:00"], "clock": ["09:00", "10:30"],
    "minutes": ["30 mins", "20 mins"], "yes_no": ["yes", "no"], "days": ["5", "7"],
    "names": ["Orla Fennimore", "Petra Quill"], "numbers": ["P00417", "P00418"],
}  # fmt: skip


def said(file, part, name):
    """Give the words of one line, of every language."""
    found = []
    for language in ("", *languages()):
        path = FOLDER / language / f"{file}.toml"
        read = tomllib.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
        found += list(read.get(part, {}).get(name, [])) if name else list(read.get(part, {}).items())
    return found


@pytest.mark.parametrize("side", ["left", "right"])
def test_every_word_of_a_side_names_it_in_headings(side):
    for word in said("small_words", "sides", side):
        assert match_heading(f"{word} wax").column == f"grade_{side}", word
        assert match_heading(f"wax ({word})").column == f"grade_{side}", word


def test_every_word_of_both_ears_speaks_of_each():
    for word in said("small_words", "sides", "both"):
        found = split_sides(f"{word}: full")
        assert (found.left, found.right) == ("full", "full"), word


def test_every_word_between_steps_parts_them():
    for word in said("small_words", "between", "patterns"):
        text = f"suction {word} hook"
        assert read_words("methods", [text])[text].code == "wide_suction>hook_or_loop", word


@pytest.mark.parametrize(("part", "examples", "finder"), [("negation", DENIALS, negation), ("doubt", DOUBTS, doubt)])
def test_every_denial_and_doubt_is_found_and_met_by_an_example(part, examples, finder):
    for pattern in said("small_words", part, "patterns"):
        assert any(re.fullmatch(pattern, each) for each in examples), pattern
    for each in examples:
        assert finder().search(f"oil {each} oil"), each


def test_every_count_part_ten_and_unit_is_worth_what_it_says():
    for word, worth in said("small_words", "counts", ""):
        assert days(f"{word} days") == worth, word
    for word, worth in said("small_words", "parts", ""):
        assert percent(word) == pytest.approx(100 * worth, abs=1e-3), word
    for word, worth in said("small_words", "tens", ""):
        assert percent(f"{word} percent") == worth, word
    for word, worth in said("small_words", "units", ""):
        assert days(f"3{word}" if word.startswith("/") else f"3 {word}") == 3 * worth, word


def test_every_word_around_a_share_leaves_the_share():
    for word in said("small_words", "shares", "percent"):
        assert percent(f"80 {word}") == 80, word
    for word in said("small_words", "shares", "about"):
        assert percent(f"{word} 80%") == 80, word
    for word in said("small_words", "shares", "less"):
        assert percent(f"{word} 50%") == 49, word
    for word in said("small_words", "shares", "more"):
        assert percent(f"{word} 50%") == 51, word
    for word in said("small_words", "shares", "to"):
        assert percent(f"60 {word} 80%") == 70, word
    for word in said("small_words", "shares", "after"):
        assert percent(f"80% {word}") == 80, word
    for word in said("small_words", "shares", "for"):
        assert days(f"{word} 5 days") == 5, word


def test_every_text_that_says_nothing_is_coded_as_nothing():
    for language in ("", *languages()):
        path = FOLDER / language / "not_recorded.toml"
        for word in tomllib.loads(path.read_text(encoding="utf-8"))["words"] if path.exists() else ():
            assert read_words("canal", [word])[word].certainty == NOTHING, word


def test_every_correction_by_content_is_made():
    made = 0
    for column, entry in heading_entries().items():
        for kind, other in (entry.get("instead", {}) | entry.get("only", {})).items():
            assert judged(column, VALUES[kind], Settings())[0] == other, (column, kind)
            made += 1
    assert made >= 20
