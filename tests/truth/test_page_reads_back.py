"""The built page, read back: every figure on it stands in results.json, and what results.json says of it stands there too."""

import json
import re
from dataclasses import dataclass
from html import unescape

import numpy as np
import pytest

from analysis.clinic import open_clinic
from analysis.demo import invented_clinic
from analysis.demo.exports import write_exports
from analysis.intake.store import intake_folder
from analysis.report.quarterly import build_report
from tests.shared_files import unpacked

QUARTER = "2026-Q3"
MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"
NUMBER = re.compile(r"(?<![\w.,-])\d[\d,]*(?:\.\d+)?%?(?![\w])")
NO_FIGURE = re.compile(
    rf"(?:\d+ (?:and \d+ )?)?(?:{MONTHS}) \d{{4}}\b|\b(?:19|20)\d\d\b|\b\d+ (?:months? )?in (?:10|20|100|1,000)\b"
    r"|practitioner \d+|[Ii]n 1,000\b|in 100\b|\bQ[1-4]\b|all \d questions"
    r"|within \d+ (?:minutes of|days)|(?:under|fewer than) \d+|last \d+ days|shorter than \d+|longer than \d+ minutes|\d+ minutes after"
    r"|\d+ days before to \d+ days after|(?:by|is) \d+ months|\d+, \d+ and (?=\d+ in 10)"
)
"""Days, years, turns of phrase such as 19 in 20, what a practitioner is called, and rules that are part of a measure's name."""
RANGED = re.compile(
    r"(?P<value>\d[\d,]*(?:\.\d+)?)(?P<percent>%?)[^().;:\d]{0,60}\((?:between )?(?P<low>\d[\d,]*(?:\.\d+)?)%?(?: (?:more|fewer|less))?"
    r" (?:and|to) (?P<high>\d[\d,]*(?:\.\d+)?)%?"
)
"""A figure with its range."""
MORE_THAN_SHOWN = {
    "visit_time.minutes_quantile",
    "softening.number_needed_to_treat",
    "recall.weibull_shape",
    "recall.median_months",
    "recall.months_until_share_occluded",
    "demand.expected_visits",
    "quarter.share",
    "quarter.difference_of_shares",
    "slots.catch_up_every",
    "demand_trial.months_within",
    "demand.sessions_of_chair_time",
    "intake.minutes_quality_by_export",
    "intake.minutes_quality_by_practitioner",
    "monitoring.watched_minutes",
    "monitoring.watched_rate",
}
"""Quantities of which results.json holds more than the page has room for."""
SCALES = (1.0, 100.0, 1000.0)
EDGE = 1 + 1e-9


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page") / "clinic"
    write_exports(folder, invented_clinic())
    intake_folder(folder)
    return build_report(open_clinic(folder), QUARTER, folder / "reports")


@pytest.fixture(scope="module")
def rows(report):
    return json.loads(report.results.read_text(encoding="utf-8"))["rows"]


@pytest.fixture(scope="module")
def page(report):
    return report.page.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def sections(report, rows, page):
    """For each question on the page: its section, the rows of results.json that are its own."""
    found, start = {}, 0
    for answer in report.answers:
        own = rows[start : start + len(answer.rows)]
        start += len(answer.rows)
        (section,) = [
            part
            for part in re.findall(r"<section.*?</section>", page, re.DOTALL)
            if f"<h2>{answer.question}</h2>" in unescape(part)
        ]
        found[answer.question] = (section, own)
    assert start == len(rows)
    return found


def words_of(markup):
    """Take the words of a part of the page, block by block; a chart's text alternative is one."""
    told = re.findall(r'aria-label="([^"]*)"', markup)
    blocks = re.split(r"</?(?:p|li|h2|h3|td|th|figcaption|summary|dt|dd|br)[^>]*>", markup)
    return [unescape(re.sub(r"<[^>]+>", "", each)).strip() for each in (*blocks, *told)]


@dataclass(frozen=True)
class Held:
    """The numbers of result rows: shares and their differences, ratios, and all that is said as it is."""

    shares: np.ndarray
    ratios: np.ndarray
    others: np.ndarray


def figures_of(rows):
    """Sort the numbers of result rows by how they are said."""
    kinds = {"share": [], "ratio": [], "other": []}
    for row in rows:
        ends = [float(row[name]) for name in ("value", "low", "high") if row[name] is not None]
        # A number that is only repeated may be either.
        for kind in (
            ("share", "other") if row["section"] == "page" else (row["unit"] if row["unit"] in kinds else "other",)
        ):
            kinds[kind] += ends
        kinds["share"] += [row["level"]] if row["level"] else []
        kinds["other"] += [float(row["n"])] if row["n"] is not None else []
        kinds["other"] += (
            [row["value"] * row["n"]] if row["unit"] == "share" and row["value"] is not None and row["n"] else []
        )
        named = [
            float(each)
            for each in row["group"].values()
            if isinstance(each, int | float) and not isinstance(each, bool)
        ]
        kinds["share" if named and max(named) <= 1 else "other"] += named
    return Held(*(np.abs(np.array(kinds[kind])) for kind in ("share", "ratio", "other")))


def is_held(token, held, text):
    """Whether a printed number is one of the figures, rounded as it is printed; so many in 100 where the text says so."""
    plain = token.rstrip("%").replace(",", "")
    half = 0.5 * 10.0 ** -len(plain.partition(".")[2]) * EDGE
    cell = re.fullmatch(r"[^\w]*[\d,.]+", text) is not None
    if token.endswith("%"):
        meant = [100 * held.shares, 100 * np.abs(1 - held.shares), 100 * np.abs(1 - held.ratios)]
    else:
        meant = [held.others, held.ratios]
        meant += [100 * held.shares] if cell or "in 100" in text or " 100 " in text else []
        meant += [1000 * held.shares] if cell or "1,000" in text else []
        meant += [10 * held.shares] if "in 10 " in text or "in 10" in text else []
    return any(bool((np.abs(each - float(plain)) <= half).any()) for each in meant)


def strange(text, held):
    """List the numbers of a text that are none of the figures."""
    return [token for token in NUMBER.findall(NO_FIGURE.sub(" ", text)) if not is_held(token, held, text)]


def is_said(row):
    """Whether a row only repeats a number of a sentence."""
    return (row["section"], row["quantity"]) == ("page", "said")


def test_every_figure_of_a_question_stands_in_its_rows(sections):
    """Cautions cite guidance and studies, and hold no figure of the log."""
    found = []
    for question, (section, own) in sections.items():
        held, told = figures_of(own), re.sub(r'<div class="cautions">.*?</div>', "", section, flags=re.DOTALL)
        found += [(question, wrong, text) for text in words_of(told) if (wrong := strange(text, held))]
    assert found == []


def test_headlines_titles_and_text_alternatives_say_what_rows_hold_and_nothing_else(report, sections):
    found = []
    for answer in report.answers:
        section, own = sections[answer.question]
        held = figures_of([row for row in own if not is_said(row)])
        texts = [answer.headline, *([answer.chart_title, answer.chart_text] if answer.chart is not None else [])]
        words = words_of(section)
        assert [text for text in texts if text not in words] == []
        found += [(answer.question, wrong, text) for text in texts if (wrong := strange(text, held))]
    assert found == []


def test_the_five_sentences_say_what_rows_hold_and_nothing_else(page, rows):
    held = figures_of([row for row in rows if row["section"] != "page"])
    sentences = summary_of(page)
    assert len(sentences) == 5
    assert [(wrong, text) for text in sentences if (wrong := strange(text, held))] == []


def summary_of(page):
    return [unescape(re.sub(r"<br>.*", "", each)) for each in re.findall(r"<li>(.*?)</li>", page.split('<ol class="summary">')[1].split("</ol>")[0], re.DOTALL)]  # fmt: skip


def test_a_figure_and_its_range_are_those_of_one_row(page, rows, report):
    """Not a figure of one row with the range of another."""
    kept, ranges = kept_ranges(rows), ranges_of(page, report)
    assert len(ranges) > 40
    assert [found for found in ranges if not is_row(found, kept)] == []


def kept_ranges(rows):
    kept = [[row[name] for name in ("value", "low", "high")] for row in rows]
    return np.array([each for each in kept if None not in each], dtype=float)


def ranges_of(page, report):
    """Find every figure that stands with its range in the sentences, headlines, titles and text alternatives."""
    texts = [*summary_of(page), *(text for each in report.answers for text in (each.headline, each.chart_title, each.chart_text))]  # fmt: skip
    return [found.groupdict() for text in texts for found in RANGED.finditer(NO_FIGURE.sub("", text))]


def is_row(found, kept):
    printed = [found[name].replace(",", "") for name in ("value", "low", "high")]
    halves = [0.5 * 10.0 ** -len(each.partition(".")[2]) * EDGE for each in printed]
    for scale in (100.0,) if found["percent"] else SCALES:
        for base in (kept, np.abs(kept - 1), 1 - kept):
            said = np.abs(scale * base)
            ends = (said, said[:, [0, 2, 1]])
            if any(bool(np.all([np.abs(each[:, place] - float(printed[place])) <= halves[place] for place in range(3)], axis=0).any()) for each in ends):  # fmt: skip
                return True
    return False


def test_a_changed_figure_is_noticed(page, rows, report):
    """Every figure that stands with a range, made a tenth larger: hardly one is then a row's."""
    kept, ranges = kept_ranges(rows), ranges_of(page, report)
    noticed = sum(not is_row({**found, "value": f"{float(found['value'].replace(',', '')) * 1.1 + 1:.1f}"}, kept) for found in ranges)  # fmt: skip
    assert noticed / len(ranges) > 0.9


def test_every_result_of_the_log_stands_on_the_page(report, sections, page):
    """As a number of its section, printed or drawn."""
    figures = json.loads(page.split('id="figures">')[1].split("</script>")[0])
    missing = {}
    for answer in report.answers:
        section, own = sections[answer.question]
        drawn = drawn_numbers(figures, section)
        printed = NUMBER.findall(" ".join(words_of(section)))
        for row in own:
            if f"{row['section']}.{row['quantity']}" in MORE_THAN_SHOWN:
                continue
            if row["value"] is not None and not on_page(row["value"], drawn, printed):
                missing.setdefault((row["section"], row["quantity"]), []).append((row["group"], row["value"]))
    assert missing == {}


def drawn_numbers(figures, section):
    """Give the numbers that a section's chart draws."""
    chart = re.search(r'id="(chart-[^"]+)"', section)
    traces = json.loads(figures[chart[1]])["data"] if chart and chart[1] in figures else []
    found = [np.ravel(np.array(unpacked(trace.get(axis)), dtype=object)) for trace in traces for axis in ("x", "y")]
    return np.abs(np.array([float(each) for values in found for each in values if isinstance(each, int | float)]))


def on_page(value, drawn, printed):
    """Whether a value is drawn, or printed as it is or as so many in 100 or 1,000."""
    near = any(bool(np.isclose(abs(scale * value), drawn, rtol=1e-6).any()) for scale in SCALES)
    alone = Held(*(np.array([abs(value)]) for _ in range(3)))
    return near or any(is_held(token, alone, token) for token in printed)
