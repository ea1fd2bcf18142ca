"""Whatever identifies a patient, in whatever column it was typed, is in no output."""

import csv
import io
import json

import pytest

from analysis.intake.check_digits import is_checked_number
from analysis.intake.preview import preview
from analysis.intake.preview_text import preview_text
from analysis.intake.row_columns import text_columns
from analysis.intake.strange_words import safe_word
from analysis.intake.vocabulary import heading_entries
from analysis.settings import Settings

PLANTED = (
    "Quillfeather Zephyrine",
    "zephyrine.q@example.org",
    "07700 900417",
    "943 476 5919",
    "QX12 7ZY",
    "Mrs Quillfeather",
)
MARKS = ("Quillfeather", "Zephyrine", "zephyrine", "900417", "9434765919", "943 476 5919", "7ZY")
KEPT_AS_TEXT = ("visit_id", "site", "practitioner")
"""Columns in which names of sites and staff belong, so that a name alone tells nothing."""
VISIT_COLUMNS = [
    each
    for each in text_columns()
    if each not in KEPT_AS_TEXT
    and (each == "ear" or heading_entries()[each.removesuffix("_left").removesuffix("_right")]["level"] == "visit")
]
EAR_COLUMNS = [each for each in text_columns() if each not in (*VISIT_COLUMNS, *KEPT_AS_TEXT)]
GOOD = {"Date": "13/03/2026", "Time": "09:00", "Left wax": "full", "Patient no": "417"}


def heading_of(column):
    """Give a heading that is taken for a column."""
    base = column.removesuffix("_left").removesuffix("_right")
    side = column.removeprefix(base).strip("_")
    return f"{side} {heading_entries()[base]['names'][0]}".strip()


def log_with(columns, planted):
    """Write a log of four good rows and, for each column, some with something planted in it."""
    headings = {column: heading_of(column) for column in columns}
    rows = [GOOD | dict.fromkeys(headings.values(), "") | {"Patient no": str(number)} for number in range(4)]
    rows += [
        rows[0] | {"Patient no": str(90 + len(planted) * place + number), heading: text}
        for place, heading in enumerate(headings.values())
        for number, text in enumerate(planted)
    ]
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def everything(made):
    """Write every output of an intake as one text."""
    tables = "".join(frame.to_csv() for frame in (made.visits, made.ears, made.set_aside))
    return tables + json.dumps(made.record, ensure_ascii=False)


@pytest.mark.parametrize("columns", [VISIT_COLUMNS, EAR_COLUMNS])
def test_nothing_planted_in_any_column_comes_out(take, tmp_path, columns):
    made = take({"log.csv": log_with(columns, PLANTED)})
    assert made.record["rows_in"] == 4 + len(columns) * len(PLANTED)
    assert [mark for mark in MARKS if mark in everything(made)] == []
    assert [mark for mark in MARKS if mark in preview_text(preview(tmp_path / "log.csv", Settings()))] == []


def test_addresses_of_mail_phones_and_national_numbers_do_not_come_out_of_columns_kept_as_text(take):
    made = take({"log.csv": log_with(KEPT_AS_TEXT, PLANTED[1:4])})
    assert [mark for mark in MARKS if mark in everything(made)] == []


def test_a_patients_name_typed_as_the_practitioner_or_site_is_not_kept(take):
    log = "Date,Patient name,Practitioner,Site,L wax\n" + "".join(
        f"{day}/03/2026,Patient {'ABCD'[day % 4]}mber,Wren,Mill,full\n" for day in range(13, 21)
    )
    log += '21/03/2026,Zephyrine Quillfeather,Zephyrine Quillfeather,Mill,full\n22/03/2026,Ann Amber,Wren,"Quillfeather, Zephyrine",full\n'
    made = take({"log.csv": log})
    assert [mark for mark in MARKS if mark in everything(made)] == []
    assert made.visits["practitioner"].dropna().unique().tolist() == ["Wren"]


def test_the_clinics_own_capitalised_word_is_shown_once_it_is_common():
    assert safe_word("Gunky") == "***"
    assert safe_word("Gunky", times=5) == "Gunky"
    assert safe_word("Orla Fennimore", times=500) == "*** ***"
    assert safe_word("FULL occulsion L ear 80%") == "FULL occulsion L ear 80%"


@pytest.mark.parametrize(
    "number", ["943 476 5919", "111222333", "046 454 286", "811218-9876", "12345678Z", "X1234567L"]
)
def test_a_number_that_its_check_digits_confirm(number):
    """Examples that national offices print; from memory, no source."""
    assert is_checked_number(number)


@pytest.mark.parametrize("number", ["943 476 5918", "111222334", "046 454 288", "12345678A", "V1042", "", "000000000"])
def test_a_number_that_they_do_not_confirm(number):
    assert not is_checked_number(number)
