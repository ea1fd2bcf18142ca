"""A report is written where it belongs, for the right quarter, and says the same each time."""

import json

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from analysis.clinic import Clinic
from analysis.problems import DataProblem
from analysis.report import quarterly, questions
from analysis.report.quarterly import build_report, chosen_quarter, later_quarter_left_out
from analysis.schema import EAR_ROWS, VISITS, typed_frame
from analysis.settings import settings_from_toml
from tests.made_up_answers import booking, recall, softening

STEPS = [step for _, asked in questions.PARTS for step, _ in asked]


def clinic_of(*days, attendance="attended", **more):
    visits = pd.DataFrame({"slot_start": pd.to_datetime(list(days)), "attendance": attendance})
    return Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, pd.DataFrame()), **more)


THREE_YEARS = ("2023-10-02 09:00", "2026-09-30 16:30")


@pytest.fixture
def made_up(monkeypatch):
    made = [booking(), recall(), softening()]
    answers = {step: made[place % 3] for place, step in enumerate(STEPS)}
    monkeypatch.setattr(quarterly, "ask_all", lambda *_: answers)
    return answers


@pytest.mark.parametrize(
    ("days", "quarter"),
    [
        (THREE_YEARS, "2026-Q3"),
        (("2023-10-02", "2026-09-29"), "2026-Q2"),
        (("2026-05-04", "2026-07-10"), "2026-Q2"),
        (("2026-07-01", "2026-08-10"), "2026-Q3"),
    ],
)
def test_without_a_wish_the_last_whole_quarter_is_reported(days, quarter):
    assert str(chosen_quarter(clinic_of(*days))) == quarter
    assert str(chosen_quarter(clinic_of(*days), "")) == quarter


def test_a_later_quarter_that_the_log_does_not_cover_to_its_end_is_said_to_be_left_out():
    said = later_quarter_left_out(clinic_of("2023-10-02", "2026-09-25"))
    assert said == (
        "This report covers April to June 2026; July to September 2026 is left out because the log ends on 25 September 2026: "
        "if the clinic was only closed after that, set last_day = 2026-09-30 under [clinic] in clinic.toml."
    )
    closed = settings_from_toml("[clinic]\nlast_day = 2026-09-30")
    assert str(chosen_quarter(clinic_of("2023-10-02", "2026-09-25", settings=closed))) == "2026-Q3"


def test_in_the_middle_of_a_quarter_the_way_to_see_it_is_told():
    assert later_quarter_left_out(clinic_of("2023-10-02", "2026-08-10")).endswith(
        "because the log ends on 10 August 2026: ask with --quarter 2026-Q3 to see it as far as it goes."
    )


@pytest.mark.parametrize(
    ("days", "quarter"),
    [(THREE_YEARS, None), (("2023-10-02", "2026-09-25"), "2026-Q2"), (("2026-07-01", "2026-08-10"), "")],
)
def test_nothing_is_said_where_no_later_quarter_was_left_out(days, quarter):
    assert later_quarter_left_out(clinic_of(*days), quarter) == ""


def test_a_quarter_the_log_does_not_hold_is_said_plainly():
    with pytest.raises(DataProblem, match=r"from 2 October 2023 to 30 September 2026 and has no day in January to March 2031\. Ask for a quarter from 2023-Q4 to 2026-Q3\."):  # fmt: skip
        chosen_quarter(clinic_of(*THREE_YEARS), "2031-Q1")


def test_a_log_without_a_booking_is_said_plainly():
    with pytest.raises(DataProblem, match=r"The log holds no booking\."):
        chosen_quarter(clinic_of())


def test_a_log_of_missed_bookings_has_a_quarter():
    assert str(chosen_quarter(clinic_of("2026-01-05", attendance="missed"))) == "2026-Q1"


@pytest.mark.usefixtures("made_up")
def test_the_report_stands_in_a_folder_named_by_its_quarter(tmp_path):
    report = build_report(clinic_of(*THREE_YEARS), "2026q2", tmp_path)
    assert sorted(path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*.*")) == [
        "2026-Q2/quarterly_report.html",
        "2026-Q2/quarterly_report.pptx",
        "2026-Q2/quarterly_report.xlsx",
        "2026-Q2/results.json",
        "2026-Q2/settings_used.toml",
    ]
    assert report.page.exists()
    assert "My ear clinic, April to June 2026</h1>" in report.page.read_text(encoding="utf-8")


def test_fees_and_noise_are_reported_only_where_they_are_recorded(monkeypatch):
    asked = tuple(
        (title, tuple((step, lambda *_: softening()) for step, _ in parts)) for title, parts in questions.PARTS
    )
    monkeypatch.setattr(questions, "PARTS", asked)
    assert not softening().answered
    answers = questions.ask_all(clinic_of(*THREE_YEARS), chosen_quarter(clinic_of(*THREE_YEARS)))
    assert list(answers) == [step for step in STEPS if step not in ("income of a session", "noise of suction")]


def test_the_four_decisions_are_handed_back(made_up, tmp_path):
    report = build_report(clinic_of(*THREE_YEARS), None, tmp_path)
    decided = [made_up[step] for step in questions.DECISIONS]
    assert len(report.headlines) == 4
    assert {each.answered for each in decided} == {True, False}
    for told, answer in zip(report.headlines, decided, strict=True):
        assert told == (answer.headline if answer.answered else f"{answer.question} {answer.headline}")


@pytest.mark.usefixtures("made_up")
def test_results_say_what_they_rest_on(tmp_path):
    clinic = clinic_of(*THREE_YEARS, record={"rows_in": 50, "rows_kept": 41, "rows_set_aside": 9}, invented=True)
    read = json.loads(build_report(clinic, None, tmp_path).results.read_text(encoding="utf-8"))
    about = read["about"]
    assert (about["rows_in"], about["rows_kept"], about["rows_set_aside"]) == (50, 41, 9)
    assert (about["first_month"], about["last_month"], about["quarter"], about["invented"]) == ("2023-10", "2026-09", "2026-Q3", True)  # fmt: skip
    assert {row["quantity"] for row in read["rows"] if row["section"] != "page"} == {"slot_minutes"}


@pytest.mark.usefixtures("made_up")
def test_the_settings_used_stand_beside_the_page(tmp_path):
    settings = settings_from_toml("[recall]\nshare = 0.5")
    report = build_report(clinic_of(*THREE_YEARS, settings=settings), None, tmp_path)
    assert settings_from_toml(report.settings.read_text(encoding="utf-8")) == settings


@pytest.mark.usefixtures("made_up")
def test_the_same_log_gives_the_same_files(tmp_path):
    clinic = clinic_of(*THREE_YEARS)
    first, second = (build_report(clinic, None, tmp_path / name) for name in ("first", "second"))
    assert first.page.read_bytes() == second.page.read_bytes()
    assert first.results.read_bytes() == second.results.read_bytes()
    assert first.deck.read_bytes() == second.deck.read_bytes()
    assert first.workbook.read_bytes() == second.workbook.read_bytes()


@pytest.mark.usefixtures("made_up")
def test_only_an_invented_clinic_is_called_invented(tmp_path):
    real = build_report(clinic_of(*THREE_YEARS), None, tmp_path / "real").page.read_text(encoding="utf-8")
    demo = build_report(clinic_of(*THREE_YEARS, invented=True), None, tmp_path / "demo").page.read_text(
        encoding="utf-8"
    )
    assert "This clinic is invented." in demo
    assert "This clinic is invented." not in real


@pytest.mark.usefixtures("made_up")
def test_workbook_and_results_hold_the_same_figures(tmp_path):
    report = build_report(clinic_of(*THREE_YEARS), None, tmp_path)
    rows = json.loads(report.results.read_text(encoding="utf-8"))["rows"]
    head, *cells = CalamineWorkbook.from_path(str(report.workbook)).get_sheet_by_name("All figures").to_python()
    shown = [dict(zip(head, row, strict=True)) for row in cells]
    names = ("section", "quantity", "value", "low", "high", "level", "unit", "n", "method")
    assert [[row[name] for name in names] for row in shown] == [
        ["" if row[name] is None else row[name] for name in names] for row in rows
    ]


@pytest.mark.usefixtures("made_up")
def test_few_rows_set_aside_are_told_as_few_only(tmp_path):
    clinic = clinic_of(*THREE_YEARS, record={"rows_in": 50, "rows_kept": 47, "rows_set_aside": 3})
    report = build_report(clinic, None, tmp_path)
    about = json.loads(report.results.read_text(encoding="utf-8"))["about"]
    assert (about["rows_in"], about["rows_kept"], about["rows_set_aside"]) == (None, None, None)
    assert "All rows read were kept but fewer than 5, set aside each with its reason." in report.page.read_text(
        encoding="utf-8"
    )
