"""The report in a real browser: drawn, quiet, alone, legible on a phone, in the dark and on paper."""

import re

import pytest
from playwright.sync_api import expect

PHONE, TABLET, DESK = 390, 660, 1280
PAPER = 658  # CSS pixels between the margins of an A4 page
PAGE_HIGH = 994  # and between its upper and lower margin
SMALLEST = 0.6  # of a chart's letters on paper: 13 pixels become 7.8, six points
EMPTIEST = 0.4  # of a printed page, where the next thing does not fit and moves on whole
INK, DARK_INK = "rgb(91, 88, 83)", "rgb(179, 175, 167)"
DRAWN = """() => [...document.querySelectorAll('.chart')].map(chart => ({
    id: chart.id,
    marks: chart.querySelectorAll('.trace path, .trace .point, .trace .js-line').length,
    right: Math.max(...[...chart.querySelectorAll('text')].map(text => text.getBoundingClientRect().right)),
    left: Math.min(...[...chart.querySelectorAll('text')].map(text => text.getBoundingClientRect().left)),
}))"""


@pytest.mark.parametrize("width", [PHONE, DESK])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_chart_is_drawn_without_a_complaint_or_a_request(opened, page_file, width, scheme):
    page = opened(width, scheme=scheme)
    drawn = page.evaluate(DRAWN)
    assert len(drawn) >= 2
    assert [chart["id"] for chart in drawn if not chart["marks"]] == []
    assert page.said == []
    assert page.asked == [page_file.as_uri()]


def test_the_page_is_under_six_megabytes(page_file):
    assert page_file.stat().st_size < 6_000_000


def test_every_id_stands_for_one_place(opened):
    ids = opened(DESK).evaluate("[...document.querySelectorAll('section[id], .chart[id]')].map(each => each.id)")
    assert sorted(set(ids)) == sorted(ids)


def test_a_phone_needs_no_sideways_scroll_even_with_every_table_open(opened):
    page = opened(PHONE)
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    width = page.evaluate("document.documentElement.scrollWidth")
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = false)")
    assert width == PHONE


def test_words_of_charts_stay_on_a_phone(opened):
    cut = [chart for chart in opened(PHONE).evaluate(DRAWN) if chart["left"] < 0 or chart["right"] > PHONE]
    assert cut == []


@pytest.mark.parametrize("width", [PHONE, TABLET, DESK])
def test_no_word_of_a_chart_is_cut_at_its_edge(opened, width):
    cut = opened(width).evaluate("""() => [...document.querySelectorAll('.chart')].flatMap(chart => {
        const edge = chart.querySelector('.main-svg').getBoundingClientRect();
        return [...chart.querySelectorAll('text')].filter(text => text.textContent).filter(text => {
            const at = text.getBoundingClientRect();
            return at.left < edge.left - 1 || at.right > edge.right + 1 || at.top < edge.top - 1 || at.bottom > edge.bottom + 1;
        }).map(text => `${chart.id}: ${text.textContent}`);
    })""")
    assert cut == []


@pytest.mark.parametrize("width", [PHONE, TABLET, DESK])
def test_words_of_a_chart_do_not_meet(opened, width):
    meeting = opened(width).evaluate("""() => [...document.querySelectorAll('.chart')].flatMap(chart => {
        const boxes = [...chart.querySelectorAll('.annotation-text')].map(text => [text.textContent, text.getBoundingClientRect()]);
        return boxes.flatMap(([one, a], at) => boxes.slice(at + 1)
            .filter(([_, b]) => a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 3 && b.top < a.bottom - 3)
            .map(([other, _]) => `${chart.id}: ${one} / ${other}`));
    })""")
    assert meeting == []


def test_rows_say_label_and_figure_on_one_line_where_there_is_room(opened):
    beside, below = (
        opened(width).evaluate("""() => [...document.querySelectorAll('.chart')].map(chart => {
            const words = [...chart.querySelectorAll('.annotation-text')].map(each => each.getBoundingClientRect());
            const middle = words.map(each => Math.round((each.top + each.bottom) / 2));
            return { id: chart.id, onOneLine: middle.length - new Set(middle).size, high: chart.getBoundingClientRect().height };
        })""")
        for width in (DESK, PHONE)
    )
    lower = [(wide, narrow) for wide, narrow in zip(beside, below, strict=True) if wide["high"] < 0.8 * narrow["high"]]
    assert lower
    assert all(wide["onOneLine"] for wide, _ in lower)


@pytest.mark.parametrize("width", [PHONE, TABLET, DESK])
def test_a_chart_laid_out_anew_says_every_word_it_was_given(opened, width):
    lost = opened(width).evaluate("""() => {
        const bare = text => text.replace(/<br>/g, ' ').replace(/<[^>]*>/g, '').replace(/\\s+/g, '');
        const holder = document.createElement('textarea');
        const spelled = text => { holder.innerHTML = bare(text); return holder.value; };
        const figures = JSON.parse(document.getElementById('figures').textContent);
        return Object.entries(figures).flatMap(([id, text]) => {
            const shown = document.getElementById(id).querySelector('.main-svg').parentElement.textContent.replace(/\\s+/g, '');
            return (JSON.parse(text).layout.annotations || []).map(each => spelled(each.text))
                .filter(each => !shown.includes(each)).map(each => `${id}: ${each}`);
        });
    }""")
    assert lost == []


def test_a_window_made_narrow_and_wide_again_shows_the_same_charts(opened):
    page = opened(DESK)
    drawn = """() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() =>
        done([...document.querySelectorAll('.chart')].map(each => [each.id, each.getBoundingClientRect().height])))))"""
    before = page.evaluate(drawn)
    page.set_viewport_size({"width": PHONE, "height": 900})
    narrow = page.evaluate(drawn)
    page.set_viewport_size({"width": DESK, "height": 900})
    assert narrow != before
    assert page.evaluate(drawn) == before


def test_charts_follow_the_readers_scheme(opened):
    page = opened(DESK)
    words = page.locator(".chart text").first
    expect(words).to_have_css("fill", INK)
    page.emulate_media(color_scheme="dark")
    expect(words).to_have_css("fill", DARK_INK)
    page.emulate_media(color_scheme="light")
    expect(words).to_have_css("fill", INK)


def test_the_keyboard_reaches_the_report_and_its_tables(opened):
    page = opened(DESK)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the report"
    for key, tables in (("Enter", 1), ("Enter", 0)):
        page.locator("summary").first.focus()
        page.keyboard.press(key)
        assert page.locator("details[open] table").count() == tables


def test_tab_alone_reaches_every_link_summary_and_open_table(opened):
    page = opened(DESK)
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    page.evaluate("document.activeElement.blur(); window.getSelection().collapse(document.body, 0)")
    wanted = page.locator("a[href], summary, .wide").count()
    page.evaluate("""() => { window.reached = new Set();
        document.addEventListener('focusin', event => window.reached.add(event.target)); }""")
    for _ in range(wanted + 2):
        page.keyboard.press("Tab")
    missed = page.evaluate(
        "[...document.querySelectorAll('a[href], summary, .wide')].filter(each => !window.reached.has(each)).map(each => each.outerHTML.slice(0, 120))"
    )
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = false)")
    assert missed == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_paper_gets_every_chart_light_and_no_wider_than_the_page(opened, scheme):
    page = opened(DESK, scheme=scheme)
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    sizes = page.evaluate(
        "[...document.querySelectorAll('.chart .main-svg')].map(each => each.getBoundingClientRect()).map(at => [at.width, at.height])"
    )
    assert max(width for width, _ in sizes) <= PAPER
    assert page.evaluate("document.querySelectorAll('details:not([open]):not(.many-rows)').length") == 0
    assert page.evaluate("getComputedStyle(document.querySelector('.chart text')).fill") == INK
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.evaluate("document.querySelectorAll('details[open]').length") == 0


def test_nothing_that_moves_on_whole_leaves_a_printed_page_half_empty(opened):
    page = opened(DESK)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": PAPER, "height": 900})
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    kept = page.evaluate("""() => [...document.querySelectorAll('main *')]
        .filter(each => getComputedStyle(each).breakInside === 'avoid' && each.getBoundingClientRect().height > 0)
        .map(each => [each.getBoundingClientRect().height, each.textContent.slice(0, 60)])""")
    smallest = page.evaluate("Math.min(...[...document.querySelectorAll('.chart')].map(each => each.style.zoom))")
    opens = page.evaluate("""() => [...document.querySelectorAll('section')].filter(each => each.querySelector('.headline'))
        .map(each => each.querySelector('.headline').getBoundingClientRect().bottom - each.getBoundingClientRect().top)""")
    apart = page.evaluate("""() => [...document.querySelectorAll('h2, figcaption, .part, summary')]
        .filter(each => getComputedStyle(each).breakAfter !== 'avoid').map(each => each.textContent)""")
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    page.set_viewport_size({"width": DESK, "height": 900})
    page.emulate_media(media="null")
    assert [each for each in kept if each[0] > EMPTIEST * PAGE_HIGH] == []
    assert max(opens) <= EMPTIEST * PAGE_HIGH
    assert smallest >= SMALLEST
    assert apart == []


def test_printing_gives_pages_with_every_chart(opened, tmp_path):
    page = opened(DESK)
    charts = page.locator(".chart").count()
    printed = page.pdf(path=tmp_path / "report.pdf", prefer_css_page_size=True, tagged=True)
    questions = page.locator("section").count()
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", printed)) <= 1.5 * questions
    # Chromium tags each element with role=img as a figure of the printed document.
    assert len(re.findall(rb"/S\s*/Figure\b", printed)) >= charts


def test_printing_from_a_phone_loses_nothing_a_desk_prints(opened):
    pages, headings, figures, titles = zip(*(_printed(opened(width)) for width in (PHONE, DESK)), strict=True)
    assert pages[0] == pages[1]
    assert headings[0] == headings[1] == opened(PHONE).locator("main h2").count()
    assert figures[0] == figures[1]
    assert titles[0] == titles[1]
    assert b"How the figures were made" in titles[0]


def _printed(page):
    """Count pages, headings and charts of the PDF, and list the titles a reader of it can jump to."""
    printed = page.pdf(prefer_css_page_size=True, tagged=True, outline=True)
    counts = (
        len(re.findall(rb"/" + kind + rb"\b", printed)) for kind in (rb"Type\s*/Page", rb"S\s*/H2", rb"S\s*/Figure")
    )
    return *counts, set(re.findall(rb"/Title \((.*)\)", printed))


def test_charts_drawn_for_paper_keep_their_size_when_the_page_widens_to_it(opened):
    page = opened(PHONE)
    sizes = "[...document.querySelectorAll('.chart .main-svg')].map(at => [at.id, at.getBoundingClientRect().height])"
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    drawn = page.evaluate(sizes)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": PAPER, "height": 900})
    widened = page.evaluate(
        f"() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done({sizes}))))"
    )
    page.set_viewport_size({"width": PHONE, "height": 900})
    page.emulate_media(media="null")
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert widened == drawn


def test_tables_fit_the_printed_page(opened):
    page = opened(DESK)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": PAPER, "height": 900})
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    wide = page.evaluate(
        f"[...document.querySelectorAll('table')].filter(each => each.getBoundingClientRect().right > {PAPER + 1}).map(each => each.textContent.slice(0, 80))"
    )
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = false)")
    page.set_viewport_size({"width": DESK, "height": 900})
    page.emulate_media(media="null")
    assert wide == []


def test_a_name_written_as_a_script_runs_nothing_and_is_read_as_it_is_written(opened, page_file):
    """The made-up answers carry one in a title, a table, a legend and a range."""
    page = opened(DESK)
    assert page.evaluate("window.escaped === undefined")
    assert page.evaluate("document.querySelectorAll('main script, .chart script, .chart b').length") == 0
    if "demo_clinic" not in page_file.parts:
        assert "<script>window.escaped=1</script>" in page.evaluate("document.querySelector('h1').textContent")
