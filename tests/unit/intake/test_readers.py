"""Any export as a table of text, and what is refused."""

import datetime as dt
import io

import pandas as pd
import pytest
import xlsxwriter

from analysis.intake.headers import known_columns_of
from analysis.intake.readers import read_export
from analysis.problems import DataProblem

TABLE = "Date,Patient no,Wax L\n2026-03-02,11,full\n2026-03-03,12,Zoë's\n"


def recognise(row):
    """Count the known headings of a row, and look for a date among them."""
    columns = known_columns_of(row, {})
    return len(columns), "date" in columns


@pytest.fixture
def read(tmp_path):
    def reading(content, name="visits.csv", **options):
        path = tmp_path / name
        path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        return read_export(path, recognise, **options)

    return reading


def workbook(sheets):
    """Write sheets (name to rows) as an XLSX."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True, "default_date_format": "dd/mm/yyyy hh:mm"})
    clock = book.add_format({"num_format": "hh:mm"})
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for number, row in enumerate(rows):
            for place, cell in enumerate(row):
                if isinstance(cell, dt.time):
                    sheet.write_datetime(number, place, cell, clock)
                elif isinstance(cell, dt.datetime):
                    sheet.write_datetime(number, place, cell)
                elif cell != "":
                    sheet.write(number, place, cell)
    book.close()
    return buffer.getvalue()


LOG = [["Date", "Patient no", "Wax L"], [dt.datetime(2026, 3, 2), 11, "full"]]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_any_encoding_and_delimiter_gives_the_same_cells(read, encoding, delimiter):
    table = read(TABLE.replace(",", delimiter).encode(encoding))
    assert table.headings == ("Date", "Patient no", "Wax L")
    assert table.rows == [["2026-03-02", "11", "full"], ["2026-03-03", "12", "Zoë's"]]
    assert table.source_rows == [2, 3]


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_any_line_ending(read, ending):
    assert len(read(TABLE.replace("\n", ending).encode()).rows) == 2


def test_decimal_commas_do_not_pass_for_delimiters(read):
    table = read("Date;Fee;Wax L\n2026-03-02;45,50;full\n2026-03-03;12,00;full\n")
    assert (table.facts["delimiter"], table.rows[0][1]) == ("semicolon", "45,50")


def test_a_line_that_names_the_delimiter_is_not_a_row(read):
    assert read("sep=;\n" + TABLE.replace(",", ";")).source_rows == [2, 3]


def test_rows_are_counted_as_a_spreadsheet_does(read):
    table = read('Log of March,,\n\nDate,Notes,Wax L\n2026-03-02,"two\nlines",full\n\n2026-03-03,,full\n')
    assert (table.facts["heading_row"], table.source_rows, table.facts["blank_rows"]) == (3, [4, 6], 1)


def test_two_headings_of_one_name_and_one_without_a_name_are_kept_apart(read):
    assert read("Date,Wax,Wax,\n2026-03-02,a,b,c\n2026-03-03,a,b,c\n").headings == ("Date", "Wax", "Wax")


def test_typed_cells_of_a_workbook_become_plain_text(read):
    rows = [["Date", "Time", "Patient no", "Fee", "Aid"], [dt.datetime(2026, 3, 2), dt.time(9, 5), 417, 45.5, True]]
    table = read(workbook({"Visits": rows}), "visits.xlsx")
    assert table.rows == [["2026-03-02", "09:05:00", "417", "45.5", "TRUE"]]


def test_of_two_sheets_the_one_that_is_a_log_is_read(read):
    table = read(workbook({"Key": [["Code", "Meaning"], ["F", "full"]], "March": LOG}), "visits.xlsx")
    assert (table.facts["sheet"], table.facts["sheets"], table.warnings) == ("March", ["Key", "March"], [])


def test_a_second_sheet_that_is_another_log_is_not_passed_over_in_silence(read):
    diary = [["Day", "Client", "Staff", "Fee"], [dt.datetime(2026, 3, 2), 11, "Wren", 40]]
    table = read(workbook({"March": LOG, "Diary": diary}), "visits.xlsx")
    assert table.facts["sheet"] == "March"
    assert table.warnings == [
        'visits.xlsx: Only the sheet "March" was read; "Diary" would be a log too, with other headings. '
        "Save each sheet as a file of its own, or name the one that counts in [export] sheet."
    ]


def test_the_sheet_that_the_settings_name_is_read_without_a_warning(read):
    table = read(workbook({"March": LOG, "April": LOG}), "visits.xlsx", sheet="april")
    assert (table.facts["sheet"], table.warnings) == ("April", [])


def test_a_sheet_that_is_not_there_is_named_with_those_that_are(read):
    with pytest.raises(DataProblem, match=r'There is no sheet "May". Its sheets are: March, April'):
        read(workbook({"March": LOG, "April": LOG}), "visits.xlsx", sheet="May")


def test_a_workbook_without_a_log_names_its_sheets(read):
    with pytest.raises(DataProblem, match=r"None of the sheets \(Key, Staff\)"):
        read(workbook({"Key": [["Code", "Meaning"], ["F", "full"]], "Staff": [["A", "B"], ["c", "d"]]}), "visits.xlsx")


def test_a_stray_cell_far_out_is_refused_before_memory_is(read):
    far = workbook({"March": LOG})
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True})
    book.add_worksheet("March").write(1_000_000, 1500, "x")
    book.close()
    assert far
    with pytest.raises(DataProblem, match=r"reaches to row 1,000,001"):
        read(buffer.getvalue(), "visits.xlsx")


def test_parquet_is_read_as_text(read):
    buffer = io.BytesIO()
    frame = pd.DataFrame(
        {"Date": pd.to_datetime(["2026-03-02 09:05"]), "Patient no": [417], "Wax L": ["none"], "Aid": [None]}
    )
    frame.to_parquet(buffer)
    table = read(buffer.getvalue(), "visits.parquet")
    assert table.rows == [["2026-03-02 09:05:00", "417", "none", ""]]


def test_a_workbook_that_calls_itself_csv_is_read_as_what_it_is(read):
    assert read(workbook({"March": LOG}), "visits.csv").facts["kind"] == "xlsx"


@pytest.mark.parametrize(
    ("content", "name", "says"),
    [
        (b"", "visits.csv", "The file is empty"),
        (b"Dear all, thank you for the file.\nBest wishes\n", "visits.csv", "This is no table"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(32)) * 20, "visits.csv", "This is no text file"),
        (b"Date,Patient no\n", "visits.csv", "There are headings but no rows"),
        (b"just words\nand more\n", "visits.csv", "This is no table"),
        (b"PK\x03\x04 broken", "visits.xlsx", "The workbook cannot be read"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600, "visits.xlsx", "protected by a password"),
        (b"Date,Wax\n2026-03-02,full\n", "visits.xlsx", "This is no xlsx file"),
        (b"PAR1 broken", "visits.parquet", "The Parquet file cannot be read"),
        (b"\xff\xfeD\x00a\x00\x00\xd8", "visits.csv", "The file says it is UTF-16"),
    ],
)
def test_what_is_no_table_is_refused_with_the_files_name(read, content, name, says):
    with pytest.raises(DataProblem, match=says) as refused:
        read(content, name)
    assert refused.value.file == name
    assert refused.value.remedy


def test_a_parquet_whose_texts_are_no_text_is_refused(read):
    buffer = io.BytesIO()
    pd.DataFrame({"Date": ["2026-03-02"], "Wax L": ["MARKED"]}).to_parquet(buffer, compression=None)
    with pytest.raises(DataProblem, match="The Parquet file cannot be read"):
        read(buffer.getvalue().replace(b"MARKED", b"\x80ARKED"), "visits.parquet")


def test_a_workbook_packed_in_a_way_nobody_knows_is_refused(read):
    content = workbook({"March": LOG})
    directory = content.index(b"PK\x01\x02")
    with pytest.raises(DataProblem, match="The workbook cannot be read"):
        read(content[: directory + 6] + b"\x40" + content[directory + 7 :], "visits.xlsx")


def test_a_quotation_mark_that_is_never_closed_is_named_with_its_row(read):
    rows = "".join(f"2026-03-{day:02d},11,full,x,y\n" for day in range(3, 9))
    with pytest.raises(DataProblem, match=r"visits.csv, row 2: A quotation mark") as refused:
        read('Date,Patient no,Wax L,a,b\n2026-03-02,11,"full,x,y\n' + rows)
    assert refused.value.row == 2


def test_a_folder_or_a_missing_file_is_no_export(tmp_path):
    with pytest.raises(DataProblem, match="There is no such file"):
        read_export(tmp_path / "gone.csv", recognise)


def test_an_export_is_never_changed(read, tmp_path):
    read(TABLE)
    assert (tmp_path / "visits.csv").read_text(encoding="utf-8") == TABLE


def test_a_title_above_headings_on_the_way_down_is_no_row(take):
    system = "Visit no,Date,Patient no,{} wax\nV{},13/03/2026,{},full\n"
    text = f"Log of the clinic\n\n{system.format('L', 1, 1)}Total,,1\nLog of the clinic\n\n{system.format('R', 2, 2)}"
    made = take({"a.csv": text})
    assert made.record["set_aside_by_reason"] == {"a line of totals": 1}
    assert (made.record["rows_in"], made.record["rows_kept"]) == (3, 2)
    assert made.record["files"][0]["titles_again"] == 1


def test_a_line_of_one_cell_among_rows_is_still_counted(take):
    made = take({"a.csv": "Visit no,Date,Patient no,L wax\nV1,13/03/2026,1,full\n,,,full\nV2,14/03/2026,2,full\n"})
    assert (made.record["rows_in"], made.record["rows_set_aside"]) == (3, 1)
