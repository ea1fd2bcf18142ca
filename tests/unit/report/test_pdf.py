"""The page as a PDF, or plain words how to print it."""

import os

import pytest

from analysis.report import pdf
from analysis.report.page import page_html
from analysis.report.pdf import find_browser, print_page
from tests.made_up_answers import made_up_page


@pytest.fixture
def page(tmp_path):
    made = tmp_path / "quarterly_report.html"
    made.write_text(page_html(made_up_page()), encoding="utf-8")
    return made


def test_without_a_browser_there_is_no_pdf_and_no_old_one_stays(page):
    page.with_name(pdf.FILE).write_bytes(b"of another quarter")
    assert print_page(page, None) is None
    assert not page.with_name(pdf.FILE).exists()


def test_a_browser_that_fails_leaves_no_pdf(page, tmp_path):
    assert print_page(page, str(tmp_path / "not there")) is None


def test_a_browser_off_the_path_is_found_where_it_usually_stands(monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr(pdf, "USUAL_PLACES", ("{NO_SUCH_FOLDER}/chrome", "{SOME_FOLDER}/chrome"))
    monkeypatch.setenv("SOME_FOLDER", str(tmp_path))
    assert find_browser() is None
    (tmp_path / "chrome").touch()
    assert find_browser() == os.fspath(tmp_path / "chrome")


def test_a_browser_prints_the_page_on_a4(page):
    browser = find_browser()
    if browser is None:
        pytest.skip("No Chromium, Chrome or Edge is on this computer.")
    printed = print_page(page, browser)
    assert printed is not None
    told = printed.read_bytes()
    assert told.startswith(b"%PDF")
    assert b"/MediaBox [0 0 594.95996 841.91998]" in told or b"/MediaBox [0 0 595" in told
