"""Small logs in the trade's words, for the tests of demand."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.models.visit_history import History, visit_history
from analysis.schema import VISITS, typed_frame

Line = tuple[str | None, str, str | None]


def log(*lines: Line, **columns: object) -> pd.DataFrame:
    """Make visits of (patient, day, kind); attended unless a column says otherwise."""
    frame = pd.DataFrame(lines, columns=["patient_key", "slot_start", "booking_kind"])
    frame["slot_start"] = pd.to_datetime(frame["slot_start"]) + pd.Timedelta(hours=10)
    frame["attendance"] = "attended"
    frame["visit_id"] = [f"v{number}" for number in range(len(frame))]
    return typed_frame(VISITS, frame.assign(**columns))


def history(*lines: Line, last_day: str, **columns: object) -> History:
    """Put such a log in order."""
    return visit_history(log(*lines, **columns), last_day=pd.Timestamp(last_day))


def steady_clinic(*, months: int = 30, a_day: int = 4, start: str = "2023-01-02", seed: int = 1) -> pd.DataFrame:
    """Make a clinic with so many new patients every weekday, a third of whom return once, after some months."""
    rng = np.random.default_rng(seed)
    first = pd.Timestamp(start)
    days = pd.bdate_range(first, first + pd.DateOffset(months=months) - pd.Timedelta(days=2))
    seen = np.repeat(days, a_day)
    back = rng.random(len(seen)) < 1 / 3
    returned = seen[back] + pd.to_timedelta(rng.integers(60, 300, back.sum()), unit="D")
    names = np.array([f"p{number}" for number in range(len(seen))])
    frame = pd.DataFrame(
        {
            "patient_key": [*names, *names[back]],
            "slot_start": [*seen, *(returned + pd.tseries.offsets.BDay(0))],
            "booking_kind": ["new"] * len(seen) + ["symptoms_return"] * int(back.sum()),
        }
    )
    frame = frame[frame["slot_start"] <= days[-1]].sort_values("slot_start", kind="stable")
    frame["slot_start"] += pd.Timedelta(hours=9)
    frame["attendance"], frame["slot_minutes"] = "attended", 30.0
    frame["visit_id"] = [f"v{number}" for number in range(len(frame))]
    return typed_frame(VISITS, frame)
