"""A small invented clinic whose coming months are known, for the truth tests of demand."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.schema import VISITS, typed_frame

START = pd.Timestamp("2023-01-01")


def invented_visits(
    rng: np.random.Generator, *, months: int = 42, new_a_month: float = 70.0, growth: float = 0.15, season: float = 0.2
) -> pd.DataFrame:
    """Invent attended visits on weekdays: growing, seasonal new patients and their returns."""
    end = START + pd.DateOffset(months=months)
    rows: list[tuple[str, pd.Timestamp, str, bool]] = []
    days = pd.date_range(START, end, inclusive="left")
    open_days = days[days.day_of_week < 5]
    years = (open_days - START).days / 365.25
    rate = new_a_month / 21.75 * np.exp(growth * years + season * np.cos(2 * np.pi * (years - 0.9)))
    arrivals = np.repeat(open_days, rng.poisson(rate))
    for number, day in enumerate(arrivals):
        rows += _one_patient(f"p{number}", day, end, rng)
    frame = pd.DataFrame(rows, columns=["patient_key", "slot_start", "booking_kind", "hearing_aid"])
    frame["attendance"] = "attended"
    frame["visit_id"] = [f"v{i}" for i in range(len(frame))]
    frame["slot_start"] += pd.Timedelta(hours=9)
    return typed_frame(VISITS, frame).sort_values("slot_start", kind="stable").reset_index(drop=True)


def _one_patient(
    key: str, day: pd.Timestamp, end: pd.Timestamp, rng: np.random.Generator
) -> list[tuple[str, pd.Timestamp, str, bool]]:
    """Follow one patient to the end: second attempts, symptoms, recalls, or never again."""
    hearing_aid, never = rng.random() < 0.35, rng.random() < 0.4
    visits, kind = [], "new"
    while day < end:
        visits.append((key, day, kind, hearing_aid))
        if kind != "second_attempt" and rng.random() < 0.12:
            kind, gap = "second_attempt", rng.integers(7, 22)
        elif never:
            break
        else:
            symptoms = 420 * (0.7 if hearing_aid else 1.0) * rng.weibull(1.6)
            recall = rng.normal(365, 12) if rng.random() < 0.35 else np.inf
            kind, gap = ("routine_recall", recall) if recall < symptoms else ("symptoms_return", symptoms)
        day = day + pd.Timedelta(days=round(float(gap)))
        day += pd.Timedelta(days={5: -1, 6: 1}.get(day.weekday(), 0))
    return visits
