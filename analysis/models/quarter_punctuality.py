"""Starts on time, visits longer than their slot, and slots beside minutes, by kind of booking."""

from __future__ import annotations

import pandas as pd

from analysis.derive.sessions import AFTERNOON_FROM_HOUR
from analysis.models.quarter_counts import booking_flags, counted
from analysis.models.quarter_measures import ALL, Counts
from analysis.models.quarter_periods import THIS, Periods
from analysis.problems import NotEnough
from analysis.schema import BOOKING_KINDS

NO_KIND = "kind not recorded"
OWN_MINUTES = ("timed", "rounded")


def punctuality_counts(visits: pd.DataFrame, found: Periods) -> tuple[Counts, list[str], pd.DataFrame]:
    """Count starts on time and visits longer than their slot.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    found : Periods

    Returns
    -------
    (Counts, list of str, pandas.DataFrame)
        The counts; the parts: ``all``, then each kind of booking; and for each
        attended visit its day, part, half-day (as ``group``), marks, minutes
        where they are the visit's own, and slot.

    Raises
    ------
    NotEnough
        If the quarter has no attended visit with a start, or with minutes of
        its own and a slot.
    """
    visits = visits[found.within(visits["slot_start"])]
    flags = booking_flags(visits)
    own = flags["attended"] & visits["minutes"].notna() & visits["minutes_quality"].isin(OWN_MINUTES)
    with_slot = own & visits["slot_minutes"].notna()
    over = with_slot & (visits["minutes"] > visits["slot_minutes"])
    kind = visits["booking_kind"].astype("object").map(BOOKING_KINDS).fillna(NO_KIND).astype("str")
    marks = {"timed": flags["timed"], "on_time": flags["on_time"], "with_slot": with_slot, "over_slot": over}
    table = pd.DataFrame({"day": visits["slot_start"], "part": kind, "group": _half_days(visits), **marks}).assign(
        minutes=visits["minutes"].where(with_slot), slot_minutes=visits["slot_minutes"].where(with_slot)
    )
    table = table[flags["attended"]]
    counts = counted(table["day"], {name: table[name] for name in marks}, {}, found, table["part"])
    if not any(counts.by_period[THIS][name, ALL] for name in ("timed", "with_slot")):
        raise NotEnough(
            f"In {found.quarter.label} no visit has a start of its own, or minutes beside a slot.",
            "Record of every visit when it began and ended, and how long its slot was.",
        )
    kinds = [part for name, part in counts.by_period[THIS] if name == "with_slot" and part != ALL]
    return counts, [ALL, *(kinds if len(kinds) > 1 else [])], table


def _half_days(visits: pd.DataFrame) -> pd.Series:
    """Name each visit's half-day: whose, where, which day, which half."""
    slot = visits["slot_start"]
    who = visits["practitioner"].astype("object").fillna("") + "/" + visits["site"].astype("object").fillna("")
    half = (slot.dt.hour >= AFTERNOON_FROM_HOUR).map({True: " afternoon", False: " morning"})
    return who + slot.dt.strftime(" %Y-%m-%d").fillna("") + half
