"""Free text to codes: what is coded, what is forgiven, what is asked about."""

import pytest

from analysis.intake.words import LEAST_CONFIDENCE, check_words, own_words, read_words, typing_slips
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
    "text",
    [
        "allergic to olive oil", "advised olive oil", "will use olive oil next time", "ran out of olive oil", "olive oil?",
        "should have used bicarbonate", "saline instead of olive oil", "olive oil irritated", "allergisch auf Olivenöl",
    ],
)  # fmt: skip
def test_what_was_planned_advised_or_feared_is_not_what_was_done(text):
    assert coded("softener", text) == (None, "unknown")


def test_what_was_done_as_advised_was_done():
    assert coded("softener", "olive oil as advised 5/7") == ("olive_oil", "sure")


@pytest.mark.parametrize("text", ["no hard wax", "no soft wax", "not very"])
def test_a_denial_of_one_kind_of_wax_is_no_denial_of_all(text):
    assert coded("grade", text) == (None, "unknown")


@pytest.mark.parametrize(
    ("text", "code"),
    [("occulded", "fully_occluding"), ("Nno-occluding", "non_occluding"), ("patial", "partly_occluding")],
)
def test_a_typing_error_is_forgiven_and_counted_as_guessed(text, code):
    assert coded("grade", text) == (code, "guessed")


@pytest.mark.parametrize("text", ["not unsuccessful", "removal incomplete", "fully uncleared", "wax unremoved"])
def test_two_letters_that_turn_a_word_round_are_no_slip(text):
    assert coded("outcome", text)[1] != "guessed"


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


@pytest.mark.parametrize(
    "text",
    [
        "olive oil and bicarb",
        "olive oil + bicarb 5/7",
        "peroxide then saline",
        "olive oil/sodium bicarb",
        "bicarb + OO",
    ],
)
def test_two_agents_in_one_cell_are_another_agent(text):
    assert coded("softener", text) == ("other", "sure")


@pytest.mark.parametrize("text", ["drops and a lamp", "olive oil or bicarb"])
def test_an_agent_beside_something_unknown_or_in_doubt_is_asked_about(text):
    assert coded("softener", text)[1] == "unknown"


@pytest.mark.parametrize(
    "text", ["no olive oil", "olive oil not used", "olive oil advised but not used", "didn't use drops"]
)
def test_an_agent_that_was_not_used_is_none(text):
    assert coded("softener", text) == ("none", "sure")


@pytest.mark.parametrize("text", ["yes, olive oil", "olive oil, 5 days", "warm olive oil each night, 3 nights"])
def test_an_agent_beside_its_days_or_a_yes_is_that_agent(text):
    assert coded("softener", text) == ("olive_oil", "sure")


@pytest.mark.parametrize("text", ["5/7", "a week", "3 nights", "two weeks"])
def test_days_alone_say_that_an_agent_was_used(text):
    assert coded("softener", text) == ("other", "sure")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("not painful", "none"),
        ("no bleeding", "none"),
        ("patient fine, no bleeding", "none"),
        ("bleeding, no pain", "bleeding"),
        ("discomfort but no bleeding", "discomfort"),
        ("dizzy and bleeding", "other"),
    ],
)
def test_an_event_that_is_denied_is_no_event_and_two_events_are_another(text, code):
    assert coded("adverse_event", text) == (code, "sure")


@pytest.mark.parametrize(
    ("column", "text"),
    [
        ("grade", "now blocked"),  # one slip from "not blocked"
        ("booking_kind", "Follow-up"),  # two slips from "follow on"
        ("grade", "blocked?"),
        ("middle_ear", "no perforation"),  # says nothing of the rest
        ("eardrum", "not perforated"),
        ("in_chair_softener", "oil refused"),
        ("softening_advised", "advised not to"),
        ("debris", "not hard"),
        ("methods", "no suction"),
        ("methods", "suction after hook"),  # the order is turned round
        ("attendance", "not cancelled"),
    ],
)
def test_a_word_beside_a_denial_or_a_doubt_is_not_read_without_it(column, text):
    assert coded(column, text) == (None, "unknown")


@pytest.mark.parametrize(
    ("text", "code"),
    [("\u00be", "partly_occluding"), ("\u2154 blocked", "partly_occluding"), ("eighty per cent", "partly_occluding"),
     ("\u2265 90 %", "partly_occluding"), ("up to 25%", "non_occluding"), ("2 thirds", "partly_occluding"), ("100 percent", "fully_occluding")],
)  # fmt: skip
def test_shares_in_signs_and_words(text, code):
    assert coded("grade", text) == (code, "sure")


@pytest.mark.parametrize(
    ("column", "one", "other"),
    [
        ("attendance", "cancelled", "canceled"),
        ("eardrum", "visualised", "visualized"),
        ("methods", "curette", "curet"),
        ("age_band", "paediatric", "pediatric"),
        ("adverse_event", "haemorrhage", "hemorrhage"),
        ("softener", "glycerine", "glycerin"),
        ("hearing_aid", "doesn't wear", "doesn\u2019t wear"),
    ],
)
def test_spellings_of_several_countries_mean_the_same(column, one, other):
    assert coded(column, one) == coded(column, other)
    assert coded(column, one)[1] == "sure"


def test_confidence_is_the_share_of_right_letters_and_nothing_is_coded_below_the_least():
    told = read_words("grade", ["full", "occulded", "partily", "wobbly"])
    assert [round(each.confidence, 3) for each in told.values()] == [1, 0.875, 0.857, 0]
    assert all(each.confidence >= LEAST_CONFIDENCE or each.code is None for each in told.values())


def test_a_suggestion_never_turns_the_meaning_round():
    told = read_words("outcome", ["incomplete", "not fully cleared"])
    assert [each.nearest and each.nearest[1] for each in told.values()] == [None, "occluding_left"]


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
