"""The newer system's export: one row an ear, in workbooks; first with true dates and times, later as text."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xlsxwriter

from analysis.demo import mess
from analysis.demo.notes import notes
from analysis.demo.worded import worded, worded_methods, yes_no
from analysis.demo.wording import UNREADABLE_GRADES, XLSX_HEADERS, XLSX_STEPS, XLSX_WORDS

CREATED = dt.datetime(2026, 10, 1, 9, 0, 0)
PERCENT_SHARE = 0.6
TEST_ROWS, DOUBLED_ROWS, UNREADABLE, NO_PATIENT = 4, 30, 5, 4
LOST_GRADES, LOST_SOFTENERS = 0.012, 0.02
NUMBERS = ("slot_minutes", "softening_days", "percent_blocked", "fee")
SLIPPING_VISIT = ("attendance", "booking_kind", "softener")
SLIPPING_EAR = ("grade", "outcome", "debris", "methods")
EAR_FACTS = ("ear", "grade", "debris", "canal", "outcome", "eardrum", "middle_ear")


def ear_rows(
    rng: np.random.Generator, visits: pd.DataFrame, ears: pd.DataFrame, clocks: pd.DataFrame, people: pd.DataFrame
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Write the visits as the newer system's rows, mess and all; a visit nobody came to has one row without an ear.

    Returns
    -------
    pandas.DataFrame
        Texts under our own column names (headings are put on when written), with ``day`` beside them.
    dict
        How many rows or cells of each kind of mess.
    """
    visit = _visit_columns(rng, visits, clocks, people)
    visit, visit_slips = mess.slip_words(rng, visit, list(SLIPPING_VISIT))
    frame = visit.merge(_ear_columns(rng, ears), on="visit_id", how="left").fillna("")
    frame, counts = _messed(rng, frame)
    counts = {"visits": len(visits), "typing_slips_of_visits": visit_slips} | counts
    frame = mess.doubled_rows(rng, frame, DOUBLED_ROWS)
    frame = _with_test_patients(rng, frame)
    return frame, counts | {"doubled_rows": DOUBLED_ROWS, "test_rows": 2 * TEST_ROWS, "rows": len(frame)}


def _visit_columns(
    rng: np.random.Generator, visits: pd.DataFrame, clocks: pd.DataFrame, people: pd.DataFrame
) -> pd.DataFrame:
    """Write what belongs to the visit."""
    who = people.loc[visits["patient_key"]].reset_index(drop=True)
    words = XLSX_WORDS
    columns = {
        "day": visits["slot_start"],
        "visit_id": visits["visit_id"],
        "patient_number": visits["patient_key"],
        "patient_name": who["surname"] + ", " + who["forename"],
        "birth_date": who["birth_date"].dt.strftime("%Y-%m-%d"),
        "phone": who["phone"].str.replace(" ", ""),
        "email": who["email"],
        "site": visits["site"],
        "practitioner": visits["practitioner"],
        "booked_on": visits["booked_on"].dt.strftime("%Y-%m-%d"),
        "slot_start": visits["slot_start"].dt.strftime("%d/%m/%Y %H:%M"),
        "slot_minutes": visits["slot_minutes"].map("{:.0f}".format),
        "arrived_at": clocks["arrived"],
        "started_at": clocks["start"],
        "ended_at": clocks["end"],
        "attendance": worded(rng, visits["attendance"], words["attendance"]),
        "booking_kind": worded(rng, visits["booking_kind"], words["booking_kind"]),
        "hearing_aid": yes_no(rng, visits["hearing_aid"], words["yes_no"]),
        "cotton_bud": yes_no(rng, visits["cotton_bud"], words["yes_no"]),
        "softening_advised": yes_no(rng, visits["softening_advised"], words["yes_no"]),
        "softener": worded(rng, visits["softener"], words["softener"]),
        "softening_days": visits["softening_days"].map("{:.0f}".format, na_action="ignore").fillna(""),
        "in_chair_softener": yes_no(rng, visits["in_chair_softener"], words["yes_no"]),
        "adverse_event": worded(rng, visits["adverse_event"], words["adverse_event"]),
        "onward_referral": yes_no(rng, visits["onward_referral"], words["yes_no"]),
        "fee": visits["fee"].map("{:.2f}".format, na_action="ignore").fillna(""),
        "notes": notes(rng, who),
        "unknown": pd.Series(rng.choice(["blue", "green", ""], len(visits))),
    }
    return pd.DataFrame({name: texts.to_numpy() for name, texts in columns.items()}).astype(
        {name: "object" for name in columns if name != "day"}
    )


def _ear_columns(rng: np.random.Generator, ears: pd.DataFrame) -> pd.DataFrame:
    """Write what belongs to one ear."""
    texts = {name: worded(rng, ears[name], XLSX_WORDS[name]) for name in EAR_FACTS}
    percent = ears["percent_blocked"].map("{:.0f}".format, na_action="ignore").fillna("")
    texts["percent_blocked"] = percent.where(rng.random(len(ears)) < PERCENT_SHARE, "")
    texts["grade_revised"] = worded(rng, ears["grade_revised"], XLSX_WORDS["grade"])
    texts["impacted"] = yes_no(rng, ears["impacted"], XLSX_WORDS["yes_no"])
    texts["methods"] = worded_methods(rng, ears["methods"], XLSX_WORDS["methods"], XLSX_STEPS)
    return pd.DataFrame({"visit_id": ears["visit_id"]} | texts)


def _messed(rng: np.random.Generator, frame: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Lay the mess over clean rows, and count it."""
    counts: dict[str, Any] = {}
    frame, counts["typing_slips_of_ears"] = mess.slip_words(rng, frame, list(SLIPPING_EAR))
    frame, counts["lost_grades"] = mess.put_into(rng, frame, "grade", ("",), int(LOST_GRADES * len(frame)))
    frame, counts["unreadable_grades"] = mess.put_into(rng, frame, "grade", UNREADABLE_GRADES, UNREADABLE)
    treated = frame.loc[frame["softener"] != "", "visit_id"].unique()
    counts["lost_softeners"] = int(LOST_SOFTENERS * len(treated))
    frame = _blanked(rng, frame, ["softener", "softening_days"], treated, counts["lost_softeners"])
    counts["no_patient_number"] = NO_PATIENT
    return _blanked(rng, frame, ["patient_number"], frame["visit_id"].unique(), NO_PATIENT), counts


def _blanked(
    rng: np.random.Generator, frame: pd.DataFrame, columns: list[str], visits: np.ndarray, n: int
) -> pd.DataFrame:
    """Leave columns empty on every row of some visits."""
    lost = frame["visit_id"].isin(rng.choice(visits, n, replace=False))
    return frame.assign(**{column: frame[column].mask(lost, "") for column in columns})


def _with_test_patients(rng: np.random.Generator, frame: pd.DataFrame) -> pd.DataFrame:
    """Add visits somebody made to try the system out, both ears each."""
    seen = frame[frame["ear"] != ""]
    chosen = rng.choice(seen["visit_id"].unique(), TEST_ROWS, replace=False)
    tests = seen[seen["visit_id"].isin(chosen)].drop_duplicates(["visit_id", "ear"]).groupby("visit_id").head(2).copy()
    number = tests["visit_id"].map({visit: f"V95{each:03d}" for each, visit in enumerate(sorted(chosen))})
    surname, forename = mess.TEST_NAMES[1]
    tests = tests.assign(
        visit_id=number,
        patient_number=mess.TEST_NUMBER,
        patient_name=f"{surname}, {forename}",
        phone="",
        email="",
        notes="",
    )
    return pd.concat([frame, tests]).sort_values("day", kind="stable").reset_index(drop=True)


def write_xlsx(path: Path, frame: pd.DataFrame, *, true_dates: bool) -> None:
    """Write rows into a workbook that is the same, byte for byte, each time."""
    book = xlsxwriter.Workbook(str(path), {"default_date_format": "dd/mm/yyyy hh:mm", "strings_to_urls": False})
    book.set_properties({"created": CREATED})
    formats = {"clock": book.add_format({"num_format": "hh:mm"}), "day": book.add_format({"num_format": "dd/mm/yyyy"})}
    sheet = book.add_worksheet("Visits")
    for place, (name, heading) in enumerate(XLSX_HEADERS.items()):
        cells = _cells(name, frame[name].tolist(), true_dates=true_dates)
        look = formats["clock"] if name in ("arrived_at", "started_at", "ended_at") else None
        look = formats["day"] if name in ("booked_on", "birth_date") else look
        sheet.write_string(0, place, heading)
        for row, cell in enumerate(cells, start=1):
            _write(sheet, row, place, cell, look)
    book.close()


def _write(sheet: Any, row: int, place: int, cell: Any, look: Any) -> None:
    """Write one cell by its kind; an empty one not at all."""
    if isinstance(cell, (dt.datetime, dt.date, dt.time)):
        sheet.write_datetime(row, place, cell, look)
    elif isinstance(cell, float):
        sheet.write_number(row, place, cell)
    elif cell:
        sheet.write_string(row, place, cell)


def _cells(name: str, texts: list[str], *, true_dates: bool) -> list[Any]:
    """Turn texts into the cells the system of that year made of them."""
    if name in NUMBERS:
        return [float(text) if text else "" for text in texts]
    if not true_dates:
        return texts
    if name in ("booked_on", "birth_date"):
        return [dt.date.fromisoformat(text) for text in texts]
    if name == "slot_start":
        return [dt.datetime.strptime(text, "%d/%m/%Y %H:%M") for text in texts]
    if name in ("arrived_at", "started_at", "ended_at"):
        return [_true_clock(text) for text in texts]
    return texts


def _true_clock(text: str) -> Any:
    """Give a time of day, or the text where no clock shows it."""
    hour, _, minute = text.partition(":")
    possible = text and int(hour) < 24 and int(minute) < 60
    return dt.time(int(hour), int(minute)) if possible else text
