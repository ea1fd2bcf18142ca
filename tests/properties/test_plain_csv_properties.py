"""A CSV scanned where it lies has the cells that Python reads from it; what is not plain is left to Python."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.intake.plain_csv import numbered_plain, scan_plain_csv
from analysis.intake.readers import read_export
from analysis.intake.text_rows import number_texts
from analysis.problems import DataProblem

HEADINGS = ("Date", "Patient no", "L wax", "Notes")
PLACES = {"date": 0, "grade_left": 2}


def recognise(row):
    known = sum(cell.strip() in HEADINGS for cell in row)
    return known, known > 0


def texts_of(text):
    """Give the rows as Python sees them: number, cells filled, and the text of each numbered column."""
    rows = text.rows.sort("source_row").to_dicts()
    return [
        (
            row["source_row"],
            row["all_cells"],
            *(text.texts[name][row[name]] if name in text.texts and row[name] >= 0 else None for name in PLACES),
        )
        for row in rows
    ]


def both_ways(path):
    """Read a file where it lies and row by row; None for the first where it is not plain."""
    told = {"all_cells": [0, 1, 2, 3]}
    plain = scan_plain_csv(path, recognise, smallest_bytes=1)
    text = numbered_plain(plain, PLACES, told, recognise) if plain else None
    try:
        table = read_export(path, recognise)
    except DataProblem:
        return text, None
    return text, number_texts(table, PLACES, told)


cell = st.one_of(
    st.sampled_from(
        ["", "01/03/2026", "full", " 2/3 ", '"quoted"', '"two; cells"', '"a ""word"""', "\u00a0occ", "é", "x" * 50]
    ),
    st.text(st.characters(exclude_characters=';"\r\n\x00', exclude_categories=["Cs", "Cc"]), max_size=8),
)
lines = st.lists(st.lists(cell, min_size=0, max_size=5).map(";".join), min_size=1, max_size=12)


@given(lines, st.sampled_from(["\n", "\r\n"]), st.booleans())
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_both_ways_read_the_same(tmp_path, rows, ending, ends):
    path = tmp_path / "log.csv"
    path.write_bytes(ending.join([";".join(HEADINGS), *rows]).encode() + (ending.encode() if ends else b""))
    scanned, read = both_ways(path)
    if scanned is not None and read is not None:
        assert texts_of(scanned) == texts_of(read)
        assert scanned.rows["content"].n_unique() == read.rows["content"].n_unique()


@pytest.mark.parametrize(
    "body",
    [
        b"01/03/2026;1;full;a\n\n02/03/2026;2;clear;b\n",
        b"01/03/2026;1;full;a;too;many\n",
        b'01/03/2026;1;fu"ll;a\n',
        b'01/03/2026;1;"full\nor so";a\n',
        b"01/03/2026;1;f\x00ull;a\n",
        b"01/03/2026;1;f\xffull;a\n",
        b"01/03/2026;1;full;a\r02/03/2026;2;clear;b\n",
    ],
)
def test_what_is_not_plain_is_left_to_python(tmp_path, body):
    path = tmp_path / "log.csv"
    path.write_bytes(b"Date;Patient no;L wax;Notes\n" + body)
    assert both_ways(path)[0] is None


def test_a_plain_file_is_scanned(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(b"Date;Patient no;L wax;Notes\n01/03/2026;1;full;a\n02/03/2026;2;clear\n;;;\n")
    scanned, read = both_ways(path)
    assert texts_of(scanned) == texts_of(read) == [(2, 4, "01/03/2026", "full"), (3, 3, "02/03/2026", "clear")]


def test_a_small_file_is_left_to_python():
    assert scan_plain_csv(Path(__file__), recognise) is None
