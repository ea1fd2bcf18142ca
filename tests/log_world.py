"""A small invented log written as things happened, and the habits that can be planted in it.

Starts scatter around the slot, ends follow from visits of smoothly spread
length, patients keep one number: so a clean log, whatever its size, should raise no flag.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.clinic import Clinic
from analysis.schema import EAR_ROWS, GRADES, VISITS, typed_frame

PRACTITIONERS = ("Elm", "Hazel", "Oak", "Yew")
SLOT_MINUTES, SLOTS_A_DAY = 30, 12
FIRST_DAY = pd.Timestamp("2024-01-01")


def clean_clinic(rng: np.random.Generator, *, days: int = 240, practitioners: int = 3) -> Clinic:
    """Make a clinic whose staff write everything down as it happens."""
    visits = _visits(rng, days, PRACTITIONERS[:practitioners])
    return clinic_of(visits, _ears(rng, visits))


def clinic_of(visits: pd.DataFrame, ears: pd.DataFrame) -> Clinic:
    """Make a clinic of untyped tables."""
    return Clinic(typed_frame(VISITS, visits), typed_frame(EAR_ROWS, ears))


def _visits(rng: np.random.Generator, days: int, practitioners: tuple[str, ...]) -> pd.DataFrame:
    """Fill about half of each practitioner's slots."""
    slots = pd.MultiIndex.from_product(
        [range(days), practitioners, range(SLOTS_A_DAY)], names=["day", "practitioner", "slot"]
    ).to_frame(index=False)
    visits = slots[rng.random(len(slots)) < 0.5].sort_values(["day", "slot", "practitioner"], ignore_index=True)
    start = FIRST_DAY + pd.to_timedelta(visits["day"], unit="D") + pd.Timedelta(hours=9)
    visits["slot_start"] = start + pd.to_timedelta(visits["slot"] * SLOT_MINUTES, unit="m")
    visits["visit_id"] = [f"v{row}" for row in visits.index]
    visits["slot_minutes"] = float(SLOT_MINUTES)
    visits["site"] = visits["practitioner"].map(lambda who: "Mill Lane" if who in PRACTITIONERS[:2] else "Quayside")
    visits["source_file"] = "log.csv"
    visits = visits.assign(**_times(rng, visits), **_patients(rng, visits))
    visits["attendance"] = np.where(rng.random(len(visits)) < 0.9, "attended", "missed")
    missed = visits["attendance"] == "missed"
    for name in ("arrived_at", "started_at", "ended_at", "minutes", "minutes_quality"):
        visits[name] = visits[name].mask(missed)
    visits["softener"] = rng.choice(["none", "olive_oil"], len(visits))
    visits["softener"] = visits["softener"].mask(rng.random(len(visits)) < 0.05)
    return visits


def _times(rng: np.random.Generator, visits: pd.DataFrame) -> dict[str, pd.Series]:
    """Draw arrivals, starts and ends to the minute; a practitioner's next patient waits for the last to leave."""
    n = len(visits)
    planned = visits["slot"].to_numpy() * SLOT_MINUTES + rng.integers(-2, 7, n)
    length = np.clip(np.rint(rng.gamma(9.0, 2.4, n)), 5, 60).astype(int)
    start = planned.copy()
    free: dict[tuple[int, str], int] = {}
    for row, room in enumerate(zip(visits["day"], visits["practitioner"], strict=True)):
        start[row] = max(planned[row], free.get(room, -99) + 1)
        free[room] = start[row] + length[row]
    opens = visits["slot_start"] - pd.to_timedelta(visits["slot"] * SLOT_MINUTES, unit="m")
    begun = opens + pd.to_timedelta(start, unit="m")
    return {
        "arrived_at": opens + pd.to_timedelta(planned - rng.integers(1, 25, n), unit="m"),
        "started_at": begun,
        "ended_at": begun + pd.to_timedelta(length, unit="m"),
        "minutes": pd.Series(length.astype(float), index=visits.index),
        "minutes_quality": pd.Series("timed", index=visits.index),
    }


def _patients(rng: np.random.Generator, visits: pd.DataFrame) -> dict[str, list[str]]:
    """Let four visits in ten be returns; a patient who comes again kept the age band and is not there twice at once."""
    bands = ["18_39", "40_59", "60_74", "75_and_over"]
    known: list[str] = []
    last: dict[str, pd.Timestamp] = {}
    keys, kinds = [], []
    for row, (back, moment) in enumerate(zip(rng.random(len(visits)) < 0.4, visits["slot_start"], strict=True)):
        key = known[int(rng.integers(len(known)))] if back and known else ""
        if not key or last[key] == moment:
            key = f"p{row}"
            known.append(key)
        kinds.append("symptoms_return" if key in last else "new")
        last[key] = moment
        keys.append(key)
    return {"patient_key": keys, "booking_kind": kinds, "age_band": [bands[int(key[1:]) % 4] for key in keys]}


def _ears(rng: np.random.Generator, visits: pd.DataFrame) -> pd.DataFrame:
    """Give each attended visit two ears; a clear one is not worked on."""
    came = visits.loc[visits["attendance"] == "attended", "visit_id"].to_numpy()
    ears = pd.DataFrame({"visit_id": np.repeat(came, 2), "ear": ["left", "right"] * len(came)})
    step = rng.integers(0, len(GRADES), len(ears))
    ears["grade"] = np.array(list(GRADES), dtype=object)[step]
    ears["methods"] = np.where(step > 0, "fine_suction", None)
    ears["outcome"] = np.where(step > 0, "clear", "nothing_to_remove")
    return ears


def with_visits(clinic: Clinic, **changed: pd.Series) -> Clinic:
    """Give the clinic with some columns of its visits changed."""
    return Clinic(clinic.visits.assign(**changed), clinic.ears, clinic.set_aside, clinic.settings, clinic.record)


def rounding(clinic: Clinic, who: str) -> Clinic:
    """Let one practitioner round every end to five minutes."""
    ends = clinic.visits["ended_at"]
    return with_visits(clinic, ended_at=ends.mask(clinic.visits["practitioner"] == who, ends.dt.round("5min")))


def copying(rng: np.random.Generator, clinic: Clinic, who: str, share: float) -> Clinic:
    """Let one practitioner copy a share of ends from the diary."""
    visits = clinic.visits
    which = (visits["practitioner"] == who) & visits["ended_at"].notna() & (rng.random(len(visits)) < share)
    return with_visits(
        clinic, ended_at=visits["ended_at"].mask(which, visits["slot_start"] + pd.Timedelta(minutes=SLOT_MINUTES))
    )


def numbers_starting_again(clinic: Clinic, day: str) -> Clinic:
    """Let a new system give every patient a new number, and call the first visit there new."""
    visits = clinic.visits
    after = visits["slot_start"] >= pd.Timestamp(day)
    keys = visits["patient_key"].mask(after, "again_" + visits["patient_key"])
    first = after & ~keys.duplicated()
    kinds = visits["booking_kind"].astype("object").mask(first, "new").astype(visits["booking_kind"].dtype)
    files = visits["source_file"].mask(after, "new_system.csv")
    return with_visits(clinic, patient_key=keys, booking_kind=kinds, source_file=files)


def forgetting(clinic: Clinic, who: str, column: str) -> Clinic:
    """Let one practitioner leave a fact blank."""
    return with_visits(clinic, **{column: clinic.visits[column].mask(clinic.visits["practitioner"] == who)})
