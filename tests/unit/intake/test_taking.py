"""Exports to visits and ears: nothing lost, one clear message for each kind of bad input."""

import json

import pandas as pd
import pytest

from analysis.intake import take_in
from analysis.problems import DataProblem
from analysis.schema import EAR_ROWS, SET_ASIDE, VISITS, pandas_dtype
from analysis.settings import Settings, settings_from_toml

GOOD = """Visit no,Date,Time,Slot (min),Start,End,Patient no,Name,DOB,Mobile,Email,Seen by,Status,Type,L wax,R wax,L method,L outcome,Softener,Notes,Tray
V1,02/03/2026,09:00,20,09:02,09:20,00417,Orla Fennimore,04/05/1948,07700 900123,orla@example.org,Wren,Attended,New,full,clear,suction then hook,cleared,olive oil 5/7,Mrs Fennimore rang twice,A
V2,13/03/2026,09:20,20,,,502,Petra Quill,19/11/1971,07700 900456,petra@example.org,wren ,DNA,Recall,none,none,,,,,A
V3,31/02/2026,09:40,20,09:41,09:55,688,Idris Yarrow,07/01/2011,07700 900789,idris@example.org,Wren,Attended,Recall,semi,semi,suction,cleared,none,,B
V4,14/03/2026,10:00,20,10:01,25:10,777,Ada Brook,01/01/1960,07700 900111,ada@example.org,Wren,Attendd,Recall,wobbly for Ada,semi,suction,cleared,none,,B
V5,15/03/2026,10:20,20,10:21,10:30,999,ZZ Test,01/01/1900,,,Wren,Attended,New,full,full,suction,cleared,none,,B
"""
IDENTIFYING = (
    "Orla",
    "Fennimore",
    "Petra",
    "Quill",
    "Idris",
    "Yarrow",
    "Brook",
    "417",
    "0502",
    "07700",
    "900",
    "example.org",
    "1948",
    "rang",
)


@pytest.fixture(scope="module")
def taken(tmp_path_factory):
    path = tmp_path_factory.mktemp("exports") / "spring.csv"
    path.write_text(GOOD, encoding="utf-8")
    return take_in([path], Settings(), b"k" * 32)


def test_the_tables_have_the_suites_columns_and_types(taken):
    for table, frame in ((VISITS, taken.visits), (EAR_ROWS, taken.ears), (SET_ASIDE, taken.set_aside)):
        assert list(frame.columns) == table.names
        assert [str(frame[column.name].dtype) for column in table.columns] == [
            str(pd.Series(dtype=pandas_dtype(column)).dtype) for column in table.columns
        ]


def test_rows_in_are_rows_kept_and_rows_set_aside(taken):
    record = taken.record
    assert (record["rows_in"], record["rows_kept"], record["rows_set_aside"]) == (5, 3, 2)
    assert len(taken.set_aside) == record["rows_set_aside"]
    assert record["set_aside_by_reason"] == {"impossible date": 1, "test patient": 1}


def test_a_row_set_aside_says_where_why_and_what_to_do(taken):
    impossible, test = taken.set_aside.to_dict("records")
    assert (impossible["source_file"], impossible["source_row"], impossible["column"], impossible["value"]) == (
        "spring.csv",
        4,
        "Date",
        "31/02/2026",
    )
    assert "day_first" in impossible["remedy"]
    assert (test["reason"], test["value"]) == ("test patient", "(hidden)")


def test_nothing_identifying_is_in_any_output(taken):
    everything = "".join(
        [
            *(frame.to_csv(date_format="%d %b") for frame in (taken.visits, taken.ears, taken.set_aside)),
            json.dumps(taken.record),
        ]
    )
    assert [word for word in IDENTIFYING if word in everything] == []
    assert taken.record["files"][0]["headings"]["identifying"] == [
        "Patient no",
        "Name",
        "DOB",
        "Mobile",
        "Email",
        "Notes",
    ]


def test_an_unknown_word_empties_the_fact_and_is_asked_about_with_its_names_masked(taken):
    assert taken.ears.set_index(["visit_id", "ear"])["grade"].isna()["V4", "left"]
    unknown = taken.record["words"]["grade"]["unknown"]
    assert {text: (entry["count"], entry["file"], entry["row"]) for text, entry in unknown.items()} == {
        "wobbly for ***": (1, "spring.csv", 5)
    }
    assert any(
        message.startswith('spring.csv, row 5, column "L wax", value "wobbly for ***": This word is not known.')
        and "[words.grade]" in message
        for message in taken.record["to_mend"]
    )


def test_a_guess_is_counted(taken):
    assert taken.record["words"]["attendance"]["guessed"] == {"Attendd": {"count": 1, "code": "attended"}}


def test_an_unreadable_time_costs_only_the_time(taken):
    visit = taken.visits.set_index("visit_id").loc["V4"]
    assert pd.isna(visit["ended_at"])
    assert visit["minutes_quality"] == "missing"
    assert taken.record["unreadable"]["ended_at"]["25:10"]["row"] == 5


def test_a_booking_that_was_missed_has_no_minutes_and_no_ears_from_defaults(taken):
    visit = taken.visits.set_index("visit_id").loc["V2"]
    assert visit["attendance"] == "missed"
    assert pd.isna(visit["minutes"])
    assert pd.isna(visit["minutes_quality"])
    assert "V2" not in set(taken.ears["visit_id"])
    assert taken.record["contradictions"] == {"not attended, yet facts of ears": 1}


def test_names_of_practitioners_that_differ_only_in_case_are_one(taken):
    assert set(taken.visits["practitioner"]) == {"Wren"}


def test_the_record_tells_of_the_file(taken):
    file = taken.record["files"][0]
    assert (file["encoding"], file["delimiter"], file["shape"], file["patients_told_apart_by"]) == (
        "UTF-8",
        "comma",
        "one row a visit",
        "patient number",
    )
    assert file["day_month_order"] == "certain"
    assert list(file["headings"]["unknown"]) == ["Tray"]
    assert (taken.record["first_day"], taken.record["last_day"]) == ("2026-03-02", "2026-03-14")
    assert "site" in taken.record["missing_facts"]
    assert json.loads(json.dumps(taken.record)) == taken.record


def test_the_order_of_files_does_not_matter_and_each_run_gives_the_same(tmp_path):
    one, two = tmp_path / "a.csv", tmp_path / "b.csv"
    one.write_text("Date,Time,Patient no,L wax\n02/03/2026,09:00,1,full\n03/03/2026,09:00,2,semi\n", encoding="utf-8")
    two.write_text("Date,Time,Patient no,L wax\n03/03/2026,09:00,2,semi\n14/03/2026,09:00,3,clear\n", encoding="utf-8")
    first, second = (take_in(order, Settings(), b"k") for order in ([one, two], [two, one]))
    for table in ("visits", "ears", "set_aside"):
        pd.testing.assert_frame_equal(getattr(first, table), getattr(second, table))
    assert first.record == second.record
    assert first.set_aside["value"].tolist() == ["kept: a.csv row 3"]


def test_a_bad_file_among_good_ones_is_reported_and_the_others_are_kept(take):
    taken = take({"bad.csv": "", "good.csv": "Date,Patient no,L wax\n02/03/2026,1,full\n"})
    assert len(taken.visits) == 1
    assert taken.record["problems"] == ["bad.csv: The file is empty. Export it again, or take it out of the folder."]


def test_where_no_file_can_be_used_all_are_named(take):
    with pytest.raises(
        DataProblem, match=r"None of the exports can be used. a.csv: The file is empty.*b.csv: This is no table"
    ):
        take({"a.csv": "", "b.csv": "words\n"})


def test_a_log_without_any_date_is_refused_and_the_unknown_headings_are_named(take):
    with pytest.raises(
        DataProblem,
        match=r'x.csv: No column holds the date of the visit\..*"Your heading" = "date".*Not understood: "Whenabouts"',
    ):
        take({"x.csv": "Whenabouts,Patient no,L wax\n02/03/2026,1,full\n"})


def test_a_table_without_headings_shows_nothing_of_its_first_row(take):
    with pytest.raises(DataProblem, match="The headings are not understood") as refused:
        take({"x.csv": "02/03/2026,Orla Fennimore,full\n03/03/2026,Petra Quill,semi\n"})
    assert "Orla" not in str(refused.value)


def test_a_misspelt_setting_is_refused_before_anything_is_read(tmp_path):
    with pytest.raises(DataProblem, match='Did you mean "grade_left"'):
        take_in([tmp_path / "gone.csv"], settings_from_toml('[columns]\n"L" = "grad_left"'), b"k")


def test_two_files_of_one_name_are_refused(tmp_path):
    with pytest.raises(DataProblem, match="Two files have the same name"):
        take_in([tmp_path / "a" / "x.csv", tmp_path / "b" / "x.csv"], Settings(), b"k")


LACKING = {
    "no grades": "Date,Time,Patient no,Start,End,Status\n02/03/2026,09:00,1,09:00,09:20,Attended\n",
    "no ends": "Date,Time,Patient no,Status,L wax\n02/03/2026,09:00,1,Attended,full\n",
    "no patients": "Date,Time,Status,L wax\n02/03/2026,09:00,Attended,full\n",
    "one ear column": "Date,Patient no,Wax\n02/03/2026,1,full\n",
    "no attendance": "Date,Patient no,L wax\n02/03/2026,1,full\n03/03/2026,2,\n",
    "dates alone": "Date,Patient no\n02/03/2026,1\n",
}


@pytest.mark.parametrize("lacking", LACKING)
def test_a_log_that_lacks_facts_still_goes_through(take, lacking):
    taken = take({"x.csv": LACKING[lacking]})
    assert len(taken.visits) == taken.record["rows_in"]
    attendance = taken.visits["attendance"].astype("object").where(taken.visits["attendance"].notna(), None).tolist()
    assert attendance == (["attended", None] if lacking == "no attendance" else ["attended"])
    if lacking == "no patients":
        assert taken.visits["patient_key"].isna().all()
        assert "x.csv: nothing tells patients apart, so returns cannot be followed." in taken.record["notes"]
    if lacking == "one ear column":
        assert taken.ears["ear"].isna().all()
        assert taken.ears["grade"].tolist() == ["fully_occluding"]
    assert taken.visits["booking_kind"].isna().all()  # a first row in the log is not a first visit


def test_patients_keep_their_pseudonym_across_files_and_years(take):
    taken = take({
        "2025.csv": "Date,Patient no,L wax\n02/03/2025,00417,full\n",
        "2026.csv": "Visit date;Client ID;Left grade;Room\n2026-03-02;417;semi;A\n",
    })  # fmt: skip
    assert len(set(taken.visits["patient_key"])) == 1


def test_free_text_in_place_of_a_practitioner_is_not_kept(take):
    rows = "".join(f"02/03/2026,{9 + n // 6:02d}:{n % 6}0,{n},Person Number{chr(97 + n)},full\n" for n in range(12))
    taken = take({"x.csv": "Date,Time,Patient no,Seen by,L wax\n" + rows})
    assert taken.visits["practitioner"].isna().all()
    assert list(taken.record["files"][0]["headings"]["looked_identifying"]) == ["Seen by"]


def test_one_visit_in_the_exports_of_two_systems_is_one(take):
    taken = take({
        "old.csv": "Visit no,Date,Time,Patient no,Status,L wax,R wax\nV1,02/03/2026,09:00,7,Attended,full,semi\n",
        "new.csv": "Booking ID,Date,Time,Client no,Status,Side,Grade,Method,Result\n"
        "77,02/03/2026,09:00,7,Attended,L,full,suction,cleared\n77,02/03/2026,09:00,7,Attended,R,semi,hook,cleared\n",
    })  # fmt: skip
    assert taken.visits["visit_id"].tolist() == ["77"]
    assert taken.ears["methods"].tolist() == ["wide_suction", "hook_or_loop"]
    assert taken.record["set_aside_by_reason"] == {"the same visit in another system's export": 1}
    assert taken.set_aside["value"].str.startswith("kept: new.csv row ").all()


def test_two_systems_that_both_count_from_one_keep_their_visits_apart(take):
    taken = take({
        "old.csv": "Visit no,Date,Patient no,L wax\n1,02/03/2025,7,full\n",
        "new.csv": "Booking ID,Date,Client no,Side,Grade\n1,02/03/2026,8,L,full\n",
    })  # fmt: skip
    assert taken.visits["visit_id"].is_unique
    assert len(taken.visits) == 2
    assert all(name.startswith("1-") for name in taken.visits["visit_id"])


def test_two_patients_alike_without_number_name_or_time_are_both_kept(take):
    taken = take({"x.csv": "Date,L wax,Site\n02/03/2026,full,A\n02/03/2026,full,A\n"})
    assert len(taken.visits) == 2


def test_where_the_log_times_each_ear_the_minutes_are_the_ears(take):
    rows = "B{n},0{n}/03/2026,{n},Wren,Attended,L,full,{left}\nB{n},0{n}/03/2026,{n},Wren,Attended,R,full,{right}\n"
    log = "Booking ID,Date,Client no,Clinician,Status,Side,Grade,Minutes\n" + "".join(
        rows.format(n=n, left=5 + n, right=9) for n in range(1, 4)
    )
    taken = take({"x.csv": log})
    assert taken.ears["minutes"].tolist() == [6, 9, 7, 9, 8, 9]
    assert taken.visits["minutes"].isna().all()


def test_what_is_said_without_naming_an_ear_goes_to_the_ears_worked_on(take):
    log = "Visit no,Date,Patient no,L wax,R wax,Method,Outcome\nV1,02/03/2026,1,full,clear,suction,cleared\nV2,13/03/2026,2,full,semi,hook,cleared\n"
    ears = take({"x.csv": log}).ears
    methods = dict(zip(zip(ears["visit_id"], ears["ear"], strict=True), ears["methods"].fillna("-"), strict=True))
    assert methods == {
        ("V1", "left"): "wide_suction",
        ("V1", "right"): "-",
        ("V2", "left"): "hook_or_loop",
        ("V2", "right"): "hook_or_loop",
    }


def test_progress_names_the_files_and_steps(tmp_path):
    path = tmp_path / "x.csv"
    path.write_text("Date,Patient no\n02/03/2026,1\n", encoding="utf-8")
    steps = []
    take_in([path], Settings(), b"k", progress=steps.append)
    assert steps == ["reading x.csv", "cleaning and finding repeats", "making visits and ears"]
