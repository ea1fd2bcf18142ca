"""Minutes that were rounded in words, parts of an hour, and fees of nothing."""

import pytest

from analysis.intake.lengths import fee, is_about, minutes
from analysis.intake.vocabulary import small_words


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("25", 25), ("approx 20", 20), ("Approx. 20 mins", 20), ("about 25 min", 25), ("~20", 20), ("c20", 20), ("20 min approx", 20),
        ("about 0:25", 25), ("1/2 hr", 30), ("1/2hr", 30), ("1/4 hour", 15), ("½ hour", 30), ("1½ hrs", 90), ("1 1/2 hours", 90),
        ("half an hour", 30), ("half hour", 30), ("quarter of an hour", 15), ("three quarters of an hour", 45), ("approx 1/2 hr", 30),
        ("ca. 20", 20), ("etwa 20", 20), ("1/2 Stunde", 30), ("1/3 hr", 20),
    ],
)  # fmt: skip
def test_lengths(text, value):
    assert minutes(text) == value


@pytest.mark.parametrize(
    "text", ["soon", "20-25", "-5", "0:75", "", "about", "1/2", "3/2 hr", "1/7 hr", "half", "1/0 hr", "half a day"]
)
def test_what_is_no_length(text):
    assert minutes(text) is None


@pytest.mark.parametrize("word", small_words("shares", "about"))
def test_every_word_of_rounding_is_one(word):
    assert minutes(f"{word} 20") == 20
    assert is_about(f"{word} 20")


@pytest.mark.parametrize("hour", small_words("lengths", "hours"))
def test_every_word_for_an_hour_is_one(hour):
    assert minutes(f"1/2 {hour}") == 30


@pytest.mark.parametrize("of", small_words("lengths", "of"))
def test_every_word_before_an_hour_is_passed_over(of):
    assert minutes(f"half {of} hour") == 30


@pytest.mark.parametrize("text", [*small_words("fees", "free"), "FREE", "No charge", "F.O.C."])
def test_nothing_charged_is_a_fee_of_nothing(text):
    assert fee(text) == 0


@pytest.mark.parametrize(
    ("text", "value"), [("£60", 60), ("60 free", 60), ("charge", None), ("feels free", None), ("lots", None)]
)
def test_other_fees_are_read_as_numbers(text, value):
    assert fee(text) == value


def test_a_log_with_such_minutes_and_fees_has_nothing_to_mend_and_says_what_was_rounded(take):
    made = take(
        {
            "log.csv": "Date,Patient no,L wax,Minutes,Fee\n13/03/2026,1,full,approx 20,£60\n14/03/2026,2,semi,1/2 hr,free\n"
            "15/03/2026,3,clear,about 25 min,no charge\n"
        }
    )
    assert made.visits["minutes"].tolist() == [20, 30, 25]
    assert made.visits["fee"].tolist() == [60, 0, 0]
    assert made.record["to_mend"] == []
    assert (
        "log.csv: minutes are written as about so many (2 rows); they are read as they stand." in made.record["notes"]
    )
