"""A finished run as the typed tables of the suite."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analysis.demo import story
from analysis.schema import AGE_BANDS, EAR_ROWS, OUTCOMES, VISITS, typed_frame

Rows = dict[str, Any]


def visit_frame(rows: Rows) -> pd.DataFrame:
    """Give the table of visits; what only the chair tells is empty where nobody came."""
    came = rows["attendance"] == story.ATTENDED
    began = _moment(rows["day"], rows["started"])
    frame = pd.DataFrame(
        {
            "visit_id": visit_ids(rows),
            "patient_key": pd.Series(10001 + rows["patient"]).astype("str"),
            "site": np.array(story.SITES)[rows["site"]],
            "practitioner": np.array(story.PRACTITIONERS)[rows["practitioner"]],
            "booked_on": _moment(rows["booked_day"], np.zeros(len(came))),
            "slot_start": _moment(rows["day"], rows["slot_minute"]),
            "slot_minutes": story.TEMPLATE_MINUTES[rows["kind"]].astype(float),
            "arrived_at": _moment(rows["day"], np.where(came, rows["arrived"], np.nan)),
            "started_at": began,
            "ended_at": began + pd.to_timedelta(rows["minutes"], unit="m"),
            "attendance": np.array(story.ATTENDANCES)[rows["attendance"]],
            "booking_kind": np.array(story.KINDS)[rows["kind"]],
            "age_band": np.array(list(AGE_BANDS))[np.digitize(rows["age"], [18, 40, 60, 75])],
            "hearing_aid": rows["hearing_aid"],
            "cotton_bud": rows["cotton_bud"],
            "softening_advised": rows["advised"],
        }
    )
    at_chair = {
        "softener": rows["softener"],
        "softening_days": rows["softening_days"],
        "in_chair_softener": rows["in_chair"],
        "adverse_event": rows["adverse_event"],
        "onward_referral": rows["referral"],
        "fee": rows["fee"],
        "minutes": rows["minutes"],
        "minutes_quality": np.full(len(came), "timed"),
    }
    for name, values in at_chair.items():
        frame[name] = pd.Series(values.astype("object")).where(came, None)
    frame["minutes"] = frame["minutes"].astype("float64")
    return typed_frame(VISITS, frame)


def ear_frame(rows: Rows) -> pd.DataFrame:
    """Give the table of ears: left and right of every visit that took place."""
    came = np.repeat(rows["attendance"] == story.ATTENDED, 2)
    percent = _percent_as_written(rows["percent"], rows["grade"])
    frame = pd.DataFrame(
        {
            "visit_id": np.repeat(visit_ids(rows), 2),
            "ear": np.tile(["left", "right"], len(rows["day"])),
            "grade": _code(story.GRADE_CODES, rows["grade"]),
            "percent_blocked": percent.ravel(),
            "grade_revised": _code(story.GRADE_CODES, rows["revised"]),
            "impacted": rows["impacted"].ravel(),
            "debris": _code(story.DEBRIS_CODES, rows["debris"]),
            "canal": _code(story.CANAL_CODES, rows["canal"]),
            "methods": rows["methods"].ravel(),
            "outcome": _code(tuple(OUTCOMES), rows["outcome"]),
            "eardrum": rows["eardrum"].ravel(),
            "middle_ear": rows["middle_ear"].ravel(),
        }
    )
    return typed_frame(EAR_ROWS, frame[came])


def _percent_as_written(percent: np.ndarray, grade: np.ndarray) -> np.ndarray:
    """Write the share blocked as staff do, in fives: a clear canal is 0, one as good as full is 100."""
    spread = np.where(grade == story.PARTLY, 50 + (percent - 50) * 1.5, percent)
    lowest, highest = np.array([[0, 15, 50, 100], [0, 45, 95, 100]])[:, grade]
    return np.clip(5 * np.rint(spread / 5), lowest, highest)


def visit_ids(rows: Rows) -> np.ndarray:
    """Give the bookings numbers in their order."""
    return np.array([f"V{number:05d}" for number in range(1, len(rows["day"]) + 1)])


def _moment(day: np.ndarray, minute: np.ndarray) -> pd.DatetimeIndex:
    """Turn day and minute of the day into a moment; empty where either is."""
    whole = np.asarray(day, float) * 1440 + np.asarray(minute, float)
    known = np.isfinite(whole)
    moments = story.DAY_ZERO.astype("datetime64[m]") + np.where(known, whole, 0).astype("timedelta64[m]")
    return pd.DatetimeIndex(np.where(known, moments, np.datetime64("NaT", "m")).astype("datetime64[us]"))


def _code(codes: tuple[str, ...], number: np.ndarray) -> np.ndarray:
    """Turn numbers into codes; NO_CODE becomes empty."""
    return np.array([*codes, None], dtype=object)[number.ravel()]
