"""Whether minutes chosen on the earlier log held on later visits: by booking category, and month by month."""

from __future__ import annotations

import pandas as pd

from analysis.stats.conformal import coverage_limits
from analysis.stats.proportions import wilson_share

FEWEST_IN_MONTH = 20
"""Visits a month needs to be judged (a rule of caution, no source)."""
FEWEST_IN_CATEGORY = 20
MONTH_LEVEL = 0.99
"""How often a month keeps within its limits if nothing has changed."""
ALL = "all"


def coverage_by_category(checked: pd.DataFrame, *, level: float) -> pd.DataFrame:
    """Share of later visits within their minutes, by booking category and over all.

    Parameters
    ----------
    checked : pandas.DataFrame
        As ``held_out_visits`` gives it.
    level : float
        How sure ranges should be.

    Returns
    -------
    pandas.DataFrame
        ``category`` (``all`` first), ``share`` promised, ``held``, ``low``, ``high``
        (Wilson) and ``visits``; a category of fewer than 20 later visits has no figure.

    Examples
    --------
    >>> checked = pd.DataFrame({"category": ["new"] * 40, "share": 0.8, "within": [True] * 32 + [False] * 8})
    >>> coverage_by_category(checked, level=0.95)[["category", "held", "visits"]].to_numpy().tolist()
    [['all', 0.8, 40], ['new', 0.8, 40]]
    """
    rows = []
    for name, part in [(ALL, checked), *checked.groupby("category")]:
        for share, mine in part.groupby("share"):
            held = wilson_share(int(mine["within"].sum()), len(mine), level)
            known = len(mine) >= FEWEST_IN_CATEGORY
            figures = [held.value, held.low, held.high] if known else [float("nan")] * 3
            rows.append([str(name), float(str(share)), *figures, len(mine)])
    return pd.DataFrame(rows, columns=["category", "share", "held", "low", "high", "visits"])


def coverage_by_month(checked: pd.DataFrame, *, window_visits: int) -> pd.DataFrame:
    """Share of each later month's visits within their minutes, and the limits chance allows.

    Parameters
    ----------
    checked : pandas.DataFrame
        As ``held_out_visits`` gives it.
    window_visits : int
        Visits the minutes were put right on.

    Returns
    -------
    pandas.DataFrame
        ``month`` (its first day), ``share``, ``held``, ``limit_low``, ``limit_high``,
        ``visits``, ``left_limits``. Months of fewer than 20 visits are not listed.

    Notes
    -----
    Limits are beta-binomial, the window's chance and the month's together (see
    ``stats.conformal``): 99 in 100 months keep within them if nothing has changed. They
    take visits for independent, and all categories for one. Whole minutes tie, so a
    month has left them upwards only where the visits shorter than their minutes do.

    Examples
    --------
    >>> day = pd.Timestamp("2026-03-02")
    >>> checked = pd.DataFrame({"slot_start": [day] * 100, "share": 0.8, "within": [True] * 50 + [False] * 50,
    ...     "under": False})
    >>> coverage_by_month(checked, window_visits=500)[["held", "left_limits"]].to_numpy().tolist()
    [[0.5, True]]
    """
    month = checked["slot_start"].dt.to_period("M").dt.to_timestamp()
    of_a_month = checked.groupby([month.rename("month"), "share"])[["within", "under"]]
    counted = pd.concat([of_a_month.sum(), of_a_month.size().rename("size")], axis=1).reset_index()
    counted = counted[counted["size"] >= FEWEST_IN_MONTH]
    rows = []
    for each in counted.to_dict("records"):
        visits = int(each["size"])
        held, under = each["within"] / visits, each["under"] / visits
        low, high = coverage_limits(window_visits, visits, each["share"], level=MONTH_LEVEL)
        rows.append([each["month"], each["share"], held, low, high, visits, held < low or under > high])
    columns = ["month", "share", "held", "limit_low", "limit_high", "visits", "left_limits"]
    return pd.DataFrame(rows, columns=columns).astype({"left_limits": bool})
