"""The older system's export: one row a visit, left and right side by side, semicolons, Windows-1252."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analysis.demo import mess
from analysis.demo.notes import notes
from analysis.demo.worded import worded, worded_methods, yes_no
from analysis.demo.wording import CSV_HEADERS, CSV_STEPS, CSV_WORDS, EAR_COLUMNS, UNREADABLE_GRADES

SIDES = {"left": "L", "right": "R"}
ISO_FROM = pd.Timestamp("2024-10-01")
MONTH_NAMED_BY = "Birch"
TEST_ROWS, DOUBLED_ROWS, IMPOSSIBLE_DATES, UNREADABLE, NO_PATIENT = 8, 25, 4, 8, 6
IMPOSSIBLE_DATE_TEXTS = ("31/02/2024", "30/02/2024", "31/06/2024")
LOST_GRADES, LOST_SOFTENERS = 0.012, 0.02
SLIPPING = ("attendance", "booking_kind", "softener", "grade", "outcome", "debris", "methods")


def csv_frame(
    rng: np.random.Generator, visits: pd.DataFrame, ears: pd.DataFrame, clocks: pd.DataFrame, people: pd.DataFrame
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Write the visits as the older system's rows, mess and all.

    Returns
    -------
    pandas.DataFrame
        Texts only, under the system's headings, in the order of the diary.
    dict
        How many rows or cells of each kind of mess.
    """
    frame = _visit_columns(rng, visits, clocks, people)
    for side, letter in SIDES.items():
        ear = ears[ears["ear"] == side].set_index("visit_id").reindex(visits["visit_id"]).reset_index()
        for column, texts in _ear_columns(rng, ear).items():
            frame[f"{letter} {CSV_HEADERS[column]}"] = texts.to_numpy()
    rest = ("adverse_event", "onward_referral", "fee", "notes", "unknown")
    order = [head for head in frame if head not in [CSV_HEADERS[each] for each in rest]]
    return _messed(rng, frame[[*order, *(CSV_HEADERS[each] for each in rest)]])


def _visit_columns(
    rng: np.random.Generator, visits: pd.DataFrame, clocks: pd.DataFrame, people: pd.DataFrame
) -> pd.DataFrame:
    """Write what belongs to the visit."""
    who = people.loc[visits["patient_key"]].reset_index(drop=True)
    words = CSV_WORDS
    columns = {
        "visit_id": visits["visit_id"],
        "patient_number": visits["patient_key"],
        "surname": who["surname"],
        "first_name": who["forename"],
        "birth_date": who["birth_date"].dt.strftime("%d/%m/%Y"),
        "phone": who["phone"],
        "site": visits["site"],
        "practitioner": visits["practitioner"],
        "booked_on": visits["booked_on"].dt.strftime("%d/%m/%Y"),
        "date": _dates(visits),
        "slot_time": visits["slot_start"].dt.strftime("%H:%M"),
        "slot_minutes": visits["slot_minutes"].astype(int).astype("str"),
        "arrived_at": clocks["arrived"],
        "started_at": clocks["start"],
        "ended_at": clocks["end"],
        "attendance": worded(rng, visits["attendance"], words["attendance"]),
        "booking_kind": worded(rng, visits["booking_kind"], words["booking_kind"]),
        "hearing_aid": yes_no(rng, visits["hearing_aid"], words["yes_no"]),
        "cotton_bud": yes_no(rng, visits["cotton_bud"], words["yes_no"]),
        "softening_advised": yes_no(rng, visits["softening_advised"], words["yes_no"]),
        "softener": worded(rng, visits["softener"], words["softener"]),
        "softening_days": _days(rng, visits["softening_days"]),
        "in_chair_softener": yes_no(rng, visits["in_chair_softener"], words["yes_no"]),
        "adverse_event": worded(rng, visits["adverse_event"], words["adverse_event"]),
        "onward_referral": yes_no(rng, visits["onward_referral"], words["yes_no"]),
        "fee": visits["fee"].map("£{:.2f}".format, na_action="ignore").fillna(""),
        "notes": notes(rng, who),
        "unknown": pd.Series(rng.choice(["T1", "T2", "T3", ""], len(visits))),
    }
    return pd.DataFrame({CSV_HEADERS[name]: texts.to_numpy(dtype=object) for name, texts in columns.items()})


def _ear_columns(rng: np.random.Generator, ear: pd.DataFrame) -> dict[str, pd.Series]:
    """Write what belongs to one ear."""
    words = CSV_WORDS
    texts = {
        name: worded(rng, ear[name], words[name])
        for name in ("grade", "debris", "canal", "outcome", "eardrum", "middle_ear")
    }
    texts["grade_revised"] = worded(rng, ear["grade_revised"], words["grade"])
    texts["impacted"] = yes_no(rng, ear["impacted"], words["yes_no"])
    texts["methods"] = worded_methods(rng, ear["methods"], words["methods"], CSV_STEPS)
    return {name: texts[name] for name in EAR_COLUMNS}


def _dates(visits: pd.DataFrame) -> pd.Series:
    """Write the day in the style of its time: by hand, with the month's name by one practitioner, later ISO."""
    slot = visits["slot_start"].dt
    text = slot.strftime("%d/%m/%Y")
    named = slot.day.astype("str") + slot.strftime(" %b %Y")
    text = text.mask(visits["practitioner"] == MONTH_NAMED_BY, named)
    return text.mask(visits["slot_start"] >= ISO_FROM, slot.strftime("%Y-%m-%d"))


def _days(rng: np.random.Generator, days: pd.Series) -> pd.Series:
    """Write days of softening: a number, or the number over seven; none is left empty."""
    text = days.map("{:.0f}".format, na_action="ignore").fillna("")
    over_seven = rng.random(len(days)) < 0.3
    return text.where(~over_seven | (text == ""), text + "/7").mask((days == 0) | days.isna(), "")


def _messed(rng: np.random.Generator, frame: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Lay the mess over clean rows, and count it."""
    grades = [f"{letter} {CSV_HEADERS['grade']}" for letter in SIDES.values()]
    slipping = [CSV_HEADERS[each] for each in SLIPPING if each not in EAR_COLUMNS]
    slipping += [
        f"{letter} {CSV_HEADERS[each]}" for each in SLIPPING if each in EAR_COLUMNS for letter in SIDES.values()
    ]
    n = len(frame)
    lost = int(LOST_GRADES * n)
    steps = {
        "lost_grades_left": (grades[0], ("",), lost),
        "lost_grades_right": (grades[1], ("",), lost),
        "lost_softeners": (CSV_HEADERS["softener"], ("",), int(LOST_SOFTENERS * n)),
        "unreadable_grades": (grades[0], UNREADABLE_GRADES, UNREADABLE),
        "impossible_dates": (CSV_HEADERS["date"], IMPOSSIBLE_DATE_TEXTS, IMPOSSIBLE_DATES),
        "no_patient_number": (CSV_HEADERS["patient_number"], ("",), NO_PATIENT),
    }
    frame, slips = mess.slip_words(rng, frame, slipping)
    counts: dict[str, Any] = {"visits": n, "typing_slips": slips}
    for name, (column, texts, cells) in steps.items():
        frame, counts[name] = mess.put_into(rng, frame, column, texts, cells)
    frame = mess.doubled_rows(rng, frame, DOUBLED_ROWS)
    frame = with_test_patients(rng, frame)
    counts |= {"doubled_rows": DOUBLED_ROWS, "test_rows": TEST_ROWS, "rows": len(frame)}
    return frame, counts


def with_test_patients(rng: np.random.Generator, frame: pd.DataFrame) -> pd.DataFrame:
    """Add rows somebody made to try the system out."""
    rows = np.sort(rng.choice(len(frame), TEST_ROWS, replace=False))
    tests = frame.iloc[rows].copy()
    names = [mess.TEST_NAMES[each % len(mess.TEST_NAMES)] for each in range(TEST_ROWS)]
    tests[CSV_HEADERS["visit_id"]] = [f"V9{each:04d}" for each in range(TEST_ROWS)]
    tests[CSV_HEADERS["patient_number"]] = mess.TEST_NUMBER
    tests[CSV_HEADERS["surname"]] = [surname for surname, _ in names]
    tests[CSV_HEADERS["first_name"]] = [forename for _, forename in names]
    tests[[CSV_HEADERS["phone"], CSV_HEADERS["notes"]]] = ""
    places = np.concatenate([np.arange(len(frame)), rows + 0.5])
    return pd.concat([frame, tests]).iloc[np.argsort(places, kind="stable")].reset_index(drop=True)


def write_csv(path: Path, frame: pd.DataFrame) -> None:
    """Write the rows with semicolons, in Windows-1252."""
    path.write_bytes(frame.to_csv(sep=";", index=False, lineterminator="\r\n").encode("cp1252"))
