"""Each small awkward file of the corpus gives what is written beside it."""

import tomllib
from pathlib import Path

import pandas as pd
import pytest

from analysis.intake import take_in
from analysis.settings import settings_from_toml

CORPUS = Path(__file__).parent / "corpus"
EXPECTED = tomllib.loads((CORPUS / "expected.toml").read_text(encoding="utf-8"))


def shown(value):
    """Bring a cell to the form in which the expectations are written."""
    if value is None or value is pd.NA or (isinstance(value, float) and pd.isna(value)):
        return None
    return f"{value:%Y-%m-%d %H:%M}" if isinstance(value, pd.Timestamp) else value


def test_every_file_of_the_corpus_is_expected():
    assert sorted(EXPECTED) == sorted(path.name for path in CORPUS.iterdir() if path.name != "expected.toml")


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_awkward_file(name):
    expected = EXPECTED[name]
    taken = take_in([CORPUS / name], settings_from_toml(expected.get("settings", "")), b"k" * 32)
    record, file = taken.record, taken.record["files"][0]
    assert record["rows_in"] == expected["rows_in"]
    assert record["set_aside_by_reason"] == expected["set_aside"]
    for fact in ("encoding", "delimiter"):
        assert file[fact] == expected.get(fact, file[fact])
    assert list(file["headings"]["unknown"]) == expected.get("unknown_headings", [])
    assert record["conflicts"] == expected.get("conflicts", {})
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
