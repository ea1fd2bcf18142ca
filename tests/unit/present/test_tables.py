"""Tables say what an owner can read: labels, units, and what is not shown."""

import numpy as np
import pandas as pd
import pytest

from analysis.present import words
from analysis.present.tables import BLANK, spoken_columns, table_text


def cells(**columns):
    return {column.heading: list(column.cells) for column in spoken_columns(pd.DataFrame(columns))}


def test_codes_and_yes_no_are_put_into_words():
    table = pd.DataFrame(
        {
            "grade": pd.Categorical(["fully_occluding", None], categories=["clear", "fully_occluding"], ordered=True),
            "hearing_aid": pd.array([True, None], dtype="boolean"),
            "day": pd.to_datetime(["2026-02-03", None]),
        }
    )
    shown = {column.heading: list(column.cells) for column in spoken_columns(table)}
    assert shown == {
        "occlusion grade": ["fully occluding", BLANK],
        "wears a hearing aid": ["yes", BLANK],
        "day": ["3 February 2026", BLANK],
    }


def test_a_column_has_one_number_of_decimals():
    assert cells(minutes=[18.26, 9.0]) == {"minutes in the chair": ["18.3", "9.0"]}
    assert cells(minutes=[18.0, 9.0]) == {"minutes in the chair": ["18", "9"]}
    assert cells(value=[0.123, 0.9]) == {"figure": ["0.12", "0.90"]}
    assert cells(value=[1234.5, 9.2]) == {"figure": ["1,234", "9"]}


def test_a_share_is_said_as_a_percentage_where_its_unit_says_so():
    assert cells(unit=["share", "share"], value=[0.305, 0.004]) == {"figure": ["30%", "0.4%"]}
    mixed = cells(unit=["share", "months"], value=[0.305, 9.5], n=[40, 41])
    assert mixed == {"unit": ["share", "months"], "figure": ["30%", "9.5"], "based on": ["40", "41"]}


def test_a_share_is_said_as_a_percentage_where_its_name_says_so(monkeypatch):
    monkeypatch.setitem(words.ANSWER_LABELS, "cleared_share_low", "share cleared, from")
    monkeypatch.setitem(words.ANSWER_LABELS, "shared_rooms", "shared rooms")
    assert cells(cleared_share_low=[0.5]) == {"share cleared, from": ["50%"]}
    assert cells(shared_rooms=[0.5]) == {"shared rooms": ["0.50"]}


def test_the_first_missing_number_of_a_row_reads_not_shown():
    assert cells(site=["North", None], value=[np.nan, 2.0], low=[np.nan, 1.0], high=[np.nan, 3.0]) == {
        "site": ["North", BLANK],
        "figure": ["not shown", "2"],
        "from": [BLANK, "1"],
        "to": [BLANK, "3"],
    }


def test_a_minus_is_a_minus_and_nought_has_none():
    assert cells(value=[-3.0, -0.0]) == {"figure": ["\N{MINUS SIGN}3", "0"]}


def test_a_column_nobody_labelled_is_an_error():
    with pytest.raises(KeyError, match="nobody_labelled_this"):
        spoken_columns(pd.DataFrame({"nobody_labelled_this": [1]}))


def test_an_empty_table_has_headings_only():
    assert (
        table_text(pd.DataFrame({"grade": pd.Series(dtype="str"), "n": pd.Series(dtype="int64")}))
        == "occlusion grade  based on"
    )


def test_every_hidden_count_says_so_and_a_share_that_does_not_apply_is_a_dash():
    table = pd.DataFrame(
        {
            "visits": pd.array([11, None], dtype="Int64"),
            "patients": pd.array([7, None], dtype="Int64"),
            "share_with": [np.nan, np.nan],
        }
    )
    assert [list(column.cells) for column in spoken_columns(table)] == [
        ["11", "not shown"],
        ["7", "not shown"],
        [BLANK, BLANK],
    ]
