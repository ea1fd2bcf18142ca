"""The invented clinic's folder: two systems' exports, settings, truth, and the mark that it is invented."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analysis.clinic import SETTINGS_FILE
from analysis.demo import story
from analysis.demo.csv_export import csv_frame, write_csv
from analysis.demo.identities import identities, planted_strings
from analysis.demo.invented import SEED, Invented
from analysis.demo.mess import messy_clocks
from analysis.demo.toml_text import toml_text
from analysis.demo.wording import CLINIC_COLUMNS, CLINIC_WORDS
from analysis.demo.xlsx_export import ear_rows, write_xlsx

SYSTEM_CHANGE = pd.Timestamp("2025-04-01")
TRUE_DATES_UNTIL = pd.Timestamp("2026-01-01")
DOUBLE_MONTH = pd.Period("2026-03", "M")
CSV_FILE = "visits_2023-10_to_2025-03.csv"
XLSX_FILES = ("ears_2025-04_to_2025-12.xlsx", "ears_2026.xlsx")
DOUBLE_FILE = "ears_2026-03_again.xlsx"
MARK = "This clinic is invented. No person, clinic or brand in this folder is real.\n"
STREAM = 7


def write_exports(folder: Path, invented: Invented, seed: int = SEED) -> dict[str, Any]:
    """Write the invented clinic's folder, as messy as a real one's.

    Parameters
    ----------
    folder : Path
        Made where it does not exist. ``exports/``, ``clinic.toml``,
        ``truth.toml`` and ``INVENTED`` in it are written over.
    invented : Invented
        The clean clinic.
    seed : int, optional
        Seed of the mess and of the invented identities.

    Returns
    -------
    dict
        The truth as written: what was planted, and under ``mess`` how many
        rows, visits or cells of each kind of mess, file by file.
    """
    exports = Path(folder) / "exports"
    exports.mkdir(parents=True, exist_ok=True)
    clocks_rng, csv_rng, xlsx_rng = (np.random.default_rng([seed, STREAM, each]) for each in range(3))
    visits = invented.visits
    people = identities(visits, seed)
    clocks, clock_counts = messy_clocks(clocks_rng, visits)
    older = (visits["slot_start"] < SYSTEM_CHANGE).to_numpy()
    rows, csv_counts = csv_frame(csv_rng, *_part(invented, clocks, older), people)
    write_csv(exports / CSV_FILE, rows)
    newer_rows, xlsx_counts = ear_rows(xlsx_rng, *_part(invented, clocks, ~older), people)
    files = _write_workbooks(xlsx_rng, exports, newer_rows)
    truth = invented.truth | {
        "mess": {"clocks": clock_counts, "csv": csv_counts, "xlsx": xlsx_counts, "rows": {CSV_FILE: len(rows)} | files}
    }
    _write_words(Path(folder), truth)
    return truth


def planted_identities(invented: Invented, seed: int = SEED) -> list[str]:
    """List every name, phone number, mail address and birth date that the exports hold, for a search of what leaks.

    Parameters
    ----------
    invented : Invented
    seed : int, optional
        The seed given to ``write_exports``.

    Returns
    -------
    list of str
        Each as the exports write it, in every style they use.
    """
    return planted_strings(identities(invented.visits, seed))


def _part(
    invented: Invented, clocks: pd.DataFrame, which: np.ndarray
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Take one system's visits, ears and clocks."""
    visits = invented.visits[which].reset_index(drop=True)
    ears = invented.ears[invented.ears["visit_id"].isin(visits["visit_id"])].reset_index(drop=True)
    return visits, ears, clocks[which].reset_index(drop=True)


def _write_workbooks(rng: np.random.Generator, exports: Path, rows: pd.DataFrame) -> dict[str, int]:
    """Write the newer system's files, and one month a second time in another order; gives rows by file."""
    first = rows["day"] < TRUE_DATES_UNTIL
    again = rows[rows["day"].dt.to_period("M") == DOUBLE_MONTH]
    again = again.iloc[rng.permutation(len(again))]
    parts = dict(zip((*XLSX_FILES, DOUBLE_FILE), (rows[first], rows[~first], again), strict=True))
    for name, part in parts.items():
        write_xlsx(exports / name, part, true_dates=name == XLSX_FILES[0])
    return {name: len(part) for name, part in parts.items()}


def _write_words(folder: Path, truth: dict[str, Any]) -> None:
    """Write settings, truth and mark."""
    (folder / SETTINGS_FILE).write_text(settings_text(), encoding="utf-8", newline="\n")
    head = "# What was planted in the invented clinic. INVENTED: see README.md in data_demo.\n\n"
    (folder / "truth.toml").write_text(head + toml_text(truth), encoding="utf-8", newline="\n")
    (folder / "INVENTED").write_text(MARK, encoding="utf-8", newline="\n")


def settings_text() -> str:
    """Write the clinic's settings: its last day, today's template, and the words only it uses."""
    today = ", ".join(
        f"{kind} = {minutes}" for kind, minutes in zip(story.KINDS, story.TEMPLATE_MINUTES.tolist(), strict=True)
    )
    parts = (
        "# Settings of the invented clinic. What is not said here is as in a fresh clinic.toml.\n\n"
        '[clinic]\nname = "The invented clinic"\nlast_day = 2026-09-30\n\n'
        f"[slots]\nsession_minutes = {float(story.SESSION_MINUTES)}\n"
        f"turnaround_minutes = {float(story.TURNAROUND_MINUTES)}\ntoday = {{ {today} }}\n\n"
        f"[recall]\ntoday_months = {story.INVITE_MONTHS}\n\n"
        "# What only this clinic says.\n"
    )
    return parts + toml_text({"columns": CLINIC_COLUMNS, "words": CLINIC_WORDS})
