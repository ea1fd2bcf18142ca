"""What an export holds, before anything is kept."""

import tomllib

import pytest

from analysis.intake.open_questions import as_toml, open_questions
from analysis.intake.preview import preview
from analysis.intake.preview_text import preview_text
from analysis.problems import DataProblem
from analysis.settings import Settings, settings_from_toml

LOG = """Appt date;Patient no;Patient name;Mobile;Seen by;L wax;Nurse remark;Extra
02/03/2026;417;Orla Fennimore;07700 900123;Wren;FULL;seemed well and asked about a quieter way to do it next time;x
13/03/2026;418;Petra Quill;07700 900456;Wren;FULL;came with her sister who also wants to book in soon;y
14/03/2026;419;Idris Yarrow;07700 900789;Wren;wobbly;nothing of note was said by the patient today;x
31/02/2026;420;Ada Brook;07700 900111;Wren;occulded;;x
"""


@pytest.fixture
def seen(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(LOG, encoding="utf-8")
    return preview(path, Settings())


def test_each_column_is_shown_with_what_it_is_taken_for(seen):
    columns = {column.heading: column for column in seen.columns}
    assert columns["Appt date"].taken_for == "date"
    assert columns["L wax"].taken_for == "grade_left"
    assert columns["L wax"].examples == ("FULL", "occulded", "wobbly")
    assert (columns["Extra"].taken_for, columns["Extra"].examples) == ("", ("x", "y"))


def test_how_sure_tells_how_many_values_can_be_read(seen):
    columns = {column.heading: column.how_sure for column in seen.columns}
    assert columns["L wax"] == "sure; 2 of 3 different values understood"
    assert columns["Appt date"] == "sure; 3 of 4 different values understood"
    assert columns["Seen by"] == "sure"


def test_identifying_columns_are_masked_also_when_only_their_content_tells(seen):
    columns = {column.heading: column for column in seen.columns}
    for heading in ("Patient no", "Patient name", "Mobile", "Nurse remark"):
        assert columns[heading].identifying
        assert columns[heading].examples == ("(hidden)",)
    text = preview_text(seen)
    assert not [word for word in ("Orla", "Quill", "07700", "sister", "417") if word in text]


def test_each_word_is_shown_with_its_code_and_count(seen):
    words = {word.text: (word.code, word.count, word.certainty) for word in seen.words}
    assert words == {
        "FULL": ("fully_occluding", 2, "sure"),
        "occulded": ("fully_occluding", 1, "guessed"),
        "wobbly": ("?", 1, "unknown"),
    }


def test_what_cannot_be_read_is_shown(seen):
    assert seen.unreadable == (("Appt date", "31/02/2026", 1),)


def test_the_part_to_paste_is_toml_once_the_marks_are_off_and_settles_the_rest(seen, tmp_path):
    pasted = as_toml(open_questions([seen])).replace('# ? "', '"').replace('"wobbly" = ""', '"wobbly" = "clear"')
    pasted = pasted.replace('= "?"', '= "ignore"')
    settings = settings_from_toml(pasted)
    assert tomllib.loads(pasted)["columns"]["Extra"] == "ignore"
    again = preview(tmp_path / "log.csv", settings)
    assert again.unknown_words == ()
    assert "Extra" not in [column.heading for column in again.unknown_columns]


def test_where_all_is_understood_it_says_so(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("Date,Patient no,L wax\n2026-03-02,1,full\n", encoding="utf-8")
    assert "All headings and words are understood." in preview_text(preview(path, Settings()))


def test_the_day_and_month_order_is_shown_when_it_is_in_doubt(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("Date,Patient no,L wax\n02/03/2026,1,full\n", encoding="utf-8")
    assert "day and month could be swapped in every date" in preview_text(preview(path, Settings()))
    path.write_text("Date,Patient no,L wax\n02/03/2026,1,full\n03/25/2026,1,full\n", encoding="utf-8")
    assert "can only be read the other way" in preview_text(preview(path, Settings()))


def test_a_file_that_is_no_table_is_refused(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("hello\n", encoding="utf-8")
    with pytest.raises(DataProblem, match=r"log\.csv: This is no table"):
        preview(path, Settings())


def test_what_an_export_before_showed_is_not_shown_again(tmp_path):
    (tmp_path / "march.csv").write_text(
        "Date,Patient no,L wax\n13/03/2026,1,full\n14/03/2026,2,wobbly\n", encoding="utf-8"
    )
    (tmp_path / "april.csv").write_text(
        "Date,Patient no,L wax\n13/04/2026,1,full\n14/04/2026,2,gunky\n", encoding="utf-8"
    )
    march, april = (preview(tmp_path / name, Settings()) for name in ("march.csv", "april.csv"))
    shown = preview_text(april, [march])
    assert "The columns are those of march.csv; these words did not stand there:" in shown
    assert '"gunky"' in shown
    assert "L wax ->" not in shown
    assert '"full"' not in shown
    assert "The columns and words are those of march.csv." in preview_text(march, [march])
    assert "L wax -> grade_left" in preview_text(april)


def test_a_date_from_before_any_log_under_a_strange_heading_is_not_shown(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("Date,Left wax,Naissance,Zulassung\n02/03/2026,full,04/05/1948,03/02/2026\n", encoding="utf-8")
    shown = preview_text(preview(path, Settings()))
    assert "1948" not in shown
    assert "03/02/2026" in shown
