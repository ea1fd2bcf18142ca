"""What was assumed of exports is said: sheets left out, numbers given twice, times that are not the clinic's."""

import io

import pytest
import xlsxwriter

HEAD = "Visit no,Patient no,Date,Time,L wax\n"
UNIVERSAL = "Visit no,Patient no,Start,L wax\nV1,1,2026-07-01T08:30:00Z,full\nV2,2,2026-12-01T09:30:00{},semi\n"


def workbook(sheets):
    """Write sheets of rows as the bytes of a workbook."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True})
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for number, row in enumerate(rows):
            sheet.write_row(number, 0, row)
    book.close()
    return buffer.getvalue()


def test_sheets_that_are_no_log_are_named_once(take):
    log = [["Date", "Patient no", "L wax"], ["13/03/2026", "1", "full"]]
    other = [["Date", "Patient no", "L wax"], ["14/04/2026", "1", "semi"]]
    made = take({"a.xlsx": workbook({"March": log, "April": other, "Stock": [["Tips", "200"]], "Rota": [["x"]]})})
    assert [note for note in made.record["notes"] if "not read" in note] == [
        "a.xlsx: these sheets were not read: Stock, Rota."
    ]
    assert made.record["rows_kept"] == 2


def test_a_visit_number_given_to_two_patients_is_two_visits_and_told(take):
    made = take(
        {"a.csv": HEAD + "V9,18,13/03/2026,11:40,full\nV9,19,13/03/2026,11:40,full\nV10,20,13/03/2026,12:00,full\n"}
    )
    assert made.visits["visit_id"].str.startswith("V9-").sum() == 2
    assert (
        "1 visit number stands for several visits, of other patients, days or systems; they were told apart."
        in made.record["notes"]
    )


@pytest.mark.parametrize(
    ("offset", "zone", "told"), [("Z", "", 1), ("+01:00", "", 0), ("Z", "Europe/London", 0), ("", "", 1)]
)
def test_universal_time_is_asked_about_unless_a_time_zone_is_set(take, offset, zone, told):
    record = take({"a.csv": UNIVERSAL.format(offset)}, f'[export]\ntime_zone = "{zone}"').record
    assert sum("universal time (Z)" in problem for problem in record["problems"]) == told
