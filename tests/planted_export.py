"""A clinic's exports with something to recognise in every column, heading, sheet and file name, and visits alone on their day."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import xlsxwriter

from analysis.demo import invented_clinic
from analysis.demo.csv_export import csv_frame
from analysis.demo.identities import identities
from analysis.demo.mess import messy_clocks

PATIENTS_OF = 5
"""One patient in so many is kept: a log with answers, read in seconds."""
EVERY = 90
"""In columns that must be understood, one cell in so many holds something else."""
LATER = pd.Timestamp("2026-05-01")
"""From this day on the log is the workbook's."""
ALONE = pd.to_datetime(["2023-09-13", "2024-02-18", "2025-06-22", "2026-03-15", "2026-08-16", "2026-09-27"])
"""Days with one visit only: the log's first and last, Sundays between, one in the quarter reported."""
TEXT = ("Visit no", "Patient no", "Surname", "Forename", "Mobile", "Notes", "Tray", "Seen by")
"""Columns whose every cell is marked."""
SITE = "Clinic"
SITE_MARK = "Zqsite"
"""A site's name is shown as it is written."""
SETTINGS = """
[clinic]
name = "Planted"
show_practitioner_names = {names}

[columns]
"Nights at home" = "softening_days"

[words.booking_kind]
"Wax club" = "routine_recall"

[words.softener]
"house drops" = "olive_oil"
EVOO = "olive_oil"

[words.methods]
"the quiet one" = "fine_suction"

[slots]
today = {{ new = 30, routine_recall = 20, symptoms_return = 30, second_attempt = 20 }}

[recall]
today_months = 12
"""


def mark(column: str) -> str:
    """Give the string planted in a column: letters only, found nowhere else.

    Examples
    --------
    >>> mark("L wax type")
    'zqlwaxtypeqz'
    """
    return f"zq{''.join(letter for letter in column.lower() if letter.isalpha())}qz"


def planted_rows(*, practitioners: dict[str, str] | None = None, site: str = "") -> pd.DataFrame:
    """Write the rows of the older system's export, planted.

    Parameters
    ----------
    practitioners : dict of str to str, optional
        Other names for some of them, written instead.
    site : str, optional
        Another name for the first site.
    """
    rng = np.random.default_rng(7)
    made = invented_clinic()
    chosen = pd.Series(made.visits["patient_key"].unique())[::PATIENTS_OF]
    visits = made.visits[made.visits["patient_key"].isin(chosen)].reset_index(drop=True)
    visits = _alone(visits)
    ears = made.ears[made.ears["visit_id"].isin(visits["visit_id"])]
    clocks, _ = messy_clocks(rng, visits)
    rows, _ = csv_frame(rng, visits, ears, clocks, identities(visits, 7))
    rows["Seen by"] = rows["Seen by"].replace(practitioners or {})
    rows[SITE] = [f"{SITE_MARK} {each}" if each else "" for each in rows[SITE]]
    if site:
        rows[SITE] = rows[SITE].replace(rows[SITE].iloc[0], site)
    return rows


def _alone(visits: pd.DataFrame) -> pd.DataFrame:
    """Move a visit each to the days that have no other."""
    visits = visits[visits["slot_start"] < ALONE[-1]].reset_index(drop=True)
    attended = np.flatnonzero(visits["attendance"].to_numpy() == "attended")
    for day, row in zip(
        ALONE, attended[[0, *np.searchsorted(visits["slot_start"][attended], ALONE[1:-1]), -1]], strict=True
    ):
        shift = day - visits.loc[row, "slot_start"].normalize()
        for name in ("booked_on", "slot_start", "arrived_at", "started_at", "ended_at"):
            visits.loc[row, name] += shift
    return visits.sort_values("slot_start", ignore_index=True, kind="stable")


def planted(rows: pd.DataFrame) -> pd.DataFrame:
    """Put each column's mark into its cells: into all that hold free text or a name, into some of the others."""
    rows = rows.copy()
    for place, name in enumerate(rows.columns):
        if name in TEXT:
            rows[name] = [f"{each} {mark(name)}".strip() for each in rows[name]]
        elif name != SITE:
            some = np.arange(5 + place, len(rows), EVERY)
            rows.loc[some, name] = mark(name)
    rows[mark("a heading")] = mark("under a heading")
    return rows


def write_planted(folder: Path, rows: pd.DataFrame, *, names: bool = False) -> None:
    """Write the clinic's folder: settings, a CSV of the older rows and a workbook of the later ones."""
    exports = folder / "exports"
    exports.mkdir(parents=True)
    (folder / "clinic.toml").write_text(SETTINGS.format(names=str(names).lower()), encoding="utf-8")
    later = np.arange(len(rows)) >= len(rows) * 5 // 6
    rows[~later].to_csv(exports / f"{mark('csv file')}.csv", sep=";", index=False)
    with xlsxwriter.Workbook(str(exports / f"{mark('workbook')}.xlsx"), {"strings_to_formulas": False}) as book:
        book.set_properties({"author": mark("author"), "title": mark("title"), "created": ALONE[0].to_pydatetime()})
        sheet = book.add_worksheet(mark("sheet"))
        for row, cells in enumerate([list(rows.columns), *rows[later].to_numpy().tolist()]):
            for column, cell in enumerate(cells):
                sheet.write_string(row, column, str(cell))
