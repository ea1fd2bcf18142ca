"""What the coming visits fill: bookings in the diary, minutes and half-day sessions."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.models.visit_history import KINDS
from analysis.problems import NotEnough

LOST = ("missed", "cancelled_late")
"""Bookings whose slot nobody else takes (common practice, no source)."""
FREED = ("cancelled", "moved")
"""Bookings whose slot can be given to somebody else (common practice, no source)."""
COUNTED = ("timed", "rounded")
DAYS_LOOKED_AT = 365
FEWEST_BOOKINGS = 50
FEWEST_VISITS = 5


def booking_ends(visits: pd.DataFrame, *, last_day: pd.Timestamp) -> pd.DataFrame:
    """Count, by kind, how the bookings of the last year ended.

    Parameters
    ----------
    visits : pandas.DataFrame
        The ``visits`` table.
    last_day : pandas.Timestamp
        Last day the log covers.

    Returns
    -------
    pandas.DataFrame, indexed by booking kind
        ``kept``; ``lost``, missed or cancelled late; ``freed``, cancelled in
        time or moved. A kind with fewer than 50 has the counts of all kinds together.

    Examples
    --------
    >>> visits = pd.DataFrame({"attendance": ["attended", "missed", "moved"], "booking_kind": ["new"] * 3,
    ...     "slot_start": pd.to_datetime(["2026-03-02", "2026-03-03", "2026-03-04"])})
    >>> booking_ends(visits, last_day=pd.Timestamp("2026-03-31")).loc["new"].tolist()
    [1, 1, 1]
    """
    recent = _last_year(visits, last_day)
    marks = pd.DataFrame(
        {
            "kept": recent["attendance"].eq("attended"),
            "lost": recent["attendance"].isin(LOST),
            "freed": recent["attendance"].isin(FREED),
        }
    ).astype(int)
    counts = marks.groupby(recent["booking_kind"].astype("object")).sum().reindex(list(KINDS), fill_value=0)
    counts[counts.sum(axis=1) < FEWEST_BOOKINGS] = marks.sum().to_numpy()
    return counts.rename_axis("booking_kind")


def minutes_by_kind(visits: pd.DataFrame, *, last_day: pd.Timestamp, turnaround_minutes: float) -> pd.DataFrame:
    """Minutes one booking of each kind takes up, from the last year of the log.

    Parameters
    ----------
    visits : pandas.DataFrame
        The ``visits`` table.
    last_day : pandas.Timestamp
        Last day the log covers.
    turnaround_minutes : float
        Minutes between patients, added to the minutes in the chair.

    Returns
    -------
    pandas.DataFrame, indexed by booking kind
        ``chair``, ``chair_sd``, ``chair_n`` : minutes in the chair with turnaround, timed visits only;
        ``slot``, ``slot_sd``, ``slot_n`` : minutes booked. Missing where
        the log has none; a kind with fewer than 5 has the figures of all.

    Raises
    ------
    NotEnough
        If the log has neither minutes booked nor minutes in the chair.

    Examples
    --------
    >>> visits = pd.DataFrame({"attendance": ["attended"] * 6, "booking_kind": ["new"] * 6, "slot_minutes": 30.0,
    ...     "minutes": [20.0, 22.0, 24.0, 20.0, 22.0, 24.0], "minutes_quality": "timed",
    ...     "slot_start": pd.Timestamp("2026-03-02")})
    >>> minutes_by_kind(visits, last_day=pd.Timestamp("2026-03-31"), turnaround_minutes=2.0).loc["new", ["chair", "slot"]].tolist()
    [24.0, 30.0]
    """
    recent = _last_year(visits, last_day)
    came = recent[recent["attendance"].eq("attended")] if recent["attendance"].notna().any() else recent
    timed = came["minutes"].where(came["minutes_quality"].isin(COUNTED)) + turnaround_minutes
    kind = came["booking_kind"].astype("object")
    chair = _summary(timed, kind, "chair")
    slot = _summary(came["slot_minutes"].astype("float64"), kind, "slot")
    both = pd.concat([chair, slot], axis=1)
    if both[["chair", "slot"]].isna().all(axis=None):
        raise NotEnough(
            "The log holds neither minutes booked nor minutes in the chair.",
            "Record the length of each slot, or when each visit starts and ends.",
        )
    return both


def _last_year(visits: pd.DataFrame, last_day: pd.Timestamp) -> pd.DataFrame:
    """Keep the bookings of the year up to the last day."""
    day = visits["slot_start"].dt.normalize()
    return visits[(day > last_day - pd.Timedelta(days=DAYS_LOOKED_AT)) & (day <= last_day)]


def _summary(minutes: pd.Series, kind: pd.Series, name: str) -> pd.DataFrame:
    """Give mean, spread and number by kind; kinds with too few take all kinds' figures."""
    known = minutes.notna()
    of = minutes[known].groupby(kind[known])
    table = pd.DataFrame({name: of.mean(), f"{name}_sd": of.std(), f"{name}_n": of.size()})
    table = table.reindex(list(KINDS))
    overall = [minutes.mean(), minutes.std(), known.sum()]
    table[table[f"{name}_n"].fillna(0) < FEWEST_VISITS] = overall
    return table.fillna({f"{name}_sd": 0.0}).rename_axis("booking_kind")


def other_bookings(attended: np.ndarray, ends: pd.DataFrame, end: str, rng: np.random.Generator) -> np.ndarray:
    """Draw the bookings that will end otherwise, beside the attended ones.

    Parameters
    ----------
    attended : numpy.ndarray, shape (futures, months, kinds)
        Attended visits in each drawn future.
    ends : pandas.DataFrame
        From ``booking_ends``.
    end : str
        ``lost`` or ``freed``.
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray, shape (futures, months, kinds)
        Whole numbers.

    Notes
    -----
    The share attended, of bookings attended or ending so, is drawn from its
    beta distribution; given it, the bookings ending so until the attended ones
    are reached are negative binomial.
    """
    kept, lost = (ends[name].to_numpy(dtype=float) for name in ("kept", end))
    share = rng.beta(kept + 0.5, np.maximum(lost, 1e-12), size=(len(attended), len(KINDS)))[:, None, :]
    drawn = rng.negative_binomial(np.maximum(attended, 1.0), np.clip(share, 1e-6, 1.0))
    return np.where((attended > 0) & (lost > 0), drawn, 0).astype(float)


def sessions_needed(
    attended: np.ndarray,
    lost: np.ndarray,
    minutes: pd.DataFrame,
    *,
    session_minutes: float,
    rng: np.random.Generator,
) -> np.ndarray:
    """Half-day sessions each drawn future fills, at today's lengths of slots and visits.

    Parameters
    ----------
    attended, lost : numpy.ndarray, shape (futures, months, kinds)
        Attended visits, and bookings missed or cancelled late.
    minutes : pandas.DataFrame
        From ``minutes_by_kind``.
    session_minutes : float
        Minutes in a half-day session.
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray, shape (futures, months)
        Sessions, not rounded.

    Notes
    -----
    An attended visit takes up its slot or, where visits of its kind run
    longer on average, its minutes with turnaround. A lost booking takes up its
    slot. Both how long visits run and how well their means are known count.
    """
    longer = (minutes["chair"].fillna(0) > minutes["slot"].fillna(0)).to_numpy()
    mean, sd, n = (
        np.where(longer, minutes[f"chair{part}"], minutes[f"slot{part}"]).astype(float) for part in ("", "_sd", "_n")
    )
    slot = minutes["slot"].fillna(minutes["chair"]).to_numpy(dtype=float)
    return (_minutes_taken(attended, mean, sd, n, rng) + (lost * slot).sum(axis=2)) / session_minutes


def chair_sessions(
    attended: np.ndarray, minutes: pd.DataFrame, *, session_minutes: float, rng: np.random.Generator
) -> np.ndarray | None:
    """Half-day sessions the visits' own minutes would fill, without a gap between them.

    Parameters
    ----------
    attended : numpy.ndarray, shape (futures, months, kinds)
    minutes : pandas.DataFrame
        From ``minutes_by_kind``.
    session_minutes : float
        Minutes in a half-day session.
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray, shape (futures, months), or None
        None where the log times no visit.
    """
    if minutes["chair"].isna().any():
        return None
    mean, sd, n = (minutes[f"chair{part}"].to_numpy(dtype=float) for part in ("", "_sd", "_n"))
    return _minutes_taken(attended, mean, sd, n, rng) / session_minutes


def _minutes_taken(
    attended: np.ndarray, mean: np.ndarray, sd: np.ndarray, n: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """Draw the minutes so many visits take: their mean as well as it is known, and their own spread."""
    about_mean = mean + sd / np.sqrt(n) * rng.standard_normal((len(attended), 1, len(KINDS)))
    spread = np.sqrt((attended * sd**2).sum(axis=2)) * rng.standard_normal(attended.shape[:2])
    return np.maximum((attended * about_mean).sum(axis=2) + spread, 0.0)
