"""What there is to meet demand with, and what the sessions needed take: days, rooms, things used up."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.problems import NotEnough
from analysis.schema import METHODS

SESSIONS_A_DAY = 2
"""A practitioner's working day is two half-day sessions."""
SUCTION = tuple(code for code in METHODS if code.endswith("suction"))


def sessions_run(sessions: pd.DataFrame, months: pd.PeriodIndex, open_days: np.ndarray) -> float:
    """Half-day sessions held per opening day, from the log.

    Parameters
    ----------
    sessions : pandas.DataFrame
        The table ``SESSIONS``.
    months : pandas.PeriodIndex
        Whole months to take it from.
    open_days : numpy.ndarray
        Opening days of each.

    Returns
    -------
    float
        Sessions with any booking, however full, to an opening day of average size.

    Raises
    ------
    NotEnough
        If the log holds no session in these months.
    """
    held = sessions.drop_duplicates("session_id")
    inside = held["day"].dt.to_period("M").isin(months)
    if not inside.any():
        raise NotEnough(
            "The log shows no session in its last months, so what there is to meet demand with is not known.",
            "Set sessions_a_week under [demand] in clinic.toml.",
        )
    return float(inside.sum()) / float(open_days.sum())


def days_and_rooms(sessions: np.ndarray, open_days: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Practitioner days, and rooms in use at once, that so many half-day sessions take.

    Parameters
    ----------
    sessions : numpy.ndarray, shape (..., months)
    open_days : numpy.ndarray, shape (months,)

    Returns
    -------
    (numpy.ndarray, numpy.ndarray)
        Days, in halves upwards; rooms, whole, with sessions spread evenly over the opening days.

    Examples
    --------
    >>> days, rooms = days_and_rooms(np.array([55.2]), np.array([21.0]))
    >>> days.item(), rooms.item()
    (28.0, 2.0)
    """
    whole = np.ceil(np.asarray(sessions) - 1e-9)
    return whole / SESSIONS_A_DAY, np.ceil(whole / SESSIONS_A_DAY / np.maximum(open_days, 1.0) - 1e-9)


def suctioned_ears_a_visit(ears: pd.DataFrame, attended: pd.Series) -> float | None:
    """Ears treated by suction to an attended visit.

    Parameters
    ----------
    ears : pandas.DataFrame
        The table ``EAR_ROWS``.
    attended : pandas.Series
        ``visit_id`` of the attended visits to count over.

    Returns
    -------
    float or None
        None where the log names no method.
    """
    mine = ears[ears["visit_id"].isin(attended)]
    methods = mine["methods"].dropna()
    if methods.empty or not len(attended):
        return None
    used = methods.map(lambda each: any(code in str(each) for code in SUCTION))
    return float(used.sum()) / len(attended)
