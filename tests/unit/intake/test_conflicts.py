"""Rows of one visit that do not agree: reported, with the rule that chose between them."""

import pytest

HEAD = "Visit no,Date,Time,Patient no,Practitioner,Status,Left wax,Minutes,Outcome L\n"
FIRST = "V1,13/03/2026,09:00,11,Wren,Attended,full,20,cleared\nV2,14/03/2026,09:00,12,Wren,Attended,full,20,cleared\n"
AMENDED = "V1,13/03/2026,09:00,11,Wren,Attended,semi,25,cleared\nV2,14/03/2026,09:00,12,Wren,Attended,full,21,\nV3,15/03/2026,09:00,13,Wren,Attended,full,9,cleared\n"


def test_conflicts_are_counted_by_column_and_asked_about_with_both_rows(take):
    record = take({"a.csv": HEAD + FIRST, "b.csv": HEAD + AMENDED}).record
    assert record["conflicts"] == {"minutes": 2, "grade_left": 1}
    about = [message for message in record["to_mend"] if "same visit" in message]
    assert len(about) == 2
    assert about[0].startswith(
        'a.csv, row 2, column "Minutes": Two rows of the same visit differ here (2 times); the first time it is this row and b.csv row 2'
    ) or about[0].startswith('b.csv, row 3, column "Minutes"')
    assert "the fuller is kept" in about[0]


def test_the_fuller_row_wins_and_of_equals_the_later_export(take):
    made = take({"a.csv": HEAD + FIRST, "b.csv": HEAD + AMENDED})
    assert made.visits.set_index("visit_id")["minutes"].to_dict() == {"V1": 25, "V2": 20, "V3": 9}
    told = made.record["same_visit"]["the same visit again"]
    assert told["rows"] == 2
    assert told["rule"].startswith("Of rows that tell of the same visit")


def test_an_empty_cell_contradicts_nothing_and_equal_rows_are_no_conflict(take):
    record = take({"a.csv": HEAD + FIRST, "b.csv": HEAD + FIRST.replace(",20,", ",,")}).record
    assert record["conflicts"] == {}
    assert record["set_aside_by_reason"] == {"the same visit again": 2}


def test_two_systems_that_differ_about_one_ear_are_a_conflict(take):
    ears = "Booking ref,Client no,Day,Time,Side,Grade\nB1,11,13/03/2026,09:00,Left,partial\n"
    made = take({"a.csv": HEAD + FIRST, "b.csv": ears})
    assert made.record["conflicts"] == {"grade_left": 1}
    assert made.ears["grade"].tolist() == ["fully_occluding", "fully_occluding"]
    assert list(made.record["same_visit"]) == ["the same visit in another system's export"]


def test_a_file_more_changes_only_what_it_must(take):
    before = take({"a.csv": HEAD + FIRST})
    after = take({"a.csv": HEAD + FIRST, "c.csv": HEAD + "V9,20/03/2026,09:00,19,Wren,Attended,semi,17,cleared\n"})
    old = after.visits["visit_id"].isin(before.visits["visit_id"])
    assert after.visits[old].reset_index(drop=True).equals(before.visits)
    assert after.ears[after.ears["visit_id"] != "V9"].reset_index(drop=True).equals(before.ears)


EARS = "Visit no,Patient no,Date,Time,Ear,Grade,Practitioner,Fee\n"
TWO_HANDS = EARS + (
    "V1,11,13/03/2026,09:00,L,full,Wren,60\nV1,11,13/03/2026,09:00,R,semi,Heron,60\n"
    "V2,12,13/03/2026,10:00,L,full,Wren,60\nV2,12,13/03/2026,10:00,R,semi,Wren,\n"
    "V3,13,13/03/2026,11:00,L,full,Wren,\nV3,13,13/03/2026,11:00,R,semi,Heron,70\n"
)


@pytest.mark.parametrize("engine", ["pandas", "polars"])
def test_ears_of_one_visit_that_name_different_hands_are_told_and_none_is_lost(take, engine):
    made = take({"a.csv": TWO_HANDS}, f'[export]\nengine = "{engine}"')
    assert (made.record["rows_kept"], len(made.ears)) == (6, 6)
    assert made.record["conflicts"] == {"practitioner": 2}
    (told,) = [message for message in made.record["to_mend"] if "same visit" in message]
    assert told.startswith(
        'a.csv, row 3, column "Practitioner": Two rows of the same visit differ here (2 times); the first time it is this row and a.csv row 2, whose word counts.'
    )
    assert "what the fullest of them says" in told
    assert made.visits.set_index("visit_id")["practitioner"].to_dict() == {"V1": "Wren", "V2": "Wren", "V3": "Heron"}


def test_ears_that_are_timed_apart_are_no_conflict(take):
    ears = "Visit no,Patient no,Date,Ear,Start,End,Grade,Practitioner\n" + "".join(
        f"V{n},{n},13/03/2026,L,09:{n}0,09:{n}5,full,Wren\nV{n},{n},13/03/2026,R,09:{n}5,09:{n}9,semi,Wren\n"
        for n in range(5)
    )
    assert take({"a.csv": ears}).record["conflicts"] == {}
