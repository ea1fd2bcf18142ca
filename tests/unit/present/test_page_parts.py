"""An answer shows itself whole, escaped, and the same each time."""

import json
from dataclasses import replace

import IPython.display
import pytest

from analysis.present.page_parts import answer_html, answer_text
from analysis.present.tables import BLANK
from tests.made_up_answers import AWKWARD, booking, recall, softening


def test_html_holds_every_part_in_reading_order():
    answer = booking()
    html = answer_html(answer)
    parts = [
        answer.headline, answer.chart_title, "The figures as a table", "return with symptoms", "not shown",
        *answer.cautions, "Rests on 9,120 visits", answer.basis.method, *answer.assumptions, "Held-out visits: passed.",
    ]  # fmt: skip
    places = [html.index(part) for part in parts]
    assert places == sorted(places)


def test_what_came_from_the_log_cannot_become_markup():
    html = answer_html(replace(recall(), headline=AWKWARD))
    assert AWKWARD not in html
    assert "<script" not in html
    assert "&lt;/script&gt;" in html


def test_reasons_without_rows_are_not_told():
    assert "were missed" not in answer_html(booking())


@pytest.mark.parametrize("make", [booking, recall, softening])
def test_the_same_answer_shows_the_same(make):
    assert answer_html(make()) == answer_html(make())
    assert answer_text(make()) == answer_text(make())


def test_an_answer_without_figure_is_its_sentence_only():
    text = "Only 31 ears were softened first. Record for each visit whether softening was used."
    assert answer_text(softening()) == f"Does softening first pay?\nNo figure yet. {text}"
    assert answer_html(softening()).count("<p") == 1


def test_text_reads_alone():
    text = answer_text(booking())
    assert text.startswith("How long should we book?\nBook 35 minutes")
    [row] = [line for line in text.splitlines() if line.startswith("return with symptoms")]
    assert row.split()[3:] == [BLANK, "30", "not", "shown", BLANK, BLANK, "3", "28", "February", "2026"]
    assert "<" not in text


@pytest.fixture
def shown(monkeypatch):
    outputs = []
    monkeypatch.setattr(IPython.display, "display", lambda data, *, raw: outputs.append(data) if raw else None)
    return outputs


def test_a_notebook_shows_words_then_chart_then_what_it_rests_on(shown):
    booking()._ipython_display_()
    assert [sorted(data) for data in shown] == [
        ["text/html", "text/plain"],
        ["application/vnd.plotly.v1+json", "text/plain"],
        ["text/html", "text/plain"],
    ]
    assert "Book 35 minutes" in shown[0]["text/plain"]
    assert json.loads(json.dumps(shown[1])) == shown[1]


def test_a_notebook_shows_an_unanswered_question_in_one_output(shown):
    softening()._ipython_display_()
    assert len(shown) == 1
