"""Each small awkward file of the corpus gives what is written beside it."""

import tomllib
from pathlib import Path

import pandas as pd
import pytest

from analysis.intake import take_in
from analysis.settings import settings_from_toml

CORPORA = [Path(__file__).parent / name for name in ("corpus", "corpus_words")]
EXPECTED = {corpus: tomllib.loads((corpus / "expected.toml").read_text(encoding="utf-8")) for corpus in CORPORA}
FILES = [pytest.param(corpus / name, id=name) for corpus in CORPORA for name in sorted(EXPECTED[corpus])]


def shown(value):
    """Bring a cell to the form in which the expectations are written."""
    if value is None or value is pd.NA or (isinstance(value, float) and pd.isna(value)):
        return None
    return f"{value:%Y-%m-%d %H:%M}" if isinstance(value, pd.Timestamp) else value


@pytest.mark.parametrize("corpus", CORPORA, ids=lambda corpus: corpus.name)
def test_every_file_of_the_corpus_is_expected(corpus):
    assert sorted(EXPECTED[corpus]) == sorted(path.name for path in corpus.iterdir() if path.name != "expected.toml")


@pytest.mark.parametrize("path", FILES)
def test_awkward_file(path):
    expected = EXPECTED[path.parent][path.name]
    taken = take_in([path], settings_from_toml(expected.get("settings", "")), b"k" * 32)
    record, file = taken.record, taken.record["files"][0]
    assert record["rows_in"] == expected["rows_in"]
    assert record["set_aside_by_reason"] == expected["set_aside"]
    for fact in ("encoding", "delimiter"):
        assert file[fact] == expected.get(fact, file[fact])
    assert list(file["headings"]["unknown"]) == expected.get("unknown_headings", [])
    assert record["conflicts"] == expected.get("conflicts", {})
    for certainty in ("unknown", "guessed"):
        if path.parent.name == "corpus_words":
            found = {column: sorted(told[certainty]) for column, told in record["words"].items() if told.get(certainty)}
            assert found == expected.get(certainty, {})
    if "patients" in expected:
        assert taken.visits["patient_key"].nunique() == expected["patients"]

    visits = taken.visits.set_index("source_row", drop=False)
    assert sorted(visits.index) == sorted(visit["row"] for visit in expected["visits"])
    for visit in expected["visits"]:
        found = {name: shown(visits.loc[visit["row"], name]) for name in visit if name != "row"}
        assert found == {name: value for name, value in visit.items() if name != "row"}

    rows = taken.visits.set_index("visit_id")["source_row"]
    ears = {(rows[ear.visit_id], ear.ear): ear for ear in taken.ears.itertuples()}
    assert sorted(ears) == sorted((ear["row"], ear["ear"]) for ear in expected["ears"])
    for ear in expected["ears"]:
        found = {name: shown(getattr(ears[ear["row"], ear["ear"]], name)) for name in ear if name != "row"}
        assert found == {name: value for name, value in ear.items() if name != "row"}
