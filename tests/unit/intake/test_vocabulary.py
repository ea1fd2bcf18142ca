"""Every line of the vocabulary does what it says."""

import re
import tomllib

import pytest

from analysis.intake.headers import SURE, match_heading
from analysis.intake.vocabulary import heading_entries, plain, shared_folder, vocabulary
from analysis.intake.words import read_words
from analysis.schema import CODE_LABELS, METHODS

FOLDER = shared_folder() / "vocabulary"
COLUMNS = sorted(path.stem for path in FOLDER.glob("*.toml") if path.stem not in ("headers", "not_recorded"))
ONLY_IN_EXPORTS = {"ear": {"both"}}


def entries(column):
    return tomllib.loads((FOLDER / f"{column}.toml").read_text(encoding="utf-8"))["codes"]


@pytest.mark.parametrize("column", COLUMNS)
def test_every_example_gets_its_code_without_a_guess(column):
    for code, texts in vocabulary(column).examples.items():
        read = read_words(column, texts)
        assert {text: (each.code, each.certainty) for text, each in read.items()} == dict.fromkeys(
            texts, (code, "sure")
        )


@pytest.mark.parametrize("column", COLUMNS)
def test_every_code_has_an_example_and_every_pattern_can_be_read(column):
    for code, entry in entries(column).items():
        assert entry["examples"], code
        assert all(re.compile(pattern) for pattern in entry["patterns"])


@pytest.mark.parametrize("column", COLUMNS)
def test_no_word_stands_under_two_codes(column):
    under = {}
    for code, entry in entries(column).items():
        for word in entry["words"]:
            assert under.setdefault(plain(word), code) == code, word


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
            assert match_heading(f"{entry['names'][0]} (left)").column == f"{column}_left"
            assert match_heading(f"R {entry['names'][0]}").column == f"{column}_right"
