"""Numbers as clinics write them."""

import pytest

from analysis.intake.amounts import days, number, percent, without_days


@pytest.mark.parametrize(
    ("text", "share"),
    [
        ("80%", 80), ("~80 %", 80), ("approx 80%", 80), ("80", 80), ("0", 0), ("100 %", 100), ("12,5%", 12.5),
        ("2/3", 66.6667), ("2/3 blocked", 66.6667), ("two thirds", 66.6667), ("a quarter full", 25), ("half", 50),
        ("1/2 occluded", 50), ("<50%", 49), (">80%", 81), ("50-75%", 62.5), ("50 to 75 %", 62.5),
    ],
)  # fmt: skip
def test_shares_of_the_canal(text, share):
    assert percent(text) == share


@pytest.mark.parametrize("text", ["3", "1", "120%", "5/7", "7/3", "blocked", "75-50%", ""])
def test_what_is_no_share_or_may_be_a_step_of_a_scale(text):
    assert percent(text) is None


@pytest.mark.parametrize(
    ("text", "length"),
    [
        ("5", 5),
        ("5/7", 5),
        ("1/52", 7),
        ("2/52", 14),
        ("a week", 7),
        ("3 nights", 3),
        ("x 4 days", 4),
        ("two weeks", 14),
        ("5d", 5),
    ],
)
def test_days_of_softening(text, length):
    assert days(text) == length


@pytest.mark.parametrize("text", ["some", "5-7 days", "2 days then 3 days", "daily"])
def test_days_that_cannot_be_told(text):
    assert days(text) is None


def test_the_agent_is_left_when_its_days_are_taken_out():
    assert without_days("Olive oil x 5 days") == "olive oil"


def test_money_with_and_without_a_decimal_comma():
    assert number("£1,250.00") == 1250
    assert number("45.5") == 45.5
    assert number("1.250,00 €", decimal_comma=True) == 1250
    assert number("45,50") is None  # without decimal_comma it could be either
