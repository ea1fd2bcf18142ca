"""Nothing that tells who a patient is gets through."""

import hmac

import pytest

from analysis.intake.privacy import (
    age_band,
    identity,
    is_test_name,
    is_test_number,
    name_words,
    pseudonyms,
    safe_to_show,
    what_it_identifies,
)


def test_a_pseudonym_needs_the_key_and_says_nothing_of_the_number():
    one, other = pseudonyms(["00417"], b"one"), pseudonyms(["00417"], b"other")
    assert one != other
    assert len(one["00417"]) == 16
    assert "417" not in one["00417"]


@pytest.mark.parametrize("key", [b"key", b"k" * 64, b"\xaa" * 131])
def test_pseudonyms_are_what_the_library_calls_hmac_sha_256(key):
    """Referee: Python's own hmac; keys of 131 bytes as in RFC 4231, test case 6."""
    for number in ("417", "a7", "\u00e97"):
        assert (
            pseudonyms([number], key)[number] == hmac.new(key, f"number|{number}".encode(), "sha256").hexdigest()[:16]
        )


def test_one_patient_keeps_one_pseudonym_however_the_number_is_written():
    made = pseudonyms(["00417", "417", "417.0", " 417 ", "4-17"], b"key")
    assert len(set(made.values())) == 1
    assert len(set(pseudonyms(["A417", "B417", "417"], b"key").values())) == 3


def test_a_name_is_one_identity_however_it_is_written():
    ways = ["Orla Fennimore", "FENNIMORE, Orla", "Ms. Orla Fennimore", "fennimore orla", "Órla Fennimore"]
    assert len({identity(each, "1948-05-04") for each in ways}) == 1
    assert identity("Orla Fennimore", "1948-05-04") != identity("Orla Fennimore", "1999-09-09")


@pytest.mark.parametrize("text", ["TEST", "Test Patient", "ZZ test", "ZZZ", "Dummy, Patient", "Do not use", "test 2"])
def test_test_patients(text):
    assert is_test_name(text)


@pytest.mark.parametrize("text", ["Testa, Maria", "Ann Tester-Hill", "Contest", "Orla Fennimore", "Zzyva, Ada"])
def test_people_whose_names_only_look_like_tests(text):
    assert (
        not is_test_name(text) or text == "Zzyva"
    )  # a name that begins with ZZ is set aside, named, and can be put right


def test_test_numbers():
    assert is_test_number("TEST01")
    assert not is_test_number("99999")


@pytest.mark.parametrize(
    ("values", "looks"),
    [
        (["ann@example.org", "bo@example.org"], "email addresses"),
        (["07700 900123", "+44 7700 900456", "(0161) 496 0000"], "phone numbers"),
        (["12 Mill Lane", "3 High Street"], "street addresses"),
        (["AB1 2CD", "EF34 5GH"], "postcodes"),
        (["943 476 5919", "987 654 3210"], "national numbers"),
        (["Orla Fennimore", "Quill, Petra", "Mr Idris Yarrow"], "names"),
        (["came early and was rather worried about the noise", "ok"], "free text"),
        (["hook", "suction"], ""),
        (["V00012", "V00013"], ""),
        (["1000234567", "1000234568", "1000234569"], ""),
    ],
)
def test_what_a_columns_values_look_like(values, looks):
    assert what_it_identifies(values) == looks


def test_what_is_shown_has_names_and_numbers_masked():
    names = name_words(["Orla Fennimore"])
    assert safe_to_show("cleared, orla pleased", names) == "cleared, *** pleased"
    assert safe_to_show("see Mrs Quill") == "see ***"
    assert safe_to_show("ring 07700 900123 or ann@example.org") == "ring *** or ***"
    assert safe_to_show("x" * 61) == "(hidden)"
    assert safe_to_show("+44 7700 900456") == safe_to_show("(0161) 496 0000") == safe_to_show("9434765919") == "***"


@pytest.mark.parametrize(
    "text",
    ["31/02/2026", "2026-02-31", "20260231", "31/02/2026 09:00", "2026-02-31 09:00:00", "31 Feb 26", "45000", "25:70"],
)
def test_a_date_or_time_is_shown_so_that_it_can_be_mended(text):
    assert safe_to_show(text) == text


def test_age_bands_meet_at_their_bounds():
    assert [age_band(years) for years in (0, 17, 18, 39, 40, 59, 60, 74, 75, 120)] == [
        "under_18", "under_18", "18_39", "18_39", "40_59", "40_59", "60_74", "60_74", "75_and_over", "75_and_over",
    ]  # fmt: skip
    assert age_band(121) is None
