"""A clinic folder: its settings, exports, store and reports."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.problems import DataProblem
from analysis.schema import EAR_ROWS, SET_ASIDE, VISITS, typed_frame
from analysis.settings import Settings, intake_marks, settings_from_toml

SETTINGS_FILE = "clinic.toml"
EXPORT_ENDINGS = (".csv", ".tsv", ".txt", ".xlsx", ".parquet")
RECORD_FILE = "intake.json"
TABLES = {"visits": VISITS, "ears": EAR_ROWS, "set_aside": SET_ASIDE}
TABLES_KEY = "tables"
"""Names, in the record, the folder its tables stand in: the one file that is swapped when the store changes."""
TABLES_FOLDER = r"tables-[0-9a-f]{16}(-\d+)?"
NAMED_BY_KEY = "[0-9a-f]{16}$"
"""How a visit's name ends that intake made from the patient's pseudonym, day and time."""
LONGEST_PAUSE_DAYS, FEWEST_NO_SLIP = 92, 5
TRIES = 100
"""How often tables are looked for that a run takes away just then, because it has made newer ones."""


@dataclass(frozen=True, eq=False)
class Clinic:
    """One clinic's log and settings: what every answer is asked of.

    Attributes
    ----------
    visits, ears, set_aside : pandas.DataFrame
        The tables of ``schema``; treat them as read-only.
    settings : Settings
    record : dict
        What intake did: files, rows in, kept and set aside, columns dropped.
    invented : bool
        True for the invented demo clinic; shown wherever its figures are.
    pseudonyms : pandas.Series of str
        The store's pseudonym of each patient of ``visits``; empty where a clinic was not opened from its folder.
    """

    visits: pd.DataFrame
    ears: pd.DataFrame
    set_aside: pd.DataFrame = field(default_factory=lambda: typed_frame(SET_ASIDE, pd.DataFrame()))
    settings: Settings = field(default_factory=Settings)
    record: dict[str, Any] = field(default_factory=dict)
    invented: bool = False
    pseudonyms: pd.Series = field(default_factory=lambda: pd.Series(dtype="str"))

    @property
    def first_day(self) -> pd.Timestamp:
        """Day of the first booking in the log; not a time where there is none."""
        return self._day(self.visits["slot_start"].min())

    @property
    def last_day(self) -> pd.Timestamp:
        """Last day the log covers: the setting, or the last attended visit that is no stray date, or the last booking."""
        if self.settings.clinic.last_day is not None:
            return pd.Timestamp(self.settings.clinic.last_day)
        attended = self.visits.loc[self.visits["attendance"] == "attended", "slot_start"].dropna()
        return self._day(self.visits["slot_start"].max()) if attended.empty else last_settled_day(attended)

    @property
    def changed_since_intake(self) -> list[str]:
        """Parts of the settings that intake reads and that say otherwise now; none where intake kept no word of them."""
        now = intake_marks(self.settings)
        return [part for part, mark in self.record.get("settings", {}).items() if now.get(part) != mark]

    @property
    def rows_shown(self) -> dict[str, int | None]:
        """Rows read, kept and set aside as intake counted them; none of them where those set aside are too few to tell."""
        few = 0 < (self.record.get("rows_set_aside") or 0) < self.settings.clinic.hide_below
        names = ("rows_in", "rows_kept", "rows_set_aside")
        return {name: None if few else self.record.get(name) for name in names}

    @staticmethod
    def _day(moment: pd.Timestamp) -> pd.Timestamp:
        """Drop the time of day; no moment stays none."""
        return moment if pd.isna(moment) else moment.normalize()

    def _repr_html_(self) -> str:
        """Give the strip a notebook shows under its loading line."""
        return f"<p><strong>{self}</strong></p>"

    def __str__(self) -> str:
        """Say which clinic, how many rows, which days."""
        label = "INVENTED DEMO CLINIC" if self.invented else self.settings.clinic.name
        first, last = self.first_day, self.last_day
        if pd.isna(first):
            return f"{label}: no bookings; {len(self.set_aside):,} rows set aside"
        days = f"{first.day} {first:%B %Y} to {last.day} {last:%B %Y}"
        return f"{label}: {len(self.visits):,} bookings, {len(self.ears):,} ears, {days}; {len(self.set_aside):,} rows set aside"

    __repr__ = __str__


def last_settled_day(moments: pd.Series) -> pd.Timestamp:
    """Give the last day of visits, leaving out the few that stand alone long after all others: their dates are slips.

    Parameters
    ----------
    moments : pandas.Series of datetime
        Attended visits; at least one, none empty.

    Returns
    -------
    pandas.Timestamp

    Notes
    -----
    Left out is what comes after a pause of more than 92 days, where it is
    fewer than 5 visits and at most 1 in 100 (our choice, no source). One visit
    misdated by ten years would otherwise make everyone look watched for ten
    years and never back.

    Examples
    --------
    >>> days = pd.Series(pd.date_range("2025-01-01", periods=300).append(pd.DatetimeIndex(["2052-03-01"])))
    >>> last_settled_day(days), last_settled_day(days.iloc[-20:])
    (Timestamp('2025-10-27 00:00:00'), Timestamp('2052-03-01 00:00:00'))
    """
    days = moments.dt.normalize().sort_values(ignore_index=True)
    after = len(days) - 1 - days.index
    stray = (days.diff().shift(-1).dt.days > LONGEST_PAUSE_DAYS) & (after < FEWEST_NO_SLIP) & (after * 100 <= len(days))
    return days[stray.idxmax()] if stray.any() else days.iloc[-1]


def read_settings(folder: Path, name: str = SETTINGS_FILE) -> Settings:
    """Read a clinic folder's ``clinic.toml``; a folder without one has the defaults."""
    path = folder / name
    if not path.exists():
        return Settings()
    try:
        return settings_from_toml(path.read_text(encoding="utf-8-sig"), file=name)
    except UnicodeDecodeError:
        remedy = "Save it again as UTF-8, which any text editor offers."
        raise DataProblem("This file is not UTF-8 text.", remedy, file=name) from None


def export_files(folder: Path) -> list[Path]:
    """List a clinic folder's exports by name; say so where there are none."""
    if not folder.is_dir():
        raise DataProblem(
            "There is no such folder.", "Look at its name, or make it with: earclinic start DIR", file=str(folder)
        )
    exports = folder / "exports"
    found = (
        sorted(path for path in exports.glob("*") if path.suffix.lower() in EXPORT_ENDINGS) if exports.is_dir() else []
    )
    if not found:
        raise DataProblem(
            "There are no exports here.",
            f"Put the files ({', '.join(EXPORT_ENDINGS)}) into {exports.name}/ in that folder.",
            file=str(folder),
        )
    return found


def open_clinic(folder: str | Path) -> Clinic:
    """Open a clinic folder whose exports have been taken in.

    Parameters
    ----------
    folder : str or Path
        The clinic folder, holding ``store/``.

    Returns
    -------
    Clinic

    Raises
    ------
    DataProblem
        If the folder has no store yet, or its settings cannot be read.
    """
    folder = Path(folder)
    tables, record = _read_store(folder)
    tables["visits"], pseudonyms = number_patients(tables["visits"])
    tables["visits"], tables["ears"] = number_visits(tables["visits"], tables["ears"])
    invented = (folder / "INVENTED").exists()
    return Clinic(**tables, settings=read_settings(folder), record=record, invented=invented, pseudonyms=pseudonyms)


def number_patients(visits: pd.DataFrame) -> tuple[pd.DataFrame, pd.Series]:
    """Name patients by their place in the log.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS`` as the store holds it.

    Returns
    -------
    (pandas.DataFrame, pandas.Series)
        The table with names, and the pseudonym of each name.

    Notes
    -----
    Pseudonyms sort as the clinic's key happens to make them, and resampling
    draws patients in their order: another key would give other ranges in the
    third digit. By names the same exports give the same figures to the byte.

    Examples
    --------
    >>> named, pseudonyms = number_patients(pd.DataFrame({"patient_key": ["x9", None, "a4", "x9"]}, dtype="str"))
    >>> named["patient_key"].tolist(), pseudonyms["p0000001"]
    (['p0000000', nan, 'p0000001', 'p0000000'], 'a4')
    """
    keys = visits["patient_key"].replace("", None)
    place, pseudonyms = pd.factorize(keys)
    names = pd.Index([f"p{number:07d}" for number in range(len(pseudonyms))], dtype="str")
    named = pd.Series(names, dtype="str").reindex(place).to_numpy()
    told = visits.assign(patient_key=pd.Series(named, index=visits.index, dtype="str"))
    return told, pd.Series(pseudonyms, index=names, dtype="str")


def number_visits(visits: pd.DataFrame, ears: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Name visits by their place in the log where the store's names hang on the clinic's key.

    Parameters
    ----------
    visits, ears : pandas.DataFrame
        The tables ``VISITS`` and ``EAR_ROWS`` as the store holds them.

    Returns
    -------
    (pandas.DataFrame, pandas.DataFrame)
        Both with names; as they were where the log numbers its visits itself.

    Examples
    --------
    >>> visits, ears = (pd.DataFrame({"visit_id": names}, dtype="str") for names in (["12", "0f" * 8], ["0f" * 8] * 2))
    >>> [table["visit_id"].tolist() for table in number_visits(visits, ears)]
    [['v00000000', 'v00000001'], ['v00000001', 'v00000001']]
    """
    if not visits["visit_id"].str.contains(NAMED_BY_KEY).any():
        return visits, ears
    names = pd.Series([f"v{number:08d}" for number in range(len(visits))], index=visits["visit_id"], dtype="str")
    return visits.assign(visit_id=names.to_numpy()), ears.assign(visit_id=ears["visit_id"].map(names))


def _read_store(folder: Path) -> tuple[dict[str, pd.DataFrame], dict[str, Any]]:
    """Read the tables and the record of one and the same run of intake."""
    store = folder / "store"
    for _ in range(TRIES):
        if not (store / RECORD_FILE).exists():
            raise DataProblem("Nothing has been taken in yet.", f"Run: earclinic intake {folder}", file=str(folder))
        try:
            record = dict(json.loads((store / RECORD_FILE).read_text(encoding="utf-8")))
            # a store of the first layout names no folder: its tables stand beside the record
            name = str(record.pop(TABLES_KEY, "."))
            if name != "." and not re.fullmatch(TABLES_FOLDER, name):
                break
            tables = {
                table: typed_frame(meant, pd.read_parquet(store / name / f"{table}.parquet"))
                for table, meant in TABLES.items()
            }
        except FileNotFoundError:
            continue
        except (OSError, ValueError, TypeError):  # what the Parquet and JSON readers raise
            break
        return tables, record
    raise DataProblem(
        "The store is damaged.", f"Run again: earclinic intake {folder}; the exports are as they were.", file="store"
    )
