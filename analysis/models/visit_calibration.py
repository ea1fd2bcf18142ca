"""Minutes to book that hold on visits not yet seen: quantiles by booking category, put right on a later window."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.problems import NotEnough
from analysis.stats.conformal import conformal_quantile
from analysis.stats.quantiles import quantiles

SHARES = (0.5, 0.8, 0.9)
WINDOW = 0.25
"""Part of the log, its latest, on which quantiles are put right (a choice, no source)."""
FEWEST_IN_WINDOW = 50
"""Visits of a category in the window for a correction of its own; with fewer all categories share one (no source)."""
FEWEST_VISITS = 100
"""Visits below which nothing is put right (a rule of caution, no source)."""

Foretell = Callable[[pd.DataFrame, float], dict[str, float]]
"""From earlier visits and a share: minutes that the share of each category's visits stays within."""


@dataclass(frozen=True, eq=False)
class Calibrated:
    """Minutes by booking category that later visits have confirmed.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a category and share: ``category``, ``share``, ``minutes`` (put
        right), ``foretold`` (before), ``window_visits`` (what the correction
        rests on) and ``own`` (False where all categories share a correction).
    """

    table: pd.DataFrame

    def minutes(self) -> dict[tuple[str, float], float]:
        """Give the minutes by category and share."""
        keys = zip(self.table["category"], self.table["share"], strict=True)
        return dict(zip(keys, self.table["minutes"].astype(float), strict=True))


def foretell_by_category(earlier: pd.DataFrame, share: float) -> dict[str, float]:
    """Foretell by the earlier minutes of the same category."""
    return {
        str(name): float(quantiles(minutes.to_numpy(dtype=float), [share])[0])
        for name, minutes in earlier.groupby("category")["minutes"]
    }


def calibrated_quantiles(
    visits: pd.DataFrame,
    *,
    shares: tuple[float, ...] = SHARES,
    window: float = WINDOW,
    foretell: Foretell = foretell_by_category,
) -> Calibrated:
    """Minutes that given shares of each booking category's visits stay within, true on visits not yet seen.

    Slots are chosen on the fitted minutes of the whole log, not on these. On the
    invented clinic these move minutes by up to 10 in 100; slots chosen so before its
    last third were mostly the same, but on the whole log a new patient's would be
    30 and not 25, a second attempt's 20 and not 25. Which is better is not settled.

    Parameters
    ----------
    visits : pandas.DataFrame
        One row a visit, any order: ``slot_start`` (time), ``category`` (text; visits
        without one are passed over), ``minutes`` (above nought).
    shares : tuple of float, optional
        Strictly between 0 and 1.
    window : float, optional
        Which part of the visits, the latest, the quantiles are put right on.
    foretell : callable, optional
        How the visits before the window foretell; without it, by the
        quantiles of their own category. Only the visits before the window are
        given to it.

    Returns
    -------
    Calibrated
        Only categories seen before the window.

    Raises
    ------
    NotEnough
        If there are fewer than 100 visits.

    Notes
    -----
    Split-conformal: each later visit's minutes over what was foretold for its
    category is a score, and the foretold minutes are multiplied by the score's
    ``ceil((n + 1) share)``-th smallest value (see ``stats.conformal``). Each share is put right
    by itself; where a greater one would then get fewer minutes, it gets those of the smaller. The window is later
    in time than what foretells, since habits drift.

    Examples
    --------
    >>> visits = pd.DataFrame({"slot_start": pd.date_range("2026-01-01", periods=400, freq="h"),
    ...     "category": ["new"] * 400, "minutes": [10.0, 20.0, 30.0, 40.0] * 75 + [12.0, 24.0, 36.0, 48.0] * 25})
    >>> found = calibrated_quantiles(visits, shares=(0.5,)).table
    >>> found["foretold"].tolist(), found["minutes"].tolist(), found["window_visits"].tolist()
    ([25.0], [36.0], [100])
    """
    known = visits[visits["category"].notna()].sort_values("slot_start", kind="stable")
    if len(known) < FEWEST_VISITS:
        raise NotEnough(
            f"Only {len(known):,} visits have minutes and a booking category; {FEWEST_VISITS} are needed to check what is foretold.",
            "Record each visit's start, end and kind of booking for some months.",
        )
    cut = int(len(known) * (1 - window))
    earlier, later = known.iloc[:cut], known.iloc[cut:]
    rows = []
    for share in shares:
        foretold = foretell(earlier, share)
        expected = later["category"].map(foretold)
        seen = expected.notna().to_numpy()
        score = (later["minutes"] / expected).to_numpy(dtype=float)
        for name, minutes in foretold.items():
            mine = seen & (later["category"] == name).to_numpy()
            own = int(mine.sum()) >= FEWEST_IN_WINDOW
            counted = score[mine] if own else score[seen]
            rows.append([name, share, minutes * conformal_quantile(counted, share), minutes, len(counted), own])
    columns = ["category", "share", "minutes", "foretold", "window_visits", "own"]
    table = pd.DataFrame(rows, columns=columns).sort_values(["category", "share"], ignore_index=True)
    table["minutes"] = table.groupby("category")["minutes"].cummax()
    return Calibrated(table)


def held_out_visits(
    visits: pd.DataFrame,
    *,
    shares: tuple[float, ...] = SHARES,
    held_out: float = WINDOW,
    foretell: Foretell = foretell_by_category,
) -> tuple[Calibrated, pd.DataFrame]:
    """Choose minutes on the earlier log, and mark which of the visits after it stayed within them.

    Parameters
    ----------
    visits, shares, foretell
        As for ``calibrated_quantiles``.
    held_out : float, optional
        Which part of the visits, the latest, is kept for checking. Of those before it a
        third puts the quantiles right, so that by default half of the log
        foretells, a quarter puts right and a quarter checks.

    Returns
    -------
    Calibrated
        What the earlier log gives.
    pandas.DataFrame
        One row a later visit and share: ``slot_start``, ``category``,
        ``share``, ``minutes``, ``allowed``, ``within`` and ``under`` (bool): not longer,
        and shorter than allowed. Whole minutes tie, so the promise lies between the two.

    Raises
    ------
    NotEnough
        As for ``calibrated_quantiles``.
    """
    known = visits[visits["category"].notna()].sort_values("slot_start", kind="stable")
    cut = int(len(known) * (1 - held_out))
    made = calibrated_quantiles(known.iloc[:cut], shares=shares, window=1 / 3, foretell=foretell)
    later, allowed = known.iloc[cut:], made.minutes()
    parts = []
    for share in shares:
        part = later[["slot_start", "category", "minutes"]].assign(share=share)
        part["allowed"] = np.array([allowed.get((name, share), np.nan) for name in later["category"]], dtype=float)
        parts.append(part[part["allowed"].notna()])
    checked = pd.concat(parts, ignore_index=True)
    return made, checked.assign(
        within=checked["minutes"] <= checked["allowed"], under=checked["minutes"] < checked["allowed"]
    )
