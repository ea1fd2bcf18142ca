"""The page stands alone, says what it must, and lets nothing of the log become markup."""

from html.parser import HTMLParser

import pytest

from analysis.report.page import page_html
from tests.made_up_answers import AWKWARD, made_up_page


class Outline(HTMLParser):
    """Headings, ids, link targets and everything that could fetch."""

    def __init__(self):
        super().__init__()
        self.levels, self.ids, self.links, self.fetches, self.scripts = [], [], [], [], 0

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        if tag in ("h1", "h2", "h3"):
            self.levels.append(int(tag[1]))
        self.ids += [found["id"]] if "id" in found else []
        self.links += [found["href"]] if tag == "a" else []
        self.fetches += [found[name] for name in ("src", "srcset", "data") if name in found]
        self.fetches += [found["href"]] if tag == "link" else []
        self.scripts += tag == "script"


@pytest.fixture(scope="module")
def html():
    return page_html(made_up_page())


@pytest.fixture(scope="module")
def outline(html):
    read = Outline()
    read.feed(html)
    return read


def test_the_page_is_light_enough_to_send(html):
    assert len(html.encode()) < 6_000_000


def test_the_same_answers_give_the_same_page(html):
    assert page_html(made_up_page()) == html


def test_nothing_is_fetched(outline):
    assert outline.fetches == ["data:,"]


def test_nothing_of_the_log_becomes_markup(html, outline):
    assert AWKWARD not in html
    assert outline.scripts == 4


def test_headings_step_down_one_at_a_time(outline):
    assert outline.levels[0] == 1
    assert outline.levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in zip(outline.levels, outline.levels[1:], strict=False))


def test_every_link_leads_to_a_place_on_the_page(outline):
    assert len(outline.ids) == len(set(outline.ids))
    assert {link.removeprefix("#") for link in outline.links} <= set(outline.ids)


def test_an_invented_clinic_is_labelled_at_the_top_and_in_the_footer(html):
    real = page_html(made_up_page(invented=False))
    assert "This clinic is invented." in html[: html.index("<main>")]
    assert "Invented clinic:" in html[html.index("<footer>") :]
    assert (
        "nvented" not in real[real.index("<body>") :].replace("Invented", "nvented") or "clinic is invented" not in real
    )


def test_each_chart_has_a_text_alternative(html):
    assert html.count('role="img" aria-label="') == 2
    assert 'aria-label="Four kinds of booking' in html


def test_an_unanswered_question_is_its_sentence_only(html):
    section = html[html.index('<section id="does-softening-first-pay"') :]
    section = section[: section.index("</section>")]
    assert "Only 31 ears were softened first." in section
    assert "<details" not in section
    assert "<figure" not in section
