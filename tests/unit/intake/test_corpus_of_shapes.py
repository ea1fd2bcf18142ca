"""Each small awkward set of files gives what is written beside it."""

import tomllib
from pathlib import Path

import pytest

from analysis.intake import take_in
from analysis.settings import settings_from_toml
from tests.unit.intake.test_intake_corpus import shown

CORPUS = Path(__file__).parent / "corpus_shapes"
EXPECTED = tomllib.loads((CORPUS / "expected.toml").read_text(encoding="utf-8"))


def test_every_file_of_the_corpus_is_expected():
    expected = [name for case in EXPECTED.values() for name in case["files"]]
    assert sorted(expected) == sorted(path.name for path in CORPUS.iterdir() if path.name != "expected.toml")


@pytest.mark.parametrize("case", sorted(EXPECTED))
def test_awkward_set_of_files(case):
    expected = EXPECTED[case]
    paths = [CORPUS / name for name in expected["files"]]
    taken = take_in(paths, settings_from_toml(expected.get("settings", "")), b"k" * 32)
    assert taken.record["rows_in"] == expected["rows_in"]
    assert {
        f"{file} {row}": why for file, row, why in taken.set_aside[list(PLACE)].itertuples(index=False)
    } == expected["set_aside"]
    assert [file["shape"] for file in taken.record["files"]] == expected["shapes"]
    assert taken.record["conflicts"] == expected.get("conflicts", {})
    assert sum(len(file["headings"]["unknown"]) for file in taken.record["files"]) == 0

    places = taken.visits["source_file"] + " " + taken.visits["source_row"].astype("str")
    visits = taken.visits.set_axis(list(places))
    assert sorted(visits.index) == sorted(expected["visits"])
    for place, facts in expected["visits"].items():
        assert {name: shown(visits.loc[place, name]) for name in facts} == facts, place

    rows = dict(zip(taken.visits["visit_id"], places, strict=True))
    ears = {f"{rows[ear.visit_id]} {shown(ear.ear) or 'no side'}": ear for ear in taken.ears.itertuples()}
    assert sorted(ears) == sorted(expected["ears"])
    for place, facts in expected["ears"].items():
        assert {name: shown(getattr(ears[place], name)) for name in facts} == facts, place


PLACE = ("source_file", "source_row", "reason")
