"""A practitioner called like a script and a site called like a formula: the whole way they stay text, names on and off."""

import importlib
import io
import json
import re
import zipfile
from html.parser import HTMLParser

import pytest

from analysis.cli import main
from analysis.clinic import open_clinic
from analysis.present.page_parts import answer_html
from tests.planted_export import SETTINGS, planted_rows, write_planted
from tests.shared_files import LIBRARY, texts_of
from tests.truth.test_result_rows import OF_A_QUARTER, QUARTER, THERE

SCRIPT, SUM, EQUATION, PLAIN = "<script>alert(1)</script>", "@SUM(A1)", "=2+5", "Rowan"
PEOPLE = {"Ash": SCRIPT, "Birch": EQUATION, "Cedar": SUM}
SITE = "=cmd|' /C calc'!A0"
OWN_SCRIPTS = 4
"""The drawing library, two blocks of data and the page's own script."""
STARTS = ("=", "+", "-", "@", "\t", "\r")


class Elements(HTMLParser):
    """Collect a page's elements, its words, and what hangs on elements as a script."""

    def __init__(self, page):
        super().__init__()
        self.names, self.handlers, self.words = [], [], []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.names.append(tag)
        self.handlers += [name for name, value in attrs if name.startswith("on") or (value or "").startswith("javascript:")]  # fmt: skip

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def taken_in(tmp_path_factory):
    made = tmp_path_factory.mktemp("text") / "clinic"
    write_planted(made, planted_rows(practitioners=PEOPLE, site=SITE))
    main(["intake", str(made), "--quiet"])
    assert set(open_clinic(made).visits["practitioner"].dropna().unique()) == {SCRIPT, SUM, EQUATION, PLAIN}
    return made


@pytest.fixture(scope="module", params=[True, False], ids=["names shown", "names hidden"])
def shown(request, taken_in):
    """Whether names are shown, the report's folder, and the clinic."""
    (taken_in / "clinic.toml").write_text(SETTINGS.format(names=str(request.param).lower()), encoding="utf-8")
    assert main(["report", str(taken_in), "--quarter", "2026-Q2", "--no-pdf", "--quiet"]) == 0
    return request.param, taken_in / "reports" / "2026-Q2", open_clinic(taken_in)


def parts_of(packed):
    """Open a workbook or slides; of slides the charts' workbooks too."""
    with zipfile.ZipFile(packed) as opened:
        for name in opened.namelist():
            content = opened.read(name)
            if name.endswith(".xlsx"):
                yield from parts_of(io.BytesIO(content))
            else:
                yield name, content.decode("utf-8", errors="replace")


def test_practitioners_are_named_where_the_owner_says_so_and_nowhere_else(shown):
    names, folder, _ = shown
    named = {name for name, text in texts_of(folder).items() if any(each in text for each in (*PEOPLE.values(), PLAIN))}
    assert named == (
        {"quarterly_report.html", "quarterly_report.pptx", "quarterly_report.xlsx", "results.json"} if names else set()
    )


def test_hidden_names_are_numbers(shown):
    names, folder, _ = shown
    people = {row["group"].get("part", "") for row in json.loads((folder / "results.json").read_text())["rows"]}
    told = {each for each in people if isinstance(each, str) and each.startswith("practitioner")}
    assert told == {f"practitioner {each}" for each in ((*PEOPLE.values(), PLAIN) if names else range(1, 5))}


def test_the_page_shows_them_as_words_and_runs_nothing_of_theirs(shown):
    names, folder, _ = shown
    page = (folder / "quarterly_report.html").read_text(encoding="utf-8").replace(LIBRARY.decode(), "")
    read = Elements(page)
    assert read.names.count("script") == OWN_SCRIPTS
    assert read.handlers == []
    cells = [each for each in read.words if not each.startswith("{")]
    assert SITE in cells
    assert (f"practitioner {SCRIPT}" in cells) is names


def test_no_answer_of_a_notebook_becomes_markup(shown):
    names, _, clinic = shown
    told, wrong = "", []
    for file, name in THERE:
        ask = getattr(importlib.import_module(f"analysis.answers.{file}"), name)
        answer = ask(clinic, *([QUARTER] if file in OF_A_QUARTER else []))
        read = Elements(html := answer_html(answer))
        told += html
        if "script" in read.names or read.handlers:
            wrong.append(name)
        # The drawing library reads a few tags in labels; one of a name's own must reach it escaped.
        if answer.chart is not None and re.search(
            r"(text|label|template|name)\":\"[^\"]*<script", answer.chart.to_json()
        ):
            wrong.append(f"chart of {name}")
    assert wrong == []
    assert ("&lt;script&gt;alert(1)" in told) is names


@pytest.mark.parametrize("file", ["quarterly_report.xlsx", "quarterly_report.pptx", "booking_template.xlsx"])
def test_no_cell_begins_like_a_formula_or_is_one(shown, file):
    _, folder, _ = shown
    parts = dict(parts_of(folder / file))
    texts = [text for part in parts.values() for text in re.findall(r"<t(?: [^>]*)?>([^<]*)</t>", part)]
    assert [each for each in texts if each.startswith(STARTS)] == []
    assert [name for name, part in parts.items() if re.search(r"<f[ >]", part) and "worksheets/" in name] == []
    if file == "quarterly_report.xlsx":
        assert "'=cmd|' /C calc'!A0" in texts


def test_the_slides_labels_begin_like_no_formula(shown):
    """A chart's labels stand in its own workbook, where a click edits them."""
    _, folder, _ = shown
    labels = [text for _, part in parts_of(folder / "quarterly_report.pptx") for text in re.findall(r"<c:v>([^<]*)</c:v>", part)]  # fmt: skip
    words = [each for each in labels if not re.fullmatch(r"-?[0-9.e+-]+", each)]
    assert words
    assert [each for each in words if each.startswith(STARTS)] == []
