"""The whole way, from the invented clinic's messy exports to the report, against what was planted."""

import json
import tomllib

import pytest

from analysis.cli import main
from analysis.clinic import open_clinic
from analysis.demo import invented_clinic
from analysis.demo.exports import planted_identities
from tests.shared_files import LIBRARY, opened


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("demo") / "clinic"
    assert main(["demo", str(made), "--quiet"]) == 0
    return made


@pytest.fixture(scope="module")
def truth(folder):
    return tomllib.loads((folder / "truth.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def rows(folder):
    (results,) = (folder / "reports").glob("*/results.json")
    return json.loads(results.read_text(encoding="utf-8"))["rows"]


def figure(rows, section, quantity, **group):
    (row,) = [
        each
        for each in rows
        if (each["section"], each["quantity"]) == (section, quantity) and group.items() <= each["group"].items()
    ]
    return row


def found_in(text, planted):
    """Find planted strings in a text; only those whose first bytes occur at all are looked for one by one."""
    first = min(map(len, planted))
    starts = {text[place : place + first] for place in range(len(text) - first + 1)}
    return [each for each in planted if each[:first] in starts and each in text]


def test_nothing_is_lost(folder):
    record = open_clinic(folder).record
    assert record["rows_in"] == record["rows_kept"] + record["rows_set_aside"]


def test_nothing_planted_to_identify_anybody_gets_through(folder):
    """Store and reports hold none of the planted names, numbers, addresses and dates of birth."""
    planted = {each.lower().encode() for each in planted_identities(invented_clinic())}
    written = [path for part in ("store", "reports") for path in (folder / part).rglob("*") if path.is_file()]
    assert len(planted) > 1000
    assert {path.suffix for path in written} >= {".parquet", ".json", ".html", ".xlsx", ".pptx"}
    clinic = open_clinic(folder)
    texts = {path.name: opened(path).replace(LIBRARY, b"").lower() for path in written if path.suffix != ".parquet"}
    for name in ("visits", "ears", "set_aside"):  # Parquet packs its text, so its tables are searched as text
        texts[name] = getattr(clinic, name).to_csv().lower().encode()
    assert [(name, each) for name, text in texts.items() for each in found_in(text, planted)] == []


def test_the_search_looks_into_workbooks(folder):
    (workbook,) = (folder / "reports").glob("*/quarterly_report.xlsx")
    assert b"How long to book?" in opened(workbook)
    assert b"How long to book?" not in workbook.read_bytes()


def test_no_pseudonym_practitioner_or_single_visit_stands_in_what_is_shared(folder):
    """Neither a pseudonym nor a practitioner's name is in any file of the report, packed ones too."""
    clinic = open_clinic(folder)
    visits = clinic.visits
    private = {str(each).encode() for each in (*clinic.pseudonyms, *visits["practitioner"].dropna().unique())}
    moments = {each.isoformat(sep=mark).encode()[:16] for mark in (" ", "T") for each in visits["slot_start"].dropna()}
    shared = {
        path.name: opened(path).replace(LIBRARY, b"") for path in (folder / "reports").rglob("*.*") if path.is_file()
    }
    assert len(private) > 1000
    found = [(name, each) for name, text in shared.items() for each in found_in(text, private | moments)]
    assert found == []


def test_the_search_for_what_identifies_finds_what_is_there():
    assert found_in(b"seen with quilambor, rang", {b"quilambor", b"vrimuloth"}) == [b"quilambor"]


@pytest.mark.parametrize("contrast", ["advised", "used"])
def test_softening_as_the_groups_are_misleads_and_like_with_like_finds_what_was_planted(rows, truth, contrast):
    planted = truth["softening"][contrast]["risk_difference"]
    plain = figure(rows, "softening", "risk_difference", contrast=contrast, estimator="unadjusted")
    alike = figure(rows, "softening", "risk_difference", contrast=contrast, estimator="standardised")
    assert plain["high"] < planted
    assert alike["low"] < planted < alike["high"]


@pytest.mark.parametrize("group", ["hearing_aid", "no_hearing_aid"])
def test_recall_comes_within_a_sixth_of_the_planted_months(rows, truth, group):
    """The curve draws a mixture of patients by one Weibull: models.recall tells how far off that may be."""
    planted = truth["recall"]["months_until_share_occluded"][group]["at_30_percent"]
    found = figure(rows, "recall", "months_until_share_occluded", group=group, share=0.3)
    assert found["value"] == pytest.approx(planted, rel=1 / 6)


def test_the_forecast_comes_within_a_tenth_of_the_planted_visits(rows, truth):
    coming = [
        each["value"]
        for each in rows
        if each["quantity"] == "visits" and each["group"]["kind"] == "all" and each["level"] == 0.95
    ]
    assert len(coming) == len(truth["demand"]["visits"])
    assert sum(coming) == pytest.approx(sum(truth["demand"]["visits"]), rel=0.1)
