"""Income per half-day session, where the log holds fees."""

from __future__ import annotations

import pandas as pd
from scipy.stats import t

from analysis.derive.sessions import sessions
from analysis.models.quarter_periods import THIS, Periods
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate

FEWEST_SESSIONS = 8
"""Half-day sessions below which no mean is said (our own line, no source)."""
MOSTLY = 0.5
"""Share of the attended visits that must have a fee (our own line, no source)."""


def income_per_session(visits: pd.DataFrame, found: Periods, level: float = 0.95) -> dict[str, Estimate]:
    """Mean income of a half-day session, in the quarter and in those it may be compared with.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``. Fees of attended visits count; a missing one is
        taken for the mean fee of the session's others, and a session without
        any fee is left out.
    found : Periods
    level : float, optional
        How sure ranges should be.

    Returns
    -------
    dict of str to Estimate
        By period, those with too few sessions left out. The range is
        Student's: sessions are taken to vary by themselves.

    Raises
    ------
    NotEnough
        If fewer than half of the quarter's attended visits have a fee, or
        there are fewer than eight sessions.

    Examples
    --------
    Ten mornings of one visit at 40:

    >>> from analysis.derive.quarters import Quarter
    >>> from analysis.models.quarter_periods import periods
    >>> from analysis.schema import VISITS, typed_frame
    >>> visits = typed_frame(VISITS, pd.DataFrame({
    ...     "visit_id": [f"v{row}" for row in range(10)], "attendance": "attended", "fee": 40.0,
    ...     "slot_start": pd.date_range("2026-07-01 09:00", periods=10)}))
    >>> found = periods(Quarter(2026, 3), pd.Timestamp("2026-07-01"), pd.Timestamp("2026-09-30"))
    >>> income_per_session(visits, found)["this_quarter"].value
    40.0
    """
    held = sessions(visits[found.within(visits["slot_start"])])[["session_id", "day", "visit_id", "attendance"]]
    came = held[held["attendance"] == "attended"].merge(visits[["visit_id", "fee"]], on="visit_id", how="left")
    now = found.split(came["day"])[THIS]
    if not now.any() or came.loc[now, "fee"].notna().mean() < MOSTLY:
        raise NotEnough(
            f"In {found.quarter.label} fewer than half of the attended visits have a fee.",
            "Record the fee of every visit.",
        )
    by_session = came.groupby("session_id").agg(day=("day", "first"), fee=("fee", "mean"), visits=("visit_id", "size"))
    income = (by_session["fee"] * by_session["visits"]).dropna()
    told = {
        period: _mean(income[marks.reindex(income.index)], level)
        for period, marks in found.split(by_session["day"]).items()
    }
    enough = {period: each for period, each in told.items() if each is not None}
    if THIS not in enough:
        raise NotEnough(
            f"In {found.quarter.label} fewer than {FEWEST_SESSIONS} half-day sessions have fees.",
            "Wait for more sessions.",
        )
    return enough


def _mean(values: pd.Series, level: float) -> Estimate | None:
    """Give the mean with Student's range; nothing where there are too few."""
    n = len(values)
    if n < FEWEST_SESSIONS:
        return None
    half = float(t.ppf(0.5 + level / 2, n - 1)) * float(values.std(ddof=1)) / n**0.5
    middle = float(values.mean())
    return Estimate(middle, middle - half, middle + half, level, n, "mean of sessions with Student's range")
