"""A small invented clinic whose coming months are known, for the truth tests of demand."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.schema import VISITS, typed_frame

START = pd.Timestamp("2023-01-01")


def invented_visits(
    rng: np.random.Generator,
    *,
    months: int = 42,
    new_a_month: float = 70.0,
    growth: float = 0.15,
    season: float = 0.2,
    closing: bool = False,
) -> pd.DataFrame:
    """Invent attended visits on weekdays: growing, seasonal new patients and their returns.

    With ``closing`` the clinic shuts from 24 December to New Year's Day, on Good Friday and on Easter Monday: nobody
    new comes on these days, and whoever is due comes on the next open one.
    """
    end = START + pd.DateOffset(months=months)
    rows: list[tuple[str, pd.Timestamp, str, bool]] = []
    days = pd.date_range(START, end, inclusive="left")
    open_days = days[(days.day_of_week < 5) & ~(is_shut(days) & closing)]
    years = (open_days - START).days / 365.25
    rate = new_a_month / 21.75 * np.exp(growth * years + season * np.cos(2 * np.pi * (years - 0.9)))
    arrivals = np.repeat(open_days, rng.poisson(rate))
    for number, day in enumerate(arrivals):
        rows += _one_patient(f"p{number}", day, end, rng)
    frame = pd.DataFrame(rows, columns=["patient_key", "slot_start", "booking_kind", "hearing_aid"])
    frame["slot_start"] = _next_open(frame["slot_start"], closing=closing)
    frame = frame[frame["slot_start"] < end].reset_index(drop=True)
    frame["attendance"] = "attended"
    frame["visit_id"] = [f"v{i}" for i in range(len(frame))]
    frame["slot_start"] += pd.Timedelta(hours=9)
    return typed_frame(VISITS, frame).sort_values("slot_start", kind="stable").reset_index(drop=True)


def is_shut(days: pd.DatetimeIndex) -> np.ndarray:
    """Say which days are those on which a closing clinic shuts."""
    christmas = days.strftime("%m-%d").isin(("01-01", *(f"12-{day}" for day in range(24, 32))))
    easter = {year: pd.Timestamp(year=year, month=1, day=1) + pd.offsets.Easter() for year in set(days.year)}
    after = np.array([(day - easter[day.year]).days for day in days])
    return np.asarray(christmas) | np.isin(after, (-2, 1))


def _next_open(day: pd.Series, *, closing: bool) -> pd.Series:
    """Move visits of closed days to the next open one."""
    if not closing:
        return day
    every = pd.date_range(day.min(), day.max() + pd.DateOffset(days=14))
    opened = every[(every.day_of_week < 5) & ~is_shut(every)]
    return pd.Series(opened[opened.searchsorted(day)], index=day.index)


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
