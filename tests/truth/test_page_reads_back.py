"""The built page, read back: every figure on it stands in results.json, and what results.json says of it stands there too."""

import json
import re
from html import unescape

import numpy as np
import pytest
from pptx import Presentation
from python_calamine import CalamineWorkbook

from analysis.clinic import open_clinic
from analysis.demo import invented_clinic
from analysis.demo.exports import write_exports
from analysis.intake.store import intake_folder
from analysis.report.quarterly import build_report
from tests.read_back import EDGE, NO_FIGURE, NUMBER, RANGED, SCALES, Held, figures_of, is_held, strange, words_of
from tests.shared_files import unpacked

QUARTER = "2026-Q3"
MORE = "Of a longer chart"
MARK = re.compile(r"today, |chosen share")
"""A line of a chart that marks a setting."""
C = "{http://schemas.openxmlformats.org/drawingml/2006/chart}"
CAUTIONS = "Take care"
"""They cite guidance and studies, and hold no figure of the log."""
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
    "demand_trial.part_bias",
    "demand_trial.part_typical_miss",
    "demand_trial.part_coverage",
    "demand_trial.part_range_width",
    "demand_trial.part_scaled_error",
    "demand.sessions_of_chair_time",
    "intake.minutes_quality_by_export",
    "intake.minutes_quality_by_practitioner",
    "monitoring.watched_minutes",
    "monitoring.watched_rate",
}
"""Quantities of which results.json holds more than the page has room for."""


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


def sheets_of(report):
    """Give the workbook's sheets: of each question's its notes, and the numbers of its table."""
    book = CalamineWorkbook.from_path(str(report.workbook))
    for name in book.sheet_names[2:-1]:
        rows = book.get_sheet_by_name(name).to_python()
        notes = [str(row[1]) for row in rows[1:] if row[0] != CAUTIONS and len(row) > 1 and isinstance(row[1], str)]
        yield rows[0][0], notes, [cell for row in rows for cell in row if isinstance(cell, int | float)]


def test_the_workbook_holds_the_same_figures(report, sections):
    strangers = []
    for question, notes, numbers in sheets_of(report):
        own = sections[question][1]
        held = np.array(
            [float(row[name]) for row in own for name in ("value", "low", "high", "n") if row[name] is not None]
        )
        far = [each for each in numbers if not any(np.isclose(scale * held, each, rtol=1e-9).any() for scale in SCALES)]
        said = [wrong for text in notes if (wrong := strange(text, figures_of(own)))]
        strangers += [(question, far, said)] if far or said else []
    assert len(list(sheets_of(report))) == len(report.answers)
    assert strangers == []


def test_the_workbooks_last_sheet_is_results_json(report, rows):
    head, *told = CalamineWorkbook.from_path(str(report.workbook)).get_sheet_by_name("All figures").to_python()
    names = ("value", "low", "high", "n")
    assert len(told) == len(rows)
    for line, row in zip(told, rows, strict=True):
        kept = dict(zip(head, line, strict=True))
        assert (kept["section"], kept["quantity"]) == (row["section"], row["quantity"])
        assert [kept[name] for name in names] == [
            "" if row[name] is None else pytest.approx(row[name], rel=1e-12) for name in names
        ]


def test_the_slides_say_the_same_figures(report, rows, sections):
    slides = list(Presentation(str(report.deck)).slides)
    cautions = {text for each in report.answers for text in each.cautions}
    strangers = []
    for slide in slides[1:-1]:
        notes = slide.notes_slide.notes_text_frame.text.split("\n")
        held = figures_of(sections[notes[0]][1])
        told = [
            *texts_on(slide),
            *(line for line in notes if line.removeprefix("- ") not in cautions and not line.startswith(MORE)),
        ]
        strangers += [(notes[0], wrong, text) for text in told if (wrong := strange(text, held))]
    everywhere = figures_of([row for row in rows if not is_said(row)])
    strangers += [("opening", wrong, text) for text in texts_on(slides[0]) if (wrong := strange(text, everywhere))]
    assert len(slides) == 10
    assert strangers == []


def test_the_slides_charts_draw_figures_of_their_rows(report, sections):
    """Every bar, both ends of its range and every point of every line, the lines that mark a setting left out.

    Charts keep six digits, and an end of a range is the bar and its reach together: they agree to one in 20,000.
    """
    drawn = dict(points_on_slides(report))
    strangers = {}
    for (question, line), numbers in drawn.items():
        own = sections[question][1]
        held = np.array([row[name] for row in own for name in ("value", "low", "high") if row[name] is not None])
        far = [
            each
            for each in numbers
            if not any(np.isclose(scale * held, each, rtol=5e-5, atol=1e-9).any() for scale in SCALES)
        ]
        if far and not MARK.match(line):
            strangers[question, line] = far
    assert len(drawn) > 20
    assert strangers == {}


def points_on_slides(report):
    """Give the numbers of each line of each slide's chart; of bars also how far their ranges go."""
    for slide in list(Presentation(str(report.deck)).slides)[1:-1]:
        question = slide.notes_slide.notes_text_frame.text.split("\n")[0]
        for series in (
            each for shape in slide.shapes if shape.has_chart for plot in shape.chart.plots for each in plot.series
        ):
            values = [each for each in series.values if each is not None]
            yield (question, series.name), values
            for side, sign in (("plus", 1), ("minus", -1)):
                reach = [float(each.text) for each in series._element.findall(f".//{C}{side}//{C}v")]
                if reach:
                    yield (
                        (question, f"{series.name}, {side}"),
                        [value + sign * far for value, far in zip(values, reach, strict=True)],
                    )


def test_a_slides_recall_curve_goes_through_the_shares_of_results_json(report, rows):
    """At today's interval, with both ends of its range; between two drawn months on the straight line."""
    (slide,) = [
        each
        for each in Presentation(str(report.deck)).slides
        if "called back" in each.notes_slide.notes_text_frame.text[:60]
    ]
    (chart,) = [shape.chart for shape in slide.shapes if shape.has_chart]
    curves = {each.name: each for each in chart.plots[0].series}
    told = {"hearing_aid": "with a hearing aid", "no_hearing_aid": "without a hearing aid"}
    today = {row["group"]["group"]: row for row in rows if row["quantity"] == "share_occluded_today"}
    compared = {told[group]: row for group, row in today.items() if group in told}
    assert compared
    for name, row in compared.items():
        lines = {"value": name, "low": f"{name} range, from and to", "high": f"{name} range, to"}
        for end, line in lines.items():
            at = [float(each.text) for each in curves[line]._element.findall(f"{C}xVal//{C}v")]
            assert np.interp(row["group"]["months"], at, curves[line].values) == pytest.approx(row[end], abs=0.002), (
                line
            )


def test_a_slides_changed_point_is_noticed(report, sections):
    drawn = dict(points_on_slides(report))
    (question, _), numbers = max(drawn.items(), key=lambda each: len(each[1]))
    own = sections[question][1]
    held = np.array([row[name] for row in own for name in ("value", "low", "high") if row[name] is not None])
    changed = [each * 1.03 + 0.001 for each in numbers]
    assert sum(np.isclose(held, each, rtol=5e-5).any() for each in changed) < 0.1 * len(changed)


def texts_on(slide):
    """Give a slide's words line by line, without its number."""
    boxes = [shape.text_frame.text for shape in slide.shapes if shape.has_text_frame]
    return [re.sub(r"Slide \d+$", "", line) for box in boxes for line in box.split("\n")]
