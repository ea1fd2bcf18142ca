"""Known patients that look new: where numbers start again with a system, and where the log simply begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate
from analysis.stats.proportions import newcombe_difference

MONTHS_EACH_SIDE = 3
FEWEST_MONTHS, FEWEST_VISITS = 7, 30
"""Months the log needs, and attended visits on each side of a month's start (our own lines, no source)."""
SURE, AT_LEAST = 0.99, 0.15
"""A jump is told where its range, wide enough for all months together, leaves out no jump and it is at least this large."""
SIGNS = ("not_seen_before", "booked_as_new")
LEVELLED = 0.05


@dataclass(frozen=True, slots=True)
class Jump:
    """A month from which far more visits look like first ones: the share after less that before."""

    month: pd.Timestamp
    sign: str
    before: float
    rise: Estimate
    visits_after: int
    new_export: bool

    @property
    def extra_visits(self) -> Estimate:
        """Visits of the months just after that probably were returns."""
        return self.rise.scaled(self.visits_after)


@dataclass(frozen=True, eq=False)
class FirstVisits:
    """Month by month, how many visits look like a patient's first.

    Attributes
    ----------
    months : pandas.DataFrame
        Indexed by ``month``: ``visits``, and of them ``not_seen_before`` in the
        log and ``booked_as_new`` (missing where kinds are not logged).
    jumps : tuple of Jump
        The largest of each run of jumps, in order of time.
    reaches_back : pandas.Timestamp or None
        First month from which the share not seen before stays within five in
        a hundred of what it is at the end; None where it never levels off.
    searched : int
        How many month starts were looked at.
    """

    months: pd.DataFrame
    jumps: tuple[Jump, ...]
    reaches_back: pd.Timestamp | None
    searched: int


def first_visits(visits: pd.DataFrame) -> FirstVisits:
    """Look for a month at which known patients begin to look new.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.

    Returns
    -------
    FirstVisits

    Raises
    ------
    NotEnough
        Without patient numbers, or with fewer than ``FEWEST_MONTHS`` months of visits.

    Notes
    -----
    The share of visits by patients not seen before falls as a log grows and
    never leaps up by itself; where patient numbers start again it leaps. The
    months just before and just after each month's start are set side by side,
    with ranges widened (Bonferroni) so that a log without a change shows no
    jump 99 times in 100.
    """
    came = visits[(visits["attendance"] == "attended").fillna(False) & visits["slot_start"].notna()]
    numbered = came[came["patient_key"].fillna("") != ""].sort_values(["slot_start", "visit_id"], kind="stable")
    if numbered.empty:
        raise NotEnough("The log holds no patient numbers.", "Keep the patient's number in every row.")
    months = _months(numbered)
    if len(months) < FEWEST_MONTHS:
        raise NotEnough(
            f"The log holds visits of {len(months)} months; {FEWEST_MONTHS} are needed.", "Add more of the log."
        )
    places = _places(months)
    level = 1 - (1 - SURE) / max(2 * len(places), 1)
    opening = _export_openings(numbered)
    found = [_jump(months, place, sign, level, opening) for sign in SIGNS for place in places]
    largest = _largest_of_runs([jump for jump in found if jump is not None], months)
    return FirstVisits(months, largest, _levelled(months["not_seen_before"] / months["visits"]), len(places))


def _months(numbered: pd.DataFrame) -> pd.DataFrame:
    """Count each month's visits and those that look like first ones."""
    month = numbered["slot_start"].dt.to_period("M").dt.to_timestamp().rename("month")
    first = ~numbered.duplicated("patient_key")
    new = (numbered["booking_kind"] == "new").astype("Float64").where(numbered["booking_kind"].notna())
    marks = pd.DataFrame({"visits": 1, "not_seen_before": first, "booked_as_new": new})
    table = marks.groupby(month).sum(min_count=1)
    return table.astype({"visits": "int64", "not_seen_before": "int64"})


def _places(months: pd.DataFrame) -> list[int]:
    """List the months with enough visits just before and from them on; the log's own first months are left out."""
    counts = months["visits"].to_numpy()
    return [
        place
        for place in range(MONTHS_EACH_SIDE, len(months))
        if counts[place - MONTHS_EACH_SIDE : place].sum() >= FEWEST_VISITS
        and counts[place : place + MONTHS_EACH_SIDE].sum() >= FEWEST_VISITS
    ]


def _jump(months: pd.DataFrame, place: int, sign: str, level: float, opening: set[pd.Timestamp]) -> Jump | None:
    """Compare the months from a month on with those just before it."""
    after, before = (
        months.iloc[place : place + MONTHS_EACH_SIDE],
        months.iloc[place - MONTHS_EACH_SIDE : place],
    )
    if months[sign].isna().any():
        return None
    counts = (int(after[sign].sum()), int(before[sign].sum()))
    sizes = (int(after["visits"].sum()), int(before["visits"].sum()))
    rise = newcombe_difference(counts, sizes, level)
    if rise.low <= 0 or rise.value < AT_LEAST:
        return None
    month = months.index[place]
    return Jump(month, sign, counts[1] / sizes[1], rise, sizes[0], month in opening)


def _export_openings(numbered: pd.DataFrame) -> set[pd.Timestamp]:
    """List the months in which an export begins, other than the log's first."""
    starts = numbered.groupby("source_file")["slot_start"].min()
    return {start.to_period("M").to_timestamp() for start in starts if start > numbered["slot_start"].min()}


def _largest_of_runs(jumps: list[Jump], months: pd.DataFrame) -> tuple[Jump, ...]:
    """Keep the largest of jumps whose months overlap, whatever their sign."""
    kept: list[Jump] = []
    place = {month: at for at, month in enumerate(months.index)}
    for jump in sorted(jumps, key=lambda each: (-each.rise.value, each.month)):
        if all(abs(place[jump.month] - place[other.month]) >= MONTHS_EACH_SIDE for other in kept):
            kept.append(jump)
    return tuple(sorted(kept, key=lambda each: each.month))


def _levelled(share: pd.Series) -> pd.Timestamp | None:
    """Find the first month from which a share has come down to what it is at the end."""
    end = share.iloc[-2 * MONTHS_EACH_SIDE :].mean()
    smoothed = share.rolling(MONTHS_EACH_SIDE, min_periods=1).mean()
    above = np.flatnonzero((smoothed > end + LEVELLED).to_numpy())
    first = int(above[-1]) + 1 if above.size else 0
    return share.index[first] if first < len(share) - 2 * MONTHS_EACH_SIDE else None
