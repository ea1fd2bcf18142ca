"""A heading that is not understood: what its content suggests is asked, shown and never taken."""

import pytest

from analysis.cli import main
from analysis.intake.headers import match_headings
from analysis.intake.heading_suggestions import births, suggestion
from analysis.intake.preview import preview
from analysis.problems import DataProblem
from analysis.settings import Settings

CLOCKS_ONLY = (
    "Termin;Patient;Beginn;Ende;Was gemacht\n03.03.2025;1;09:00;09:20;suction\n04.03.2025;2;09:00;09:25;hook\n"
)
UNIVERSAL = "ref,start_utc,end_utc,side,wax\n1,2025-07-01T08:30:00Z,2025-07-01T08:47:30Z,L,full\n2,2025-07-02T08:30:00Z,2025-07-02T08:50:00Z,R,semi\n"


@pytest.fixture
def written(tmp_path):
    """Write a file and give its path."""

    def write(text, name="log.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


def columns_of(path, settings=None):
    """Give what preview says each heading could be."""
    return {each.heading: (each.taken_for, each.nearest) for each in preview(path, settings or Settings()).columns}


@pytest.mark.parametrize(
    ("heading", "values", "column"),
    [
        ("What was done", ["suction", "suction x2 then JH", "irrigated"], "methods"),
        ("Any issues", ["nil", "no bleeding", "slight pain"], "adverse_event"),
        ("How much", ["80%", "fully blocked", "nil"], "grade"),
        ("Waxiness", ["clear", "blocked solid", "half full"], "grade"),
        ("Waxiness revised", ["clear", "blocked solid", "half full"], "grade_revised"),
        ("Charge", ["£65.00", "£45.00", "-"], "fee"),
        ("Born when", ["01/02/1948", "03/04/2001"], "birth_date"),
        ("Day", ["01/02/2025", "03/04/2025"], "date"),
        ("end_utc", ["2025-07-01T08:47:30Z", "2025-07-01T09:35:00Z"], "ended_at"),
        ("Went in", ["2025-07-01T08:47", "2025-07-01T09:35"], "started_at"),
        ("At", ["9:00", "11:20"], "slot_time"),
        ("Room", ["blue", "green", "yellow"], ""),
        ("Code", ["7", "12", "31"], ""),
        ("Looked at", ["yes", "no"], ""),
    ],
)
def test_a_column_is_suggested_by_its_content(heading, values, column):
    assert suggestion(heading, values, (), Settings())[0] == column


def test_no_column_is_suggested_that_is_filled_already():
    assert suggestion("Rx", ["suction", "hook", "irrigation"], ("methods",), Settings()) == ("", "")
    assert suggestion("Entered", ["01/02/2025", "02/02/2025"], ("date",), Settings()) == ("", "")


def test_a_heading_of_softeners_over_methods_is_methods():
    heading = match_headings(
        ["Date", "What was used"], Settings(), [["1/3/25"], ["suction", "water jet", "hook"]].__getitem__
    ).all[1]
    assert (heading.column, heading.why) == ("methods", "its words are those of methods")


def test_preview_suggests_and_takes_nothing(written):
    seen = columns_of(written("Date,Patient,L Rx,R Rx\n1/3/25,1,suction,irrigated\n2/3/25,2,JH,suction\n"))
    assert seen["L Rx"] == ("", "methods_left")
    assert seen["R Rx"] == ("", "methods_right")


def test_a_column_the_content_forbids_is_not_suggested_for_its_name(written):
    seen = columns_of(written("Date,Patient,Left - what was done\n1/3/25,1,suction\n2/3/25,2,irrigated\n"))
    assert seen["Left - what was done"] == ("", "methods_left")


def test_a_name_alone_suggests_nothing_its_content_does_not_bear_out(written):
    seen = columns_of(written("Date,Patient,L wax,Consent,Debri seen\n1/3/25,1,full,yes,soft\n2/3/25,2,semi,no,hard\n"))
    assert seen["Consent"] == ("", "")
    assert seen["Debri seen"][1] == "debris"


def test_a_file_without_a_known_date_is_shown_with_what_could_be_it(written):
    seen = preview(written(UNIVERSAL), Settings())
    assert "No column holds the date of the visit" in seen.warnings[0]
    assert {each.heading: each.nearest for each in seen.columns if not each.taken_for}["end_utc"] == "ended_at"
    assert "2025-07-01T08:30:00Z" in next(each for each in seen.columns if each.heading == "start_utc").examples


def test_times_of_day_alone_do_not_date_a_log_while_an_unknown_column_holds_dates(written, take):
    with pytest.raises(DataProblem, match=r'No column holds the date.*"Termin" = "date"'):
        take({"log.csv": CLOCKS_ONLY})
    made = take({"log.csv": CLOCKS_ONLY}, '[columns]\n"Termin" = "date"')
    assert made.record["rows_kept"] == 2
    assert columns_of(written(CLOCKS_ONLY))["Termin"] == ("", "date")


def test_dates_with_dots_are_no_phone_numbers_and_births_are_hidden(written):
    text = "Date,Patient,Zeitpunkt,Geb.\n1/3/25,1,03.03.2025,04.05.1948\n2/3/25,2,04.03.2025,05.06.2001\n"
    examples = {each.heading: each.examples for each in preview(written(text), Settings()).columns}
    assert examples["Zeitpunkt"] == ("03.03.2025", "04.03.2025")
    assert examples["Geb."] == ("(hidden)",)
    assert births(["04.05.1948", "05.06.2001"])


def test_preview_goes_on_after_a_file_that_cannot_be_read(written, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    written("%PDF-1.4", "a.csv")
    written("Date,Patient,L wax\n1/3/25,1,full\n", "b.csv")
    assert main(["preview", "a.csv", "b.csv", "--no-write", "--quiet"]) == 1
    shown = capsys.readouterr().out
    assert shown.index("a.csv: ") < shown.index("L wax -> grade_left")
