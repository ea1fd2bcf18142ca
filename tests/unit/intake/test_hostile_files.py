"""Files made to do harm, by mistake or on purpose: refused in words or read safely, within stated time and memory."""

import io
import os
import struct
import subprocess
import sys
import time
import zipfile

import pandas as pd
import pytest

from analysis.clinic import open_clinic
from analysis.intake import file_checks, limits
from analysis.intake.readers import read_tables
from analysis.intake.store import intake_folder
from analysis.problems import DataProblem

HEAD = "Date,Time,Patient no,Status,L wax\n"
LOG = HEAD + "02/03/2026,09:00,1,Attended,full\n13/03/2026,09:00,2,Attended,semi\n"
TYPES = (
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/></Types>'
)
RELATIONS = '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/{}" Target="{}"/></Relationships>'
BOOK = (
    '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
    'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">'
    '<sheets><sheet name="Log" sheetId="1" r:id="rId1"/></sheets></workbook>'
)
SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}</sheetData></worksheet>'
)
posix = pytest.mark.skipif(os.name == "nt", reason="Windows allows no such names or limits")


def recognise(row):
    known = sum(cell.casefold() in ("date", "time", "patient no", "status", "l wax") for cell in row)
    return known, "date" in [cell.casefold() for cell in row]


def read(path):
    return read_tables(path, recognise)


def cell(place, text, formula=""):
    if formula:
        return f'<c r="{place}" t="str"><f>{formula}</f><v>{text}</v></c>'
    return f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'


def workbook(path, rows, extra=()):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("[Content_Types].xml", TYPES)
        packed.writestr("_rels/.rels", RELATIONS.format("officeDocument", "xl/workbook.xml"))
        packed.writestr("xl/workbook.xml", BOOK)
        packed.writestr("xl/_rels/workbook.xml.rels", RELATIONS.format("worksheet", "worksheets/sheet1.xml"))
        packed.writestr("xl/worksheets/sheet1.xml", SHEET.format(rows))
        for name, content in extra:
            packed.writestr(name, content)
    return path


def head_row(n=1):
    names = ("Date", "Time", "Patient no", "Status", "L wax")
    return f'<row r="{n}">' + "".join(cell(f"{'ABCDE'[at]}{n}", name) for at, name in enumerate(names)) + "</row>"


def refused(path, words):
    with pytest.raises(DataProblem, match=words) as problem:
        read(path)
    assert str(problem.value).isprintable()
    return str(problem.value)


# -- CSV ---------------------------------------------------------------------------------------------------------


@posix
@pytest.mark.parametrize("start", [HEAD, ""])
def test_a_line_of_1_gb_is_refused_in_a_second_and_a_little_memory(tmp_path, start):
    """The file is sparse: it takes no room on the disk, and reads as 1 GB of zeros in one line."""
    path = tmp_path / "log.csv"
    path.write_text(start, encoding="utf-8")
    os.truncate(path, 1024**3)
    code = (
        "import resource, sys, time; from pathlib import Path; from analysis.intake.file_checks import checked_bytes\n"
        "from analysis.problems import DataProblem\n"
        "before, start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.perf_counter()\n"
        "try: checked_bytes(Path(sys.argv[1]))\n"
        "except DataProblem as problem: print(problem.what)\n"
        "grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before\n"
        "print(grown < 50_000, time.perf_counter() - start < 1)"
    )
    told = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    assert told.stdout.splitlines() == ["A line is longer than 4 MB.", "True True"]


def test_a_long_line_at_the_end_or_between_ends_of_old_macs_is_refused_and_a_shorter_is_not(tmp_path):
    long = "x" * (limits.LONGEST_LINE_BYTES + 1)
    path = tmp_path / "log.csv"
    path.write_text(LOG + long, encoding="utf-8")
    refused(path, "A line is longer than 4 MB")
    path.write_text(LOG.replace("\n", "\r") + long + "\r", encoding="utf-8", newline="")
    refused(path, "A line is longer than 4 MB")
    path.write_text(LOG + "14/03/2026,09:00,3,Attended,clear" + "," * 9000 + "\n", encoding="utf-8")
    assert len(read(path)[0].rows) == 3


def test_a_huge_cell_is_refused_and_a_long_one_read(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(LOG + "14/03/2026,09:00,3,Attended," + "x" * 1_000_001 + "\n", encoding="utf-8")
    refused(path, "cannot be cut into cells")
    path.write_text(LOG + "14/03/2026,09:00,3,Attended," + "x" * 50_000 + "\n", encoding="utf-8")
    assert len(read(path)[0].rows[2][4]) == 50_000


@pytest.mark.parametrize("place", ["headings", "rows"])
def test_100_000_columns_are_refused_quickly(tmp_path, place):
    path = tmp_path / "log.csv"
    wide = ",".join(["Date", "L wax", *(f"c{number}" for number in range(100_000))])
    path.write_text((wide + "\n" + LOG) if place == "headings" else (LOG + "x," * 100_000 + "\n"), encoding="utf-8")
    start = time.perf_counter()
    refused(path, r"The row has 100,00\d cells")
    assert time.perf_counter() - start < 5


def test_3_000_headings_are_refused(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(",".join(["Date", "L wax", *(f"c{n}" for n in range(3000))]) + "\n1,2\n", encoding="utf-8")
    refused(path, "more than 2000 columns")


def test_more_cells_than_the_limit_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("analysis.intake.csv_text.MOST_CELLS", 12)
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    refused(tmp_path / "log.csv", "more than 12 cells")


@pytest.mark.parametrize(
    "content",
    [
        LOG.replace("Attended", "Att\0ended").encode(),
        b"\xef\xbb\xbf" + LOG.encode(),
        LOG.encode("utf-16"),
        LOG.replace("full", "full - Zoë").encode("cp1252"),
        (LOG + "14/03/2026,09:00,3,Attended,").encode() + "Zoë".encode() + b" \xeb\xff\n",
    ],
)
def test_nul_bytes_marks_and_mixed_encodings_lose_no_row(tmp_path, content):
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    (table,) = read(path)
    assert len(table.rows) >= 2
    assert table.headings[0] == "Date"
    assert "\0" not in str(table.rows)


def test_nothing_but_nul_bytes_is_no_text(tmp_path):
    (tmp_path / "log.csv").write_bytes(b"\0" * 5000)
    refused(tmp_path / "log.csv", "This is no text file")


def test_formulas_stay_text_and_no_output_is_a_spreadsheet(tmp_path):
    (tmp_path / "exports").mkdir()
    log = LOG.replace("full", '"=HYPERLINK(""http://x"",""full"")"').replace("02/03/2026", "=cmd|' /C calc'!A0")
    (tmp_path / "exports" / "log.csv").write_text(log, encoding="utf-8")
    intake_folder(tmp_path)
    clinic = open_clinic(tmp_path)
    assert clinic.record["rows_in"] == 2
    assert (len(clinic.visits), len(clinic.set_aside)) == (1, 1)
    assert {path.suffix for path in (tmp_path / "store").rglob("*") if path.is_file()} == {".parquet", ".json"}


# -- workbooks ---------------------------------------------------------------------------------------------------


def test_a_formula_gives_the_value_it_was_saved_with(tmp_path):
    row = (
        '<row r="2">'
        + cell("A2", "02/03/2026")
        + cell("E2", "full", "CONCAT(&quot;fu&quot;,&quot;ll&quot;)")
        + "</row>"
    )
    (table,) = read(workbook(tmp_path / "log.xlsx", head_row() + row))
    assert table.rows == [["02/03/2026", "", "", "", "full"]]


@pytest.mark.parametrize("place", ["XFD1048576", "ZZ1048576", "BXY7", "E99999999"])
def test_a_cell_far_out_is_refused_before_the_reader_makes_room_up_to_it(tmp_path, place):
    """The workbook reader would ask for up to 550 GB, and take the whole program with it."""
    number = "".join(filter(str.isdigit, place))
    path = workbook(tmp_path / "log.xlsx", head_row() + f'<row r="{number}">{cell(place, "x")}</row>')
    refused(path, "A sheet of the workbook reaches to row")


def test_a_workbook_that_says_it_is_huge_is_refused(tmp_path):
    path = workbook(
        tmp_path / "log.xlsx", head_row(), [("xl/media/zeros.bin", b"\0" * (limits.JUDGE_PACKING_FROM_BYTES + 1))]
    )
    start = time.perf_counter()
    refused(path, "unpacks to far more than a log holds")
    assert time.perf_counter() - start < 5


def test_a_workbook_that_lies_about_its_size_is_refused_while_it_is_unpacked(tmp_path):
    """The list of parts says 10 bytes; 60 MB come out."""
    path = workbook(tmp_path / "log.xlsx", head_row(), [("xl/media/zeros.bin", b"\0" * (60 * 1024**2))])
    data = bytearray(path.read_bytes())
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as packed:
        part = packed.getinfo("xl/media/zeros.bin")
    size = struct.pack("<I", part.file_size)
    assert data.count(size) >= 2
    path.write_bytes(bytes(data).replace(size, struct.pack("<I", 10)))
    refused(path, "unpacks to far more than a log holds")


def test_a_workbook_of_too_many_parts_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("analysis.intake.workbook_bombs.MOST_PARTS", 6)
    path = workbook(tmp_path / "log.xlsx", head_row(), [(f"xl/{n}.xml", "<a/>") for n in range(3)])
    refused(path, "unpacks to far more than a log holds")


def test_a_zip_that_is_no_workbook_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "log.xlsx", "w") as packed:
        packed.writestr("content.xml", "<a/>")
    refused(tmp_path / "log.xlsx", "The workbook cannot be read")


@pytest.mark.parametrize("cut", [40, 400, 900])
def test_a_workbook_cut_short_is_refused(tmp_path, cut):
    path = workbook(tmp_path / "log.xlsx", head_row())
    path.write_bytes(path.read_bytes()[:cut])
    refused(path, "The workbook cannot be read")


def test_an_entity_that_doubles_itself_is_refused_unfolded_by_nobody(tmp_path):
    laughs = '<!DOCTYPE a [<!ENTITY a "ha">' + "".join(
        f'<!ENTITY {name} "{f"&{before};" * 10}">' for before, name in zip("abcdefghi", "bcdefghij", strict=True)
    )
    path = workbook(
        tmp_path / "log.xlsx", head_row() + '<row r="2">' + cell("A2", "02/03/2026") + cell("E2", "&amp;j;") + "</row>"
    )
    data = {}
    with zipfile.ZipFile(path) as packed:
        data = {name: packed.read(name) for name in packed.namelist()}
    sheet = data["xl/worksheets/sheet1.xml"].replace(b"&amp;j;", b"&j;")
    data["xl/worksheets/sheet1.xml"] = laughs.encode() + b"]>" + sheet
    with zipfile.ZipFile(path, "w") as packed:
        for name, content in data.items():
            packed.writestr(name, content)
    start = time.perf_counter()
    refused(path, "The workbook cannot be read")
    assert time.perf_counter() - start < 5


def test_a_parquet_file_beyond_the_limits_is_refused(tmp_path, monkeypatch):
    pd.DataFrame({"Date": ["02/03/2026"] * 9, "L wax": ["full"] * 9}).to_parquet(tmp_path / "log.parquet")
    monkeypatch.setattr("analysis.intake.readers.MOST_CELLS", 17)
    refused(tmp_path / "log.parquet", "holds far more than a log does")


# -- names and places --------------------------------------------------------------------------------------------


@posix
@pytest.mark.parametrize(
    "name", ["log\n2.csv", "log\x1b[2J.csv", "x" * 240 + ".csv", os.fsdecode(b"log\xff.csv"), "log\u202evsc.csv"]
)
def test_a_name_that_cannot_be_shown_is_refused_and_shown_safely(tmp_path, name):
    (tmp_path / name).write_text(LOG, encoding="utf-8")
    assert len(refused(tmp_path / name, "name is too long, or holds marks")) < 400


@posix
def test_such_a_name_stops_neither_the_other_files_nor_the_screen(tmp_path, capsys):
    from analysis.cli import main

    (tmp_path / "exports").mkdir()
    (tmp_path / "exports" / "log.csv").write_text(LOG, encoding="utf-8")
    (tmp_path / "exports" / "evil\x1b[2J\n.csv").write_text(LOG, encoding="utf-8")
    assert main(["intake", str(tmp_path)]) == 1
    shown = capsys.readouterr()
    assert "\x1b" not in shown.out + shown.err
    assert "evil?[2J?.csv" in shown.out
    assert len(open_clinic(tmp_path).visits) == 2


def test_two_dots_within_a_name_lead_nowhere(tmp_path):
    (tmp_path / "..log..csv").write_text(LOG, encoding="utf-8")
    assert len(read(tmp_path / "..log..csv")[0].rows) == 2


@posix
def test_a_link_out_of_the_folder_is_refused_and_one_within_is_read(tmp_path):
    (tmp_path / "secret.csv").write_text(LOG, encoding="utf-8")
    exports = tmp_path / "exports"
    exports.mkdir()
    (exports / "log.csv").symlink_to(tmp_path / "secret.csv")
    refused(exports / "log.csv", "link to a file in another folder")
    (exports / "here.csv").write_text(LOG, encoding="utf-8")
    (exports / "again.csv").symlink_to("here.csv")
    assert len(read(exports / "again.csv")[0].rows) == 2
    (exports / "round.csv").symlink_to("round.csv")
    refused(exports / "round.csv", "There is no such file")


@posix
def test_folders_and_pipes_are_no_files(tmp_path):
    (tmp_path / "x.csv").mkdir()
    refused(tmp_path / "x.csv", "This is a folder")
    os.mkfifo(tmp_path / "pipe.csv")
    refused(tmp_path / "pipe.csv", "no file that can be read")


def test_an_empty_and_an_unreadable_file_are_told(tmp_path, monkeypatch):
    (tmp_path / "log.csv").write_bytes(b"")
    refused(tmp_path / "log.csv", "The file is empty")

    def forbidden(*_, **__):
        raise PermissionError(13, "Permission denied")

    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    monkeypatch.setattr(file_checks.Path, "open", forbidden)
    refused(tmp_path / "log.csv", r"may not be read \(Permission denied\)")


def test_a_file_that_grows_while_it_is_read_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    path.write_text(LOG, encoding="utf-8")
    look = file_checks._check_lines

    def meanwhile(file, opened):
        look(file, opened)
        with path.open("a", encoding="utf-8") as more:
            more.write("14/03/2026,09:00,3,Attended,clear\n")

    monkeypatch.setattr(file_checks, "_check_lines", meanwhile)
    refused(path, "changed while it was read")


def test_a_mark_never_closed_that_swallows_a_row_up_to_the_next_quoted_cell_is_refused(take):
    rows = [f'0{day}/03/2026,{day},"{day} Hill, Town",full,ok' for day in range(2, 6)]
    rows[1] = rows[1].removesuffix("ok") + '"ok'
    with pytest.raises(DataProblem, match="never closed"):
        take({"log.csv": "\n".join(["Date,Patient no,Address,L wax,Notes", *rows])})
