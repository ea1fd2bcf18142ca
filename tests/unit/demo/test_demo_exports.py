"""The demo's exports hold every booking, as much mess as counted, and the same bytes each time."""

import csv
import re
import tomllib
import zipfile
from pathlib import Path

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from analysis.clinic import read_settings
from analysis.demo import invented_clinic, wording
from analysis.demo.exports import CSV_FILE, DOUBLE_FILE, XLSX_FILES, planted_identities, write_exports
from analysis.schema import BOOKING_KINDS

COMMITTED = Path(__file__).parents[3] / "data_demo"
HOW_TO_MEND = "run: python -m analysis.demo data_demo"


@pytest.fixture(scope="module")
def invented():
    return invented_clinic()


@pytest.fixture(scope="module")
def made(invented, tmp_path_factory):
    folder = tmp_path_factory.mktemp("clinic")
    return folder, write_exports(folder, invented)


@pytest.fixture(scope="module")
def csv_rows(made):
    text = (made[0] / "exports" / CSV_FILE).read_bytes().decode("cp1252")
    return pd.DataFrame(list(csv.DictReader(text.splitlines(), delimiter=";")))


def sheet(folder, name):
    header, *rows = CalamineWorkbook.from_path(folder / "exports" / name).get_sheet_by_index(0).to_python()
    return pd.DataFrame(rows, columns=header)


@pytest.fixture(scope="module")
def sheets(made):
    return {name: sheet(made[0], name) for name in (*XLSX_FILES, DOUBLE_FILE)}


def members(path):
    """Give a workbook's parts unpacked, for packing differs between builds of zlib."""
    with zipfile.ZipFile(path) as book:
        return {name: book.read(name) for name in book.namelist()}


def test_the_committed_folder_is_what_the_program_makes(made):
    here = sorted(path.relative_to(made[0]) for path in made[0].rglob("*") if path.is_file())
    there = sorted(path.relative_to(COMMITTED) for path in COMMITTED.rglob("*") if path.is_file())
    assert [
        path
        for path in there
        if path.name not in ("README.md", ".gitattributes") and path.parts[0] not in ("store", "reports")
    ] == here
    for path in here:
        read = members if path.suffix == ".xlsx" else Path.read_bytes
        assert read(made[0] / path) == read(COMMITTED / path), f"{path} differs; {HOW_TO_MEND}"


def test_writing_twice_gives_the_same_bytes(made, invented, tmp_path):
    write_exports(tmp_path, invented)
    for path in (path for path in made[0].rglob("*") if path.is_file()):
        assert path.read_bytes() == (tmp_path / path.relative_to(made[0])).read_bytes()


def test_every_booking_is_in_one_system_and_no_other_row_is_but_the_counted(made, invented, csv_rows, sheets):
    mess = made[1]["mess"]
    visits = invented.visits
    older = set(visits.loc[visits["slot_start"] < "2025-04-01", "visit_id"])
    tests = csv_rows["Visit no"].str.startswith("V9")
    assert set(csv_rows.loc[~tests, "Visit no"]) == older
    assert tests.sum() == mess["csv"]["test_rows"]
    assert len(csv_rows) == len(older) + mess["csv"]["test_rows"] + mess["csv"]["doubled_rows"]
    newer = pd.concat([sheets[name] for name in XLSX_FILES])
    real = newer[~newer["Booking ID"].str.startswith("V9")]
    assert set(real["Booking ID"]) == set(visits["visit_id"]) - older
    expected = (
        visits[~visits["visit_id"].isin(older)]["attendance"].map(lambda each: 2 if each == "attended" else 1).sum()
    )
    assert len(real) == expected + mess["xlsx"]["doubled_rows"]
    assert len(newer) == len(real) + mess["xlsx"]["test_rows"]


def test_rows_by_file_are_those_counted(made, csv_rows, sheets):
    counted = made[1]["mess"]["rows"]
    assert counted == {CSV_FILE: len(csv_rows)} | {name: len(rows) for name, rows in sheets.items()}


def test_one_month_stands_in_two_files(sheets):
    again, first = sheets[DOUBLE_FILE], sheets[XLSX_FILES[1]]
    march = first[first["Scheduled start"].str.contains("/03/2026 ")]
    assert len(march) > 500
    cells = [sorted(map(tuple, rows.astype(str).to_numpy().tolist())) for rows in (again, march)]
    assert cells[0] == cells[1]


def test_doubled_rows_are_exact(csv_rows, made):
    assert csv_rows.duplicated().sum() == made[1]["mess"]["csv"]["doubled_rows"]


def test_patients_keep_their_number_across_the_change_of_system(csv_rows, sheets):
    newer = pd.concat([sheets[name] for name in XLSX_FILES])
    both = set(csv_rows["Patient no"]) & set(newer["Client number"]) - {"", "99999"}
    assert len(both) > 500


def test_dates_come_in_three_styles(csv_rows):
    styles = (r"\d\d/\d\d/\d{4}", r"\d{1,2} [A-Z][a-z]{2} \d{4}", r"\d{4}-\d\d-\d\d")
    shares = [csv_rows["Appt date"].str.fullmatch(style).mean() for style in styles]
    assert sum(shares) == 1
    assert min(shares) > 0.1


def test_grades_are_free_text(csv_rows, sheets):
    assert {"2/3 blocked", "semi occ", "FULL", "~80%"} <= set(csv_rows["L wax"])
    assert "two thirds blocked" in set(sheets[XLSX_FILES[0]]["Occlusion"])


def test_clocks_are_as_messy_as_counted(made, invented, csv_rows, sheets):
    counts = made[1]["mess"]["clocks"]
    rows = [csv_rows[["Visit no", "Start", "Finish"]].set_axis(["visit", "start", "end"], axis=1)]
    rows += [
        sheets[name][["Booking ID", "In room", "Out of room"]].set_axis(["visit", "start", "end"], axis=1)
        for name in XLSX_FILES
    ]
    clocks = pd.concat(rows).astype(str).drop_duplicates("visit")
    clocks = clocks.assign(start=clocks["start"].str[:5], end=clocks["end"].str[:5])
    clocks = clocks[~clocks["visit"].str.startswith("V9") & (clocks["start"] != "")]
    impossible = clocks["end"].isin(["25:70", "10:75", "24:61"])
    assert impossible.sum() == counts["impossible_clocks"]
    assert (clocks["end"] == "").sum() == counts["ends_blank"]
    possible = clocks[~impossible & (clocks["end"] != "")]
    assert (possible["end"] < possible["start"]).sum() == counts["ends_before_start"]
    slots = clocks["visit"].map(invented.visits.set_index("visit_id")["slot_start"])
    ends = slots + pd.to_timedelta(clocks["visit"].map(invented.visits.set_index("visit_id")["slot_minutes"]), unit="m")
    filled = (clocks["start"] == slots.dt.strftime("%H:%M")) & (clocks["end"] == ends.dt.strftime("%H:%M"))
    assert filled.sum() == counts["start_and_end_those_of_the_slot"]
    assert len(clocks) == sum(
        counts[name]
        for name in (
            "ends_filled_from_slot",
            "ends_blank",
            "ends_before_start",
            "impossible_clocks",
            "rounded_to_five_minutes",
            "timed_and_untouched",
        )
    )


def test_untouched_clocks_give_the_true_minutes(invented, csv_rows):
    visits = invented.visits.set_index("visit_id")
    start, end = (
        pd.to_timedelta(csv_rows[name].where(csv_rows[name] != "25:70", "") + ":00", errors="coerce")
        for name in ("Start", "Finish")
    )
    took = (end - start).dt.total_seconds() / 60
    true = csv_rows["Visit no"].map(visits["minutes"])
    exact = csv_rows["Seen by"].isin(["Ash", "Birch"]) & true.notna()
    assert (took == true)[exact].mean() > 0.92  # all but the filled, blank, swapped and impossible
    cedar = (csv_rows["Seen by"] == "Cedar") & took.gt(0)
    assert (took[cedar] % 5 == 0).mean() > 0.99


def test_planted_identities_stand_in_the_exports_and_in_no_clean_table(invented, csv_rows, sheets):
    planted = set(planted_identities(invented))
    assert len(planted) > 5000
    for name in ("Surname", "Forename", "DOB", "Mobile"):
        assert set(csv_rows[name]) - {"", "TEST", "Test", "ZZ test", "ZZ"} <= planted
    newer = sheets[XLSX_FILES[1]]
    for name in ("Telephone", "E-mail", "Date of birth"):
        assert set(newer[name]) - {""} <= planted
    noted = csv_rows["Notes"][csv_rows["Notes"] != ""]
    assert noted.map(lambda text: any(word in planted for word in re.findall(r"\w+", text))).mean() > 0.5
    assert not planted & set(pd.concat([invented.visits, invented.ears]).astype(str).to_numpy().ravel())


def test_birth_dates_agree_with_age_bands(invented, csv_rows):
    rows = csv_rows[~csv_rows["Visit no"].str.startswith("V9")]
    visits = invented.visits.set_index("visit_id").loc[rows["Visit no"]]
    born = pd.to_datetime(rows["DOB"], format="%d/%m/%Y").to_numpy()
    seen = visits["slot_start"]
    had_birthday = (seen.dt.month * 100 + seen.dt.day) >= (
        pd.DatetimeIndex(born).month * 100 + pd.DatetimeIndex(born).day
    )
    age = seen.dt.year - pd.DatetimeIndex(born).year - ~had_birthday
    band = pd.cut(age, [0, 18, 40, 60, 75, 120], right=False, labels=visits["age_band"].cat.categories)
    assert (band.astype(str) == visits["age_band"].astype(str)).mean() > 0.999


def test_settings_are_read_and_name_only_what_this_clinic_alone_says(made):
    settings = read_settings(made[0])
    assert settings.clinic.last_day.isoformat() == "2026-09-30"
    assert set(settings.slots.today) < set(BOOKING_KINDS)
    assert settings.columns == wording.CLINIC_COLUMNS
    assert settings.words == wording.CLINIC_WORDS


def test_truth_file_holds_what_was_returned(made):
    assert tomllib.loads((made[0] / "truth.toml").read_text(encoding="utf-8")) == made[1]


def test_the_folder_says_that_it_is_invented(made):
    assert "invented" in (made[0] / "INVENTED").read_text(encoding="utf-8")
