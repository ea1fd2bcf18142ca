"""Sessions: each practitioner's half-days, booking by booking in order."""

from __future__ import annotations

import pandas as pd

from analysis.schema import SESSIONS, typed_frame

HELD_SLOT = ("attended", "missed", "cancelled_late")
"""Bookings whose slot was still theirs on the day; one cancelled in time or moved gave it up."""

AFTERNOON_FROM_HOUR = 13
ON_TIME_MINUTES = 5
"""A visit begun within these of the slot (or of arriving, if later) counts as on time (a choice, no source)."""
ONE_SESSION = ["day", "half", "site", "practitioner"]
KEPT = [
    *("visit_id", "site", "practitioner", "slot_start", "slot_minutes"),
    *("attendance", "booking_kind", "minutes", "minutes_quality"),
]


def sessions(visits: pd.DataFrame) -> pd.DataFrame:
    """List every practitioner's half-day sessions, booking by booking in order.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.

    Returns
    -------
    pandas.DataFrame
        The table ``SESSIONS``, in order of day, half, site, practitioner and
        slot. ``session_id`` names day, half and a running number within it.

    Notes
    -----
    A slot from 13:00 belongs to the afternoon. Bookings cancelled in time or
    moved are not listed, for their slot was free again; neither are bookings
    without a slot. Where the log names no practitioner or site, everything of
    a half-day is one session.

    Examples
    --------
    >>> from analysis.schema import VISITS
    >>> visits = typed_frame(VISITS, pd.DataFrame({
    ...     "visit_id": ["v2", "v1", "v3"], "practitioner": ["A"] * 3, "attendance": ["attended", "missed", "moved"],
    ...     "slot_start": pd.to_datetime(["2026-03-02 09:30", "2026-03-02 09:00", "2026-03-02 10:00"]),
    ...     "arrived_at": pd.to_datetime(["2026-03-02 09:26", None, None])}))
    >>> sessions(visits)[["session_id", "position", "visit_id", "late_minutes"]].to_numpy().tolist()
    [['2026-03-02 morning 1', 1, 'v1', nan], ['2026-03-02 morning 1', 2, 'v2', -4.0]]
    """
    held = visits[visits["attendance"].isin(HELD_SLOT) & visits["slot_start"].notna()]
    slot = held["slot_start"]
    table = held[KEPT].assign(
        day=slot.dt.normalize(),
        half=(slot.dt.hour >= AFTERNOON_FROM_HOUR).map({False: "morning", True: "afternoon"}),
        late_minutes=(held["arrived_at"] - slot).dt.total_seconds() / 60,
    )
    table["half"] = table["half"].astype(pd.CategoricalDtype(["morning", "afternoon"], ordered=True))
    table = table.sort_values([*ONE_SESSION, "slot_start", "visit_id"], ignore_index=True)
    session = table.groupby(ONE_SESSION, observed=True, dropna=False, sort=True).ngroup()
    table["position"] = table.groupby(session).cumcount() + 1
    number = session - session.groupby([table["day"], table["half"]], observed=True).transform("min") + 1
    table["session_id"] = (
        table["day"].dt.strftime("%Y-%m-%d ") + table["half"].astype("str") + " " + number.astype("str")
    )
    return typed_frame(SESSIONS, table)
