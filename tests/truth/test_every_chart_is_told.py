"""Every chart of the built page: a sentence above it, words in its place, its figures one click away."""

import re
from html import unescape

import pytest

from analysis.report.quarterly import build_report
from tests.small_clinics import SmallLog, small_clinic

VERBS = re.compile(
    r"\b(?:is|are|was|were|be|has|have|had|goes?|went|comes?|came|lay|left|starts?|started|succeed(?:ed|s)?|brings?|brought|takes?"
    r"|took|gives?|gave|needs?|fills?|fell|rose|changed|cannot|can|see|sees)\b"
)
FEWEST_LETTERS = 60
"""A text alternative that tells a chart is longer than a title."""


@pytest.fixture(scope="module")
def sections(tmp_path_factory):
    """The sections of a report with nearly every question answered, by their question."""
    report = build_report(small_clinic(SmallLog(3)), "2026-Q3", tmp_path_factory.mktemp("told"))
    page = report.page.read_text(encoding="utf-8")
    found = {
        unescape(re.search(r"<h2>(.*?)</h2>", part)[1]): part
        for part in re.findall(r"<section.*?</section>", page, re.DOTALL)
    }
    charted = {question: part for question, part in found.items() if 'class="chart"' in part}
    assert len(charted) >= 12
    assert sum(answer.chart is not None and answer.answered for answer in report.answers) == len(charted)
    return charted


def test_every_chart_stands_under_a_sentence_that_says_the_finding(sections):
    titles = {
        question: unescape(re.search(r"<figcaption>(.*?)</figcaption>", part, re.DOTALL)[1])
        for question, part in sections.items()
    }
    assert [title for title in titles.values() if not VERBS.search(title)] == []
    assert [title for title in titles.values() if not title[0].isupper() and not title[0].isdigit()] == []
    assert [title for title in titles.values() if title.endswith(("?", ":")) or len(title.split()) < 4] == []
    assert len(set(titles.values())) == len(titles)
    assert [question for question, title in titles.items() if title == question] == []


def test_every_chart_is_told_in_words_to_whoever_cannot_see_it(sections):
    told = [unescape(re.search(r'role="img" aria-label="([^"]*)"', part)[1]) for part in sections.values()]
    assert [text for text in told if len(text) < FEWEST_LETTERS or not re.search(r"\d", text)] == []
    assert [text for text in told if not text.endswith(".")] == []
    assert len(set(told)) == len(told)


def test_every_charts_table_is_one_click_away(sections):
    for question, part in sections.items():
        after = part.split('class="chart"')[1]
        (folded,) = re.findall(
            r"<details(?![^>]*rests-on)([^>]*)>\s*<summary>([^<]*)</summary>(.*?)</details>", after, re.DOTALL
        )
        attributes, summary, table = folded
        assert "open" not in attributes.replace("opens", ""), question
        assert summary == "The figures as a table", question
        assert table.count("<tr>") > 1, question
        assert table.count('<th scope="col"') >= 2, question
        assert f'aria-label="{question}' in unescape(table), question


def test_no_chart_carries_a_title_of_its_own(tmp_path):
    """A title inside the drawing would neither wrap on a phone nor be read aloud."""
    report = build_report(small_clinic(SmallLog(40)), "2026-Q3", tmp_path)
    drawn = [answer.chart for answer in report.answers if answer.chart is not None]
    assert drawn
    assert [chart.layout.title.text for chart in drawn if chart.layout.title.text] == []
