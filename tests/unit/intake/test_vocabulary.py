"""Every line of the vocabulary does what it says, in every language."""

import re
import tomllib

import pytest

from analysis.intake.headers import SURE, match_heading
from analysis.intake.vocabulary import heading_entries, languages, plain, shared_folder, vocabulary
from analysis.intake.words import _forms, read_words
from analysis.schema import CODE_LABELS, METHODS

FOLDER = shared_folder() / "vocabulary"
OTHER_FILES = ("headers", "not_recorded", "small_words")
COLUMNS = sorted(path.stem for path in FOLDER.glob("*.toml") if path.stem not in OTHER_FILES)
ONLY_IN_EXPORTS = {"ear": {"both"}}
FILES = [
    (language, path.stem)
    for language in ("", *languages())
    for path in sorted((FOLDER / language).glob("*.toml"))
    if path.stem not in OTHER_FILES
]


def entries(language, column):
    """Read the codes of one vocabulary file."""
    return tomllib.loads((FOLDER / language / f"{column}.toml").read_text(encoding="utf-8"))["codes"]


def lines(kind):
    """Give every line of a kind: language, column, code and text."""
    return [
        pytest.param(column, code, text, id="-".join(filter(None, (language, column, code, text))))
        for language, column in FILES
        for code, entry in entries(language, column).items()
        for text in entry[kind]
    ]


@pytest.mark.parametrize(("column", "code", "text"), lines("examples"))
def test_an_example_gets_its_code_without_a_guess(column, code, text):
    read = read_words(column, [text])[text]
    assert (read.code, read.certainty) == (code, "sure")


@pytest.mark.parametrize(("column", "code", "text"), lines("words"))
def test_a_word_gets_its_code_without_a_guess(column, code, text):
    read = read_words(column, [text])[text]
    assert (read.code, read.certainty) == (code, "sure")


@pytest.mark.parametrize(("column", "code", "pattern"), lines("patterns"))
def test_a_pattern_is_met_by_an_example(column, code, pattern):
    words = vocabulary(column)
    texts = [form for text in words.examples[code] for form in _forms(plain(text), words)]
    assert [text for text in texts if re.fullmatch(pattern, text)]


@pytest.mark.parametrize("column", COLUMNS)
def test_no_word_means_two_things(column):
    assert vocabulary(column).contested == frozenset()
    under = {}
    for code, entry in entries("", column).items():
        for word in entry["words"]:
            assert under.setdefault(plain(word), code) == code, word


@pytest.mark.parametrize(("language", "column"), FILES)
def test_a_file_has_the_codes_of_its_column_and_an_example_of_each(language, column):
    assert set(entries(language, column)) <= set(vocabulary(column).labels)
    assert all(entry["examples"] for entry in entries(language, column).values())


@pytest.mark.parametrize("column", COLUMNS)
def test_codes_and_labels_are_those_of_the_tables(column):
    labels = METHODS if column == "methods" else CODE_LABELS.get(column, {"yes": "yes", "no": "no"})
    ours = {
        code: label for code, label in vocabulary(column).labels.items() if code not in ONLY_IN_EXPORTS.get(column, ())
    }
    assert ours == labels


def test_every_heading_is_taken_for_its_own_column():
    for column, entry in heading_entries().items():
        for name in entry["names"]:
            heading = match_heading(name)
            assert (heading.column, heading.certainty) == (column, SURE), name


def test_every_heading_of_an_ear_may_stand_on_either_side():
    for column, entry in heading_entries().items():
        if entry["level"] == "ear" and column != "ear":
            for name in entry["names"]:
                assert match_heading(f"{name} (left)").column == f"{column}_left", name
                assert match_heading(f"R {name}").column in (f"{column}_right", "ear_minutes_right"), name
