"""Small invented logs, where many counts are small."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.clinic import Clinic
from analysis.demo import invented_clinic
from analysis.schema import SET_ASIDE, typed_frame
from analysis.settings import settings_from_toml

SETTINGS = """
[clinic]
last_day = 2026-09-30
hide_below = {hide_below}
[slots]
today = {{ new = 30, routine_recall = 20, symptoms_return = 30, second_attempt = 20 }}
"""


@dataclass(frozen=True)
class SmallLog:
    """How a small log is cut from the invented clinic's."""

    one_in: int
    since: str = "2023-01-01"
    rare: bool = False


LOGS = {
    "150 bookings with a rare practitioner, site and kind": SmallLog(70, rare=True),
    "a quarter of 120 bookings": SmallLog(9, "2026-07-01"),
    "nine months of 300 bookings": SmallLog(12, "2026-01-01", rare=True),
}


def small_clinic(log: SmallLog, *, hide_below: int = 5) -> Clinic:
    """Cut a small log from the invented clinic's, with rows set aside for reasons that are rare."""
    made = invented_clinic()
    chosen = pd.Series(made.visits["patient_key"].unique())[:: log.one_in]
    visits = made.visits[made.visits["patient_key"].isin(chosen) & (made.visits["slot_start"] >= log.since)]
    visits = visits.reset_index(drop=True)
    if log.rare:
        visits = _with_rare(visits)
    ears = made.ears[made.ears["visit_id"].isin(visits["visit_id"])].reset_index(drop=True)
    reasons = ["no date"] * 3 + ["test patient"] * 7
    aside = typed_frame(SET_ASIDE, pd.DataFrame({"reason": reasons, "remedy": "Look at it."}))
    record = {"rows_in": len(visits) + 10, "rows_kept": len(visits), "rows_set_aside": 10}
    return Clinic(visits, ears, aside, settings_from_toml(SETTINGS.format(hide_below=hide_below)), record)


def _with_rare(visits: pd.DataFrame) -> pd.DataFrame:
    """Give the log a practitioner, a site and facts left blank that only a few visits have."""
    visits = visits.copy()
    attended = np.flatnonzero(visits["attendance"].to_numpy() == "attended")
    visits["practitioner"] = visits["practitioner"].astype("object")
    visits["site"] = visits["site"].astype("object")
    visits.loc[attended[-3:], "practitioner"] = "Elder"
    visits.loc[attended[-9:-7], "site"] = "Ferry Road"
    visits.loc[attended[-20:-17], "minutes_quality"] = "filled_from_slot"
    visits.loc[attended[-24:-22], "adverse_event"] = pd.NA
    visits.loc[attended[-28:-25], "patient_key"] = pd.NA
    return visits
