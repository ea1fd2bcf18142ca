"""Counts under five, and what would give them away, looked for in every answer of the reports of small logs."""

import html
import re

import numpy as np
import pandas as pd
import pytest

from analysis.derive.quarters import Quarter
from analysis.report.quarterly import build_report
from analysis.report.questions import ask_all
from tests.shared_files import traces_of
from tests.small_clinics import LOGS, small_clinic

QUARTER, BOUND = "2026-Q3", 5
NOUNS = (
    "visits?|ears?|patients?|people|persons?|bookings?|rows?|attempts?|starts?|referrals?|recalls?|cases?|clearances?"
)
NUMBER = r"(?<![\d.,%–])\b(?:[1-4]|one|two|three|four)"  # noqa: RUF001
TOLD = re.compile(
    rf"{NUMBER} of \d[\d,]*\b|{NUMBER} (?:(?!of |in |to |or |and |for |than |ears of)[a-z-]+ ){{0,3}}?(?:{NOUNS})\b",
    re.IGNORECASE,
)
"""A number under five before what is counted."""
FIXED = re.compile(
    r"\bone patient\b|two ears go|at least \d|watched measures|came within|minutes pass between|a month|only one has"
    r"|fully occluding ears|between two visits|catch-up gap after every|\d{4}\)|found no link"
)
"""Turns of phrase that count nobody."""
MONTHS_NOT_PEOPLE = {
    "backtest_coverage",
    "backtest_scaled_error",
    "signals",
    "month_miss",
    "month_miss_share",
    "months_tried",
    "months_within",
    "shares_compared",
    "shares_beyond",
}
RULES = {"catch_up_every"}
COUNTED_UNITS = {"count", "rows", "visits", "bookings", "ears", "patients"}
NO_PEOPLE = re.compile(r"share|minutes|months|tried|sessions|days|weeks|value|low|high|tips")
"""In the name of a column: it counts nobody."""
TOO_SMALL = range(1, BOUND)


@pytest.fixture(scope="module", params=LOGS, ids=str)
def shown(request, tmp_path_factory):
    """The answers of a small log's report as they are, the same with nothing hidden, and the page."""
    log, folder = LOGS[request.param], tmp_path_factory.mktemp("small")
    report = build_report(small_clinic(log), QUARTER, folder)
    bare = ask_all(small_clinic(log, hide_below=1), Quarter.parse(QUARTER))
    return report.answers, tuple(bare.values()), report.page.read_text(encoding="utf-8")


def whole_numbers(table):
    """Give a table's columns of whole numbers that could count something."""
    for name in table:
        values = table[name]
        if pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values):
            known = values.dropna().astype(float)
            if len(known) and (known == known.round()).all() and not NO_PEOPLE.search(name):
                yield name, values


def near_small(number):
    return abs(number - round(number)) < 1e-6 and round(number) in TOO_SMALL


def tables(answers):
    return [(each.question, each.table) for each in answers if each.answered and each.table is not None]


def test_a_report_of_a_small_log_still_says_something(shown):
    answers, _, _ = shown
    assert sum(each.answered for each in answers) >= 8


def test_no_table_shows_a_count_under_five(shown):
    found = [
        (question, name, number)
        for question, table in tables(shown[0])
        for name, values in whole_numbers(table)
        for number in values.dropna()
        if number in TOO_SMALL
    ]
    assert found == []


def test_no_share_of_a_table_tells_a_count_under_five(shown):
    found = [
        (question, name, of, number)
        for question, table in tables(shown[0])
        for of, counts in whole_numbers(table)
        for name in table
        if pd.api.types.is_float_dtype(table[name]) and ((table[name].dropna() >= 0) & (table[name].dropna() < 1)).all()
        for number in (table[name].astype(float) * counts.astype("float64")).dropna()
        if near_small(number)
    ]
    assert found == []


def test_no_result_row_tells_a_count_under_five(shown):
    found = []
    for answer in shown[0]:
        for row in answer.rows:
            if row.quantity in MONTHS_NOT_PEOPLE | RULES:
                continue
            share = row.value * (row.n or 0) if row.value is not None and row.unit == "share" else 0.0
            counted = row.value if row.unit in COUNTED_UNITS and row.low is None and row.value is not None else 0.0
            if row.n in TOO_SMALL or near_small(share) or near_small(counted):
                found.append((row.quantity, row.group, row.value, row.n))
    assert found == []


def test_what_was_left_out_is_not_told_under_five(shown):
    told = [str(each.basis) for each in shown[0] if each.basis is not None]
    assert [each for each in told if re.search(r"(?:Left out:|;) [1-4] ", each)] == []


def test_one_hidden_count_does_not_follow_from_the_rest(shown):
    """Of a column, or its rows that share a word, that add up to a number told elsewhere, never is a small count hidden alone."""
    answers, bare, _ = shown
    told = {each.basis.used for each in answers if each.basis is not None}
    full, found = dict(tables(bare)), []
    for question, table in tables(answers):
        for name, values in by_words(full[question]):
            seen = dict(by_words(table)).get(name, pd.Series(dtype=float)).reindex(values.index)
            hidden = values[(values > 0) & seen.isna()].index
            for which, rows in groups_of(values.index):
                alone = hidden.intersection(rows)
                if len(alone) == 1 and len(rows) > 1 and int(values[rows].sum()) in told and values[alone[0]] < BOUND:
                    found.append((question, name, which, values[alone].tolist()))
    assert found == []


def by_words(table):
    """Give a table's counts, each row called by its words."""
    words = table.select_dtypes(exclude="number").astype("str")
    index = pd.MultiIndex.from_frame(words) if words.shape[1] else table.index
    for name, values in whole_numbers(table):
        yield name, pd.Series(values.to_numpy(dtype=float, na_value=np.nan), index=index)


def groups_of(index):
    """Take all rows, and those that share a word."""
    yield "all", index
    for level in range(index.nlevels):
        for value in index.get_level_values(level).unique():
            yield value, index[index.get_level_values(level) == value]


def test_no_sentence_tells_a_count_under_five(shown):
    answers, _, page = shown
    said = [
        text
        for each in answers
        for text in (each.headline, each.how_sure, each.chart_title, each.chart_text, str(each.basis or ""), *each.assumptions, *each.cautions, *(check.sentence for check in each.checks))
    ]  # fmt: skip
    assert small_told([*said, *sentences_of(page)]) == []


def sentences_of(page):
    """Give the page's words, and its charts' text alternatives."""
    body = re.sub(r"<script.*?</script>|<style.*?</style>", " ", page, flags=re.DOTALL)
    return [
        html.unescape(each) for each in re.findall(r">([^<>]{20,})<", body) + re.findall(r'aria-label="([^"]*)"', body)
    ]


def small_told(texts):
    """Find the places where texts tell a number under five of people, ears, visits or rows."""
    found = {
        text[max(0, hit.start() - 50) : hit.end() + 30]
        for text in texts
        for hit in TOLD.finditer(text)
        if not FIXED.search(text[max(0, hit.start() - 25) : hit.end() + 25])
    }
    return sorted(found)


@pytest.mark.parametrize(
    "text", ["3 visits of 40", "Only two patients came", "4 of 39 ears", "end before start: 1 visit"]
)
def test_the_search_of_sentences_finds_what_is_there(text):
    assert small_told([text]) != []


def test_no_chart_marks_a_count_under_five(shown):
    traces = traces_of(shown[2])
    told = [str(trace.get(name, "")) for trace in traces for name in ("text", "hovertext", "hovertemplate", "name")]
    assert [each for each in told if TOLD.search(each) and not FIXED.search(each)] == []
    counted = [trace for trace in traces if trace.get("name") == "came"]
    heights = [height for trace in counted for height in np.atleast_1d(np.array(trace["y"], dtype=object)) if height]
    assert [height for height in heights if height in TOO_SMALL] == []
