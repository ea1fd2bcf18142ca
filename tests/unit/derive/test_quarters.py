"""Quarters begin and end on the right days."""

import pandas as pd
import pytest

from analysis.derive.quarters import Quarter
from analysis.problems import DataProblem


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("2026-Q1", "2026-01-01", "2026-03-31"),
        ("2024-Q1", "2024-01-01", "2024-03-31"),
        ("2026-Q2", "2026-04-01", "2026-06-30"),
        ("2026-Q4", "2026-10-01", "2026-12-31"),
    ],
)
def test_first_and_last_day(text, first, last):
    quarter = Quarter.parse(text)
    assert (quarter.first_day, quarter.last_day) == (pd.Timestamp(first), pd.Timestamp(last))
    assert str(quarter) == text


def test_neighbours_cross_the_year():
    assert str(Quarter(2026, 1).previous) == "2025-Q4"
    assert str(Quarter(2025, 4).next) == "2026-Q1"
    assert str(Quarter(2026, 1).same_last_year) == "2025-Q1"
    assert Quarter(2025, 4) < Quarter(2026, 1)


@pytest.mark.parametrize(
    ("last_day", "expected"),
    [("2026-12-31", "2026-Q4"), ("2026-12-30", "2026-Q3"), ("2026-01-01", "2025-Q4"), ("2026-09-30 18:00", "2026-Q3")],
)
def test_last_complete_quarter_on_the_boundary(last_day, expected):
    assert str(Quarter.last_complete(pd.Timestamp(last_day))) == expected


@pytest.mark.parametrize("text", ["2026-Q5", "Q3", "2026", "third quarter", "2026-Q33"])
def test_what_is_no_quarter_is_said_plainly(text):
    with pytest.raises(DataProblem, match=r"This is not a quarter\. Write the year, then Q1 to Q4, such as 2026-Q3\."):
        Quarter.parse(text)
