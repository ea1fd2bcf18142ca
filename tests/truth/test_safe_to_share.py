"""What the files meant to be shared must not hold, looked for in every one of them, the whole way from planted exports."""

import shutil

import pandas as pd
import pytest

from analysis.cli import main
from analysis.clinic import open_clinic
from analysis.report.pdf import find_browser
from tests.planted_export import ALONE, SITE, SITE_MARK, mark, planted, planted_rows, write_planted
from tests.shared_files import NO_READER, days_in, length, texts_of, traces_of
from tests.truth.test_small_counts_hidden import sentences_of, small_told

FILES = {
    "booking_template.xlsx",
    "quarterly_report.html",
    "quarterly_report.pptx",
    "quarterly_report.xlsx",
    "results.json",
    "settings_used.toml",
}
LONGEST_LINE = 500
"""Far fewer points than the log has visits or patients."""


@pytest.fixture(scope="module")
def rows():
    return planted_rows()


@pytest.fixture(scope="module")
def folder(rows, tmp_path_factory):
    made = tmp_path_factory.mktemp("planted") / "clinic"
    write_planted(made, planted(rows))
    main(["intake", str(made), "--quiet"])
    # The log ends within the quarter, so the report of it is one of a part; the sheet is printed and pinned up.
    assert main(["report", str(made), "--quarter", "2026-Q3", "--quiet"]) == 0
    assert main(["sheet", str(made), "--quiet"]) == 0
    return made


@pytest.fixture(scope="module")
def texts(folder):
    return texts_of(folder / "reports")


def marks(rows):
    return [mark(each) for each in (*rows.columns, "a heading", "under a heading", "csv file", "workbook", "sheet", "author", "title")]  # fmt: skip


def test_every_file_was_made_and_read(texts):
    expected = {f"2026-Q3/{each}" for each in FILES} | {"what_to_record.html"}
    if find_browser() is not None:
        expected |= {"2026-Q3/quarterly_report.pdf"}
    assert set(texts) == expected
    assert all(
        "Planted" in text for name, text in texts.items() if not name.endswith(("booking_template.xlsx", ".pdf"))
    )


def test_the_log_was_taken_in_with_its_marks(folder):
    """A search that finds nothing must not be one of a log that holds nothing."""
    clinic = open_clinic(folder)
    days = clinic.visits["slot_start"].dt.normalize().value_counts()
    assert len(clinic.visits) > 1500
    assert [days[day] for day in ALONE] == [1] * len(ALONE)
    assert (days.index.min(), days.index.max()) == (ALONE[0], ALONE[-1])
    assert clinic.visits["practitioner"].dropna().str.contains(mark("Seen by")).all()


def test_nothing_planted_in_a_cell_a_heading_or_a_files_name_comes_out(rows, texts):
    found = [(name, each) for name, text in texts.items() for each in marks(rows) if each in text.lower()]
    assert found == []


def test_the_sites_name_is_the_only_thing_written_as_the_clinic_writes_it(rows, texts):
    sites = [each for each in rows[SITE].unique() if each]
    assert all(each in texts["2026-Q3/quarterly_report.html"] for each in sites)
    assert mark(SITE) not in SITE_MARK


def test_no_person_number_booking_or_practitioner_comes_out(rows, folder, texts):
    clinic = open_clinic(folder)
    who = rows[["Surname", "Forename", "Mobile", "DOB"]].to_numpy().ravel()
    inside = clinic.visits[["patient_key", "visit_id", "practitioner"]].to_numpy().ravel()
    private = {str(each) for each in (*who, *inside, *clinic.pseudonyms) if len(str(each)) > 5}
    assert len(private) > 3000
    found = [(name, each) for name, text in texts.items() for each in sorted(private) if each in text]
    assert found == []


def test_no_day_of_a_visit_comes_out_in_any_style(texts):
    """Only a month's first and last day may be named: where a period begins or ends, and when a file says it was made."""
    bounds = {
        day.strftime(style)
        for month in pd.period_range("2000-01", "2035-12", freq="M")
        for day in (month.start_time, month.end_time)
        for style in ("%Y-%m-%d", "%d/%m/%Y", f"{day.day} %B %Y")
    }
    assert {name: days_in(text) - bounds for name, text in texts.items() if days_in(text) - bounds} == {}


def test_no_day_of_a_visit_comes_out_as_a_spreadsheets_number(texts):
    serials = {str((day - pd.Timestamp("1899-12-30")).days) for day in ALONE}
    found = [(name, each) for name, text in texts.items() for each in serials if f"<v>{each}" in text]
    assert found == []


def test_no_chart_draws_visit_by_visit(folder):
    """No line or row of dots is as long as a list of patients or visits would be."""
    page = (folder / "reports/2026-Q3/quarterly_report.html").read_text(encoding="utf-8")
    longest = max(length(trace[axis]) for trace in traces_of(page) for axis in ("x", "y") if trace.get(axis))
    assert 10 < longest < LONGEST_LINE


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason=NO_READER)
def test_the_pdfs_words_are_searched_too(texts):
    if find_browser() is None:
        pytest.skip("No Chromium, Chrome or Edge is on the PATH, so no PDF was printed.")
    assert "How long to book?" in texts["2026-Q3/quarterly_report.pdf"]


def test_no_sentence_about_a_messy_log_tells_a_count_under_five(texts):
    """Words not understood and times that contradict each other are counted too."""
    assert small_told(sentences_of(texts["2026-Q3/quarterly_report.html"])) == []


def test_the_search_finds_what_is_there():
    assert days_in("seen on 16 August 2026") == {"16 August 2026"}
    assert days_in("16 Aug 2026, 2026-08-16T09:00, 16/08/2026") == {"16 Aug 2026", "2026-08-16", "16/08/2026"}
