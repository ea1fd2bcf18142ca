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


@pytest.mark.parametrize(
    ("text", "comma", "value"),
    [
        ("1.265,50", False, None),
        ("1.265,50", True, 1265.5),
        ("1,265.50", False, 1265.5),
        ("1,265.50", True, None),
        ("12,34,567", False, None),
        ("1.250", True, 1250.0),
        ("65.5", True, 65.5),
        ("45,50", False, None),
        ("1,250,000", False, 1_250_000.0),
    ],
)
def test_a_mark_between_digits_is_never_taken_for_the_other(text, comma, value):
    assert number(text, decimal_comma=comma) == value


def test_a_decimal_comma_is_asked_for_where_it_would_help(take):
    record = take({"a.csv": "Date;Patient no;L wax;Fee\n13/03/2026;1;full;45,50\n14/03/2026;2;semi;some\n"}).record
    about = {text: message for text in ("45,50", "some") for message in record["to_mend"] if text in message}
    assert "decimal_comma = true in [export]" in about["45,50"]
    assert "decimal_comma" not in about["some"]


def test_a_dash_for_a_number_is_nothing_recorded_and_nothing_to_mend(take):
    record = take(
        {"a.csv": "Date,Patient no,L wax,Fee\n13/03/2026,1,full,-\n14/03/2026,2,semi,n/a\n15/03/2026,3,semi,lots\n"}
    ).record
    assert list(record["unreadable"]["fee"]) == ["lots"]
