"""What ten thousand spoilt exports brought to light, each as a small log."""

import json

import pytest

from analysis.intake.contract import check_tables
from analysis.intake.privacy import safe_to_show
from analysis.intake.strange_words import safe_headings, safe_word
from analysis.intake.taking import take_in
from analysis.settings import Settings

HEAD = "Date,Time,Start,Finish,Patient no,Clinician,L wax,L method"


def taken(tmp_path, *rows, head=HEAD):
    path = tmp_path / "log.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return take_in([path], Settings(), b"k" * 32)


def test_a_visit_of_one_minute_or_of_hours_keeps_the_contract(tmp_path):
    made = taken(
        tmp_path,
        "01/03/2026,09:00,09:02,09:03,1,Ash,full,suction",
        "01/03/2026,10:00,10:00,13:40,2,Ash,full,suction",
    )
    assert made.visits[["minutes", "minutes_quality"]].to_numpy().tolist() == [[1, "implausible"], [220, "implausible"]]
    check_tables({name: table.collect() for name, table in made.tables.items()}, Settings())


def test_a_visit_in_the_place_of_the_headings_is_masked(tmp_path):
    assert safe_headings(["06/03/2026", "7 Quaggy Lane", "Tamsinelle Grubwick", "Tray"]) == [
        "06/03/2026",
        "***",
        "*** ***",
        "***",
    ]
    record = json.dumps(taken(tmp_path, "01/03/2026,1,full", head="Date,7 Quaggy Lane,L wax").record)
    assert "Quaggy" not in record


def test_names_and_numbers_glued_to_words_are_masked():
    shown = [
        safe_word(text)
        for text in ("irrigOxtoby", "2/3 bloQUIBBLE", "11:21900123", "03/03/900123", "oxtobymail.example")
    ]
    assert shown == ["irrig***", "2/3 blo***", "11:***", "03/03/***", "***"]


def test_a_phrase_with_a_name_is_masked_however_often_it_stands():
    assert safe_word("daughter of Oxtoby", times=9) == "daughter of ***"


def test_a_phone_or_an_address_moved_into_the_clinicians_column_is_not_kept(tmp_path):
    rows = [f"0{day}/03/2026,09:00,09:02,09:22,{day},{who},full,suction" for day, who in
            ((1, "Ash"), (2, "ring 07700 900123"), (3, "7 Quaggy Lane"))]  # fmt: skip
    assert set(taken(tmp_path, *rows).visits["practitioner"].dropna()) == {"Ash"}


def test_a_row_kept_in_a_file_of_which_no_row_is_kept_is_named(tmp_path):
    (tmp_path / "b.csv").write_text(f"{HEAD}\n01/03/2026,09:00,09:02,09:22,1,Ash,full,suction\n", encoding="utf-8")
    (tmp_path / "c.csv").write_text(f"{HEAD}\n01/03/2026,09:00,09:02,09:22,1,Ash,full,suction\n", encoding="utf-8")
    made = take_in([tmp_path / "b.csv", tmp_path / "c.csv"], Settings(), b"k" * 32)
    assert made.set_aside["value"].tolist() == ["kept: b.csv row 2"]


@pytest.mark.parametrize("text", ["CliniciaZQ9 7XX", "mZQ9 7XX", "ZQ9 7XX"])
def test_a_postcode_glued_to_a_heading_is_masked(text):
    assert "7XX" not in safe_to_show(text)
    assert safe_to_show("L wax 2/3") == "L wax 2/3"


@pytest.mark.parametrize("text", ["@nowhere.example", "02/03/\x1c@nowhere.example"])
def test_what_is_left_of_a_mail_address_is_masked(text):
    assert "nowhere" not in safe_word(text)


def test_half_a_phone_number_behind_a_clinicians_name_is_not_kept_and_a_staff_code_is(tmp_path):
    rows = [f"0{day}/03/2026,09:00,09:02,09:22,{day},{who},full,suction" for day, who in
            ((1, "Ash"), (2, "Ash900123"), (3, "AUD012345"))]  # fmt: skip
    assert set(taken(tmp_path, *rows).visits["practitioner"].dropna()) == {"Ash", "AUD012345"}
