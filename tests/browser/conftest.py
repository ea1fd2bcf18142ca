"""The pages that are opened: one of made-up answers, and the demo clinic's where it was made."""

from pathlib import Path

import pytest

from analysis.report.page import page_html
from tests.browser.browser import NO_BROWSER, find_browser, open_browser
from tests.made_up_answers import made_up_page

REPORTS = Path(__file__).parents[2] / "demo_clinic" / "reports"


@pytest.fixture(scope="session")
def browser():
    program = find_browser()
    if program is None:
        pytest.skip(NO_BROWSER)
    with open_browser(program) as started:
        yield started


@pytest.fixture(scope="session", params=["made-up answers", "demo clinic"])
def page_file(request, tmp_path_factory):
    if request.param == "made-up answers":
        made = tmp_path_factory.mktemp("page") / "quarterly_report.html"
        made.write_text(page_html(made_up_page()), encoding="utf-8")
        return made
    found = sorted(REPORTS.glob("*/quarterly_report.html"))
    if not found:
        pytest.skip("The demo clinic's report is not there. Make it with: make demo")
    return found[-1]


@pytest.fixture(scope="session")
def opened(browser, page_file):
    """Open the page at a width and in a scheme, once; remember what it said and asked for.

    A page takes seconds to open, so tests share it and leave it as they found it.
    """
    pages = {}

    def open_at(width, *, scheme="light"):
        if (width, scheme) not in pages:
            pages[width, scheme] = open_page(browser, page_file, width, scheme)
        return pages[width, scheme]

    yield open_at
    for page in pages.values():
        page.context.close()


def open_page(browser, page_file, width, scheme):
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    page.said, page.asked = [], []
    page.on("console", lambda message: page.said.append(message.text))
    page.on("pageerror", lambda error: page.said.append(str(error)))
    page.on("request", lambda request: page.asked.append(request.url))
    page.goto(page_file.as_uri())
    page.locator(".chart:not(:has(.xy))").first.wait_for(state="detached")
    return page
