"""What is watched from month to month: counts of each measure, by month or by quarter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.quarter_counts import booking_flags, watched_visits
from analysis.models.quarter_periods import QUIET_START_DAYS
from analysis.stats.control_charts import (
    ControlChart,
    individuals_chart,
    moving_range_chart,
    rate_chart,
    share_chart,
)

FEWEST_POINTS = 8
"""Months below which limits would be guesswork, and a run of eight cannot be seen."""
FEW_POINTS = 20
"""Months below which limits are still provisional (Montgomery: 20 to 25 points; from memory)."""
MONTH, QUARTER = "month", "quarter"
FREQUENCY = {MONTH: "M", QUARTER: "Q"}
TOGETHER = ("missed", "cancelled_late")
"""Of all bookings held these are what is left of those attended, which are told month by month: one gives the other away."""
SHARE, RATE, MINUTES = "share", "rate", "minutes"


@dataclass(frozen=True, eq=False)
class Marks:
    """A measure's rows before they are counted.

    Attributes
    ----------
    name, kind : str
        The measure; ``share``, ``rate`` or ``minutes``.
    moments : pandas.Series of datetime64
        When each row was.
    values : pandas.Series
        True where it counts; for ``minutes``, the minutes.
    together : bool
        Whether rows go together: ears of a patient, starts of a half-day.
    private : bool
        Whether a small count could give a patient away.
    until : pandas.Timestamp or None
        Last day that can be judged, where that is before the log's last.
    """

    name: str
    kind: str
    moments: pd.Series
    values: pd.Series
    together: bool = False
    private: bool = True
    until: pd.Timestamp | None = None


@dataclass(frozen=True, eq=False)
class Watched:
    """One measure from month to month, with what it is judged by.

    Attributes
    ----------
    name, kind : str
        As in ``Marks``.
    by : str
        ``month``, or ``quarter`` where a month's count is too small to show.
    periods : pandas.PeriodIndex
        Whole months or quarters, in order.
    chart : ControlChart
    ranges : ControlChart or None
        Of ``minutes``: the moving ranges.
    n : numpy.ndarray of int
        Rows behind each point.
    """

    name: str
    kind: str
    by: str
    periods: pd.PeriodIndex
    chart: ControlChart
    ranges: ControlChart | None
    n: np.ndarray

    @property
    def known(self) -> int:
        """Points with a figure."""
        return int((~np.isnan(self.chart.values)).sum())


def watched_marks(visits: pd.DataFrame, attempts: pd.DataFrame, followed_until: pd.Timestamp) -> list[Marks]:
    """Mark the rows of every measure the log records.

    Parameters
    ----------
    visits, attempts : pandas.DataFrame
        The tables ``VISITS`` and ``ATTEMPTS``.
    followed_until : pandas.Timestamp
        First attempts after this day are too recent for their success to be known.

    Returns
    -------
    list of Marks
        Without those the log has no row of.
    """
    made = [*_of_ears(attempts, followed_until), *_of_bookings(visits)]
    return [each for each in made if len(each.values)]


def _of_ears(attempts: pd.DataFrame, followed_until: pd.Timestamp) -> list[Marks]:
    """Mark first attempts that succeeded, and further attempts where patients have a number."""
    day, first = attempts["day"], attempts["attempt_number"] == 1
    judged = first & attempts["success"].notna() & (day <= followed_until)
    numbered = attempts["patient_key"].notna()
    return [
        Marks(
            "success",
            SHARE,
            day[judged],
            attempts.loc[judged, "success"].astype(bool),
            together=True,
            until=followed_until,
        ),
        Marks("again", SHARE, day[numbered], ~first[numbered], together=True),
    ]


def _of_bookings(visits: pd.DataFrame) -> list[Marks]:
    """Mark bookings missed and cancelled late, starts, visits longer than their slot, minutes and events."""
    slot, flags = visits["slot_start"], booking_flags(visits)
    own = visits["minutes"].notna() & visits["minutes_quality"].isin(["timed", "rounded"]) & flags["attended"]
    with_slot = own & visits["slot_minutes"].notna()
    events, had_one = watched_visits(visits)
    events = events & bool(visits["adverse_event"].notna().any())
    return [
        Marks("missed", SHARE, slot[flags["held"]], flags["missed"][flags["held"]]),
        Marks("cancelled_late", SHARE, slot[flags["held"]], flags["cancelled_late"][flags["held"]]),
        Marks("on_time", SHARE, slot[flags["timed"]], flags["on_time"][flags["timed"]], together=True, private=False),
        Marks(
            "over_slot",
            SHARE,
            slot[with_slot],
            (visits["minutes"] > visits["slot_minutes"])[with_slot],
            together=True,
            private=False,
        ),
        Marks("minutes", MINUTES, slot[own], visits.loc[own, "minutes"], private=False),
        Marks("any_event", RATE, slot[events], had_one[events]),
    ]


def whole_periods(first_day: pd.Timestamp, last_day: pd.Timestamp, by: str) -> pd.PeriodIndex:
    """List the months or quarters a log covers to both ends.

    Examples
    --------
    >>> [str(each) for each in whole_periods(pd.Timestamp("2026-01-05"), pd.Timestamp("2026-03-30"), MONTH)]
    ['2026-01', '2026-02']
    """
    every = pd.period_range(first_day, last_day, freq=FREQUENCY[by])
    begun = every.start_time + pd.Timedelta(days=QUIET_START_DAYS) >= first_day.normalize()
    return every[begun & (every.end_time.normalize() <= last_day.normalize())]


def stretches(periods: pd.PeriodIndex, changes: Sequence[pd.Timestamp]) -> np.ndarray:
    """Give each period the number of its stretch between declared changes; one begins with the first period that starts on or after the day.

    Examples
    --------
    >>> stretches(pd.period_range("2026-01", "2026-04", freq="M"), [pd.Timestamp("2026-03-01")]).tolist()
    [0, 0, 1, 1]
    """
    return np.array([sum(start >= day for day in changes) for start in periods.start_time], dtype=int)


def watch_all(
    several: Sequence[Marks],
    first_day: pd.Timestamp,
    last_day: pd.Timestamp,
    *,
    changes: Sequence[pd.Timestamp] = (),
    hide_below: int = 5,
) -> dict[str, Watched | None]:
    """Chart measures from month to month, those of ``TOGETHER`` all by month, all by quarter or not at all.

    Parameters
    ----------
    several : sequence of Marks
    first_day, last_day, changes, hide_below
        As for ``watch``.

    Returns
    -------
    dict of str to Watched or None
        By the measure's name.
    """
    made = {marks.name: watch(marks, first_day, last_day, changes=changes, hide_below=hide_below) for marks in several}
    joined = {name: made[name] for name in TOGETHER if name in made}
    if len({each.by if each else None for each in joined.values()}) < 2:
        return made
    if None in joined.values():
        return made | dict.fromkeys(joined)
    again = [marks for marks in several if marks.name in joined]
    return made | {
        marks.name: watch(marks, first_day, last_day, changes=changes, hide_below=hide_below, by=(QUARTER,))
        for marks in again
    }


def watch(
    marks: Marks,
    first_day: pd.Timestamp,
    last_day: pd.Timestamp,
    *,
    changes: Sequence[pd.Timestamp] = (),
    hide_below: int = 5,
    by: Sequence[str] = (MONTH, QUARTER),
) -> Watched | None:
    """Chart one measure from month to month.

    Parameters
    ----------
    marks : Marks
    first_day, last_day : pandas.Timestamp
        What the log covers; months it covers only in part are left out.
    changes : sequence of pandas.Timestamp, optional
        Days from which limits are worked out anew.
    hide_below : int, optional
        Counts from 1 to one less than this are not shown, and of a fact about
        patients neither is what is left of its total: the measure then goes by
        quarter.
    by : sequence of str, optional
        What is tried, in this order.

    Returns
    -------
    Watched or None
        None where some quarter's count is too small as well.

    Examples
    --------
    >>> days = pd.Series(pd.date_range("2025-01-01", "2026-01-01", freq="h"))
    >>> missed = Marks("missed", SHARE, days, days.dt.hour < 2)
    >>> watched = watch(missed, days.min(), days.max())
    >>> watched.by, watched.known, round(float(watched.chart.centre[0]), 3), watched.chart.signals.any().item()
    ('month', 12, 0.083, False)
    """
    last_day = last_day if marks.until is None else min(last_day, marks.until)
    for step in by:
        periods = whole_periods(first_day, last_day, step)
        place = periods.get_indexer(marks.moments.dt.to_period(FREQUENCY[step]))
        inside = place >= 0
        kept, place, part = marks.values[inside], place[inside], stretches(periods, changes)
        of = np.bincount(place, minlength=len(periods)).astype(int)
        if _small(of, hide_below).any():
            continue
        if marks.kind == MINUTES:
            # means, not medians: medians of whole or rounded minutes stand still for months, and limits would close up
            means = kept.groupby(place).mean().reindex(range(len(periods))).to_numpy(dtype=float)
            ranges = moving_range_chart(means, part)
            return Watched(marks.name, marks.kind, step, periods, individuals_chart(means, part), ranges, of)
        counts = np.bincount(place, kept.astype(float), minlength=len(periods))
        telling = _small(counts, hide_below) | (_small(of - counts, hide_below) & marks.private)
        if not telling.any():
            chart = _counted_chart(marks, counts, of, part)
            return Watched(marks.name, marks.kind, step, periods, chart, None, of)
    return None


def _counted_chart(marks: Marks, counts: np.ndarray, of: np.ndarray, part: np.ndarray) -> ControlChart:
    """Chart a share, or events for each visit."""
    if marks.kind == RATE:
        return rate_chart(counts, of, part, rare=True)
    return share_chart(counts, of, part, together=marks.together)


def _small(counts: np.ndarray, hide_below: int) -> np.ndarray:
    """Mark the counts that are too small to show."""
    return (counts > 0) & (counts < hide_below)


def signals_within(watched: Watched, first_day: pd.Timestamp, last_day: pd.Timestamp) -> np.ndarray:
    """Mark the points within some days at which a rule signals."""
    inside = (watched.periods.start_time >= first_day) & (watched.periods.end_time.normalize() <= last_day)
    return watched.chart.signals & np.asarray(inside)
