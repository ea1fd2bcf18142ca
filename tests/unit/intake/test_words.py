"""Free text to codes: what is coded, what is forgiven, what is asked about."""

import pytest

from analysis.intake.words import check_words, own_words, read_words, typing_slips
from analysis.problems import DataProblem
from analysis.settings import settings_from_toml


def coded(column, text, own=None):
    """Give the code and the certainty of one text."""
    reading = read_words(column, [text], own)[text]
    return reading.code, reading.certainty


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("no wax", "clear"),
        ("not blocked", "non_occluding"),
        ("not fully occluded", "partly_occluding"),
        ("non-occluding", "non_occluding"),
        ("unblocked", "non_occluding"),
        ("nearly clear", "non_occluding"),
        ("almost full", "partly_occluding"),
        ("hard impacted wax", "fully_occluding"),
    ],
)
def test_a_negation_is_not_read_as_its_opposite(text, code):
    assert coded("grade", text) == (code, "sure")


@pytest.mark.parametrize(
    "text", ["no longer blocked", "was blocked, now clear", "see letter", "as last time", "3", "grade 2"]
)
def test_what_could_mean_something_else_is_asked_about(text):
    assert coded("grade", text) == (None, "unknown")


@pytest.mark.parametrize(
    ("text", "code"),
    [("occulded", "fully_occluding"), ("Nno-occluding", "non_occluding"), ("patial", "partly_occluding")],
)
def test_a_typing_error_is_forgiven_and_counted_as_guessed(text, code):
    assert coded("grade", text) == (code, "guessed")


def test_a_slip_in_the_first_letter_or_a_short_word_is_not_forgiven():
    assert coded("grade", "locked")[1] == "unknown"
    assert coded("grade", "fall")[1] == "unknown"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("suction then hook", "wide_suction>hook_or_loop"),
        ("fine suction -> hook -> fine suction", "fine_suction>hook_or_loop>fine_suction"),
        ("MS + JH", "wide_suction>hook_or_loop"),
        ("suction, suction, forceps", "wide_suction>forceps"),
        ("hook/loop", "hook_or_loop"),
        ("microsuction/irrigation", "wide_suction>irrigation"),
    ],
)
def test_methods_keep_their_order(text, code):
    assert coded("methods", text) == (code, "sure")


def test_a_sequence_with_an_unknown_step_is_unknown_as_a_whole():
    assert coded("methods", "suction then wishing") == (None, "unknown")


def test_two_agents_in_one_cell_are_asked_about():
    assert coded("softener", "olive oil and bicarb") == (None, "unknown")


def test_none_is_an_answer_and_not_applicable_is_not():
    assert coded("softener", "none") == ("none", "sure")
    assert coded("softener", "n/a") == (None, "nothing")
    assert coded("adverse_event", "nil") == ("none", "sure")


def test_an_unknown_word_shows_the_nearest_known_one():
    told = read_words("grade", ["partly blocked mostly", "no longer blocked"])
    assert told["partly blocked mostly"].nearest == ("partly blocked", "partly_occluding")
    assert told["no longer blocked"].nearest is None  # "not blocked" is too far off to suggest


def test_the_clinics_own_words_come_first_and_are_forgiven_too():
    own = own_words(
        settings_from_toml('[words.methods]\n"the quiet one" = "fine_suction"\n"water" = "other"'), "methods"
    )
    assert coded("methods", "The quiet one, then water", own) == ("fine_suction>other", "sure")
    assert coded("methods", "the quite one", own) == ("fine_suction", "guessed")


def test_own_words_for_the_grade_hold_for_the_revised_grade():
    settings = settings_from_toml('[words.grade]\n"bunged" = "fully_occluding"')
    assert own_words(settings, "grade_revised") == {"bunged": "fully_occluding"}


def test_a_misspelt_code_in_the_settings_is_named_with_the_right_one():
    with pytest.raises(
        DataProblem,
        match=r'clinic.toml, setting "words.grade.x", value "fuly_occluding": .*Did you mean fully_occluding',
    ):
        check_words(settings_from_toml('[words.grade]\n"x" = "fuly_occluding"'), ["grade"])


def test_a_misspelt_column_of_words_is_named_with_the_right_one():
    with pytest.raises(DataProblem, match=r"words.grades.*Did you mean \[words.grade\]"):
        check_words(settings_from_toml('[words.grades]\n"x" = "clear"'), ["grade", "outcome"])


def test_slips_count_letters_wrong_missing_extra_or_swapped():
    assert [typing_slips("wax", each) for each in ("wax", "wex", "wa", "waxy", "awx")] == [0, 1, 1, 1, 1]
