"""Which visits' minutes can be believed, and which ears were worked on in them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.problems import NotEnough
from analysis.settings import VisitTimePart
from analysis.stats.places import place_of

FEWEST_VISITS = 50
"""Visits below which no minutes are modelled at all (a rule of caution, no source)."""
COPIED_SHARE = 0.9
"""Share of visits lasting exactly their slot from which the ends are taken for copied (no source)."""
GRADED_SHARE = 0.5
"""Share of visits whose worked ears must be graded before ears are given parts of their own (no source)."""
TIMED_EARS_SHARE = 0.8
"""Share of worked ears that must be timed one by one before those times are used (no source)."""
NO_METHOD = ""
"""Stands for a first method that is not recorded."""


@dataclass(frozen=True, eq=False)
class VisitSample:
    """Attended visits whose minutes count, and their worked ears.

    Attributes
    ----------
    visits : pandas.DataFrame
        The columns of ``VISITS``, one row a visit used, in order of time;
        the index counts from 0.
    ears : pandas.DataFrame
        One row a worked ear of these visits: ``visit`` (the visit's index),
        ``ear``, ``grade``, ``first_method`` (text, empty where not recorded),
        ``minutes``. Without rows where ears cannot be given parts.
    left_out : dict of str to int
        Attended visits left out by reason: ``filled_from_slot``,
        ``missing``, ``implausible``, ``ungraded`` (a worked ear without grade)
        and ``ear_minutes`` (ears not all timed, or longer than their visit).
    rounded : int
        Visits used whose minutes are rounded.
    has_grades : bool
        False where the log grades too few worked ears.
    timed_by_ear : bool
        True where the log times each ear; then ``visits`` has ``rest_minutes``.
    """

    visits: pd.DataFrame
    ears: pd.DataFrame
    left_out: dict[str, int]
    rounded: int
    has_grades: bool
    timed_by_ear: bool

    def without(self, out: np.ndarray) -> VisitSample:
        """Leave visits out, with their ears."""
        visits, ears, _ = _without(self.visits, self.ears, out)
        return replace(self, visits=visits, ears=ears, rounded=_rounded(visits))

    def before(self, moment: pd.Timestamp) -> VisitSample:
        """Keep the visits that began before a moment; raises ``NotEnough`` as ``visit_sample`` does."""
        earlier = self.without(~(self.visits["slot_start"] < moment).to_numpy())
        _refuse_if_too_few(earlier.visits, {}, len(earlier.visits))
        return earlier


def visit_sample(
    visits: pd.DataFrame, worked: pd.DataFrame, ears: pd.DataFrame, settings: VisitTimePart
) -> VisitSample:
    """Take the attended visits whose minutes count, and their worked ears.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    worked : pandas.DataFrame
        The table ``ATTEMPTS``: the ears worked on.
    ears : pandas.DataFrame
        The table ``EAR_ROWS``; only its minutes are looked at.
    settings : VisitTimePart
        Shortest and longest plausible minutes.

    Returns
    -------
    VisitSample

    Raises
    ------
    NotEnough
        If fewer than 50 visits have minutes of their own, or nine in ten of
        them last exactly their slot or the same minutes.
    """
    attended = visits[(visits["attendance"] == "attended").fillna(False)]
    reason = _why_not(attended, settings)
    used = attended[reason.isna()].sort_values(["slot_start", "visit_id"], ignore_index=True)
    left_out = reason.value_counts().to_dict()
    _refuse_if_too_few(used, left_out, len(attended))
    mine = _ears_of(used, worked, ears)
    ungraded = used.index.isin(mine.loc[mine["grade"].isna(), "visit"])
    has_grades = len(mine) > 0 and 1 - ungraded.sum() / max(mine["visit"].nunique(), 1) >= GRADED_SHARE
    timed_by_ear = bool(has_grades and mine["minutes"].notna().mean() >= TIMED_EARS_SHARE)
    if has_grades:
        used, mine, left_out["ungraded"] = _without(used, mine, ungraded)
    if timed_by_ear:
        used["rest_minutes"] = used["minutes"] - mine.groupby("visit")["minutes"].sum(min_count=1).reindex(
            used.index, fill_value=0
        )
        untimed = used.index.isin(mine.loc[mine["minutes"].isna(), "visit"]) | (used["rest_minutes"] <= 0).to_numpy()
        used, mine, left_out["ear_minutes"] = _without(used, mine, untimed)
    _refuse_if_too_few(used, left_out, len(attended))
    return VisitSample(
        visits=used,
        ears=mine if has_grades else mine.iloc[:0],
        left_out={str(why): int(many) for why, many in left_out.items() if many},
        rounded=_rounded(used),
        has_grades=bool(has_grades),
        timed_by_ear=timed_by_ear,
    )


def _why_not(attended: pd.DataFrame, settings: VisitTimePart) -> pd.Series:
    """Say of each attended visit why its minutes do not count; blank where they do."""
    quality = attended["minutes_quality"].astype("object")
    reason = quality.where(quality.isin(["filled_from_slot", "missing", "implausible"]))
    reason = reason.mask(reason.isna() & attended["minutes"].isna(), "missing")
    plausible = attended["minutes"].between(settings.shortest_minutes, settings.longest_minutes)
    return reason.mask(reason.isna() & ~plausible, "implausible")


def _rounded(used: pd.DataFrame) -> int:
    """Count visits whose minutes are rounded."""
    return int((used["minutes_quality"] == "rounded").sum())


def _refuse_if_too_few(used: pd.DataFrame, left_out: dict, attended: int) -> None:
    """Say which fact the log lacks, where it has too few minutes of its own."""
    filled, missing = left_out.get("filled_from_slot", 0), left_out.get("missing", 0)
    if attended < FEWEST_VISITS:
        raise NotEnough(
            f"The log holds {attended:,} attended visits; {FEWEST_VISITS} are needed.", "Add more of the log."
        )
    if len(used) < FEWEST_VISITS and filled >= max(missing, attended / 3):
        raise NotEnough(
            f"In {filled:,} of {attended:,} attended visits the end is copied from the slot, so it says nothing of the visit.",
            "Record when each visit really ends, for a month at least.",
        )
    if len(used) < FEWEST_VISITS and missing >= attended / 3:
        raise NotEnough(
            f"The log holds no start and end for {missing:,} of {attended:,} attended visits.",
            "Record when each visit starts and ends, for a month at least.",
        )
    if len(used) < FEWEST_VISITS:
        raise NotEnough(
            f"Only {len(used):,} of {attended:,} attended visits have usable minutes; {FEWEST_VISITS} are needed.",
            "Record when each visit starts and ends, and each worked ear's grade.",
        )
    copied = (used["minutes"] == used["slot_minutes"]).mean()
    if copied >= COPIED_SHARE:
        raise NotEnough(
            f"Of {len(used):,} visits {copied:.0%} last exactly their slot, so the ends are the diary's, not the visits'.",
            "Record when each visit really ends, for a month at least.",
        )
    commonest = used["minutes"].mode().iloc[0]
    alike = (used["minutes"] == commonest).mean()
    if alike >= COPIED_SHARE:
        raise NotEnough(
            f"Of {len(used):,} visits {alike:.0%} last {commonest:g} minutes, so the minutes are a rule's, not the visits'.",
            "Record when each visit really ends, for a month at least.",
        )


def _ears_of(used: pd.DataFrame, worked: pd.DataFrame, ears: pd.DataFrame) -> pd.DataFrame:
    """List the worked ears of the visits used, with an ear's own minutes where logged."""
    visit = place_of(worked["visit_id"], used["visit_id"])
    mine = worked[["ear", "grade", "first_method"]].assign(visit=visit)[visit >= 0].reset_index(drop=True)
    mine["minutes"] = np.nan
    if ears["minutes"].notna().any():
        timed = ears[["ear", "minutes"]].assign(visit=place_of(ears["visit_id"], used["visit_id"]))
        timed = timed[timed["visit"] >= 0].drop_duplicates(["visit", "ear"])
        timed = timed.assign(minutes=timed["minutes"].where(timed["minutes"] > 0))
        mine = mine.drop(columns="minutes").merge(timed, on=["visit", "ear"], how="left")
    mine["first_method"] = mine["first_method"].astype("object").fillna(NO_METHOD).astype("str")
    return mine[["visit", "ear", "grade", "first_method", "minutes"]]


def _without(used: pd.DataFrame, mine: pd.DataFrame, out: np.ndarray) -> tuple[pd.DataFrame, pd.DataFrame, int]:
    """Leave visits out, with their ears, and count the visits afresh."""
    place = np.where(out, -1, np.cumsum(~out) - 1)[mine["visit"].to_numpy(dtype=int)]
    ears = mine.assign(visit=place)[place >= 0].reset_index(drop=True)
    return used[~out].reset_index(drop=True), ears, int(out.sum())
