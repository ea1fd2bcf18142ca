"""Times that were rounded, and times that were copied from the diary: habits of writing, by practitioner."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.stats.estimate import Estimate
from analysis.stats.heaping import heaping_index
from analysis.stats.spikes import spike_ratio

ALL = "the whole log"
FEWEST_TIMES = 20
"""Times from which a habit is judged (our own line, no source)."""
SURE = 0.99
"""How sure all judgements of one kind are together: each is made at a stricter level the more there are."""
ROUND_TO = 5
ROUNDED_FROM, COPIED_FROM = 1.5, 2.0
"""How many times as often as by chance even the range's lower end must be (our own lines, no source)."""
BESIDE, BESIDE_OF_ROUNDED = (-3, -2, -1, 1, 2, 3), (-10, -5, 5, 10)
"""Minutes off the slot that are compared with the slot itself; of rounded times only multiples of five."""


@dataclass(frozen=True, slots=True)
class Rounding:
    """How much more often than by chance one part's times are multiples of five.

    ``what`` is ``ended_at``, ``arrived_at`` or ``minutes``; ``index`` is 1
    without rounding and 5 where every time is rounded. ``rounded`` is the share
    of times that must have been rounded to explain it.
    """

    part: str
    what: str
    index: Estimate
    rounded: Estimate
    flagged: bool


@dataclass(frozen=True, slots=True)
class Copying:
    """How much more often one part's times are the slot's own than a few minutes off it.

    ``what`` is ``started_at`` or ``ended_at``; ``exact`` of ``times`` are the
    slot's. ``copied`` is the share of times beyond what those beside the slot
    lead one to expect; ``contradicted`` counts the exact ones that cannot be
    true, because the patient had not arrived or the one before was still there.
    """

    part: str
    what: str
    exact: int
    times: int
    ratio: Estimate
    copied: float
    contradicted: int
    flagged: bool


def strict_level(judgements: int) -> float:
    """Give the level of each of several judgements so that all together are right as often as ``SURE``.

    Examples
    --------
    >>> round(strict_level(10), 4)
    0.999
    """
    return 1 - (1 - SURE) / max(judgements, 1)


def rounded_times(visits: pd.DataFrame, parts: pd.Series) -> list[Rounding]:
    """Judge whether times were rounded to five minutes, for the whole log and for each part.

    Ends that are the slot's end are left to ``copied_times``; minutes are
    judged where a visit has no end.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    parts : pandas.Series of str
        Who wrote each booking's times, with the index of ``visits``.

    Returns
    -------
    list of Rounding
        The whole log first, then each part, of each kind of time with at least
        ``FEWEST_TIMES``; none where no kind has so many.

    Examples
    --------
    >>> from analysis.schema import VISITS, typed_frame
    >>> ends = pd.date_range("2026-03-02 09:00", periods=40, freq="25min")
    >>> visits = typed_frame(VISITS, pd.DataFrame({"attendance": "attended", "ended_at": ends}))
    >>> found = rounded_times(visits, pd.Series("practitioner 1", index=visits.index))
    >>> [(each.part, each.index.value, each.flagged) for each in found]
    [('the whole log', 5.0, True), ('practitioner 1', 5.0, True)]
    """
    came = visits[_attended(visits)]
    groups = [
        (part, what, amounts[members])
        for what, amounts in _clock_minutes(came).items()
        for part, members in _members(parts.loc[came.index])
    ]
    groups = [(part, what, amounts.dropna()) for part, what, amounts in groups]
    groups = [each for each in groups if len(each[2]) >= FEWEST_TIMES]
    level = strict_level(len(groups))
    return [_rounding(part, what, amounts.to_numpy(), level) for part, what, amounts in groups]


def _rounding(part: str, what: str, amounts: np.ndarray, level: float) -> Rounding:
    """Judge one part's times of one kind."""
    index = heaping_index(amounts, step=ROUND_TO, level=level)
    over, low, high = (max(0.0, (each - 1) / (ROUND_TO - 1)) for each in (index.value, index.low, index.high))
    rounded = Estimate(over, low, high, level, index.n, "share of times rounded, from the share of multiples")
    return Rounding(part, what, index, rounded, index.low > ROUNDED_FROM)


def _clock_minutes(came: pd.DataFrame) -> dict[str, pd.Series]:
    """Give the minutes of the clock that can tell of rounding; times to the second are not rounded to five minutes."""
    on_slot_end = _off_slot(came, "ended_at") == 0
    only_minutes = came["minutes"].where(came["ended_at"].isna())
    return {
        "ended_at": _of_the_hour(came["ended_at"]).mask(on_slot_end),
        "arrived_at": _of_the_hour(came["arrived_at"]),
        "minutes": only_minutes,
    }


def _of_the_hour(moments: pd.Series) -> pd.Series:
    """Give the whole minutes past the hour."""
    return moments.dt.minute.astype("float64")


def copied_times(visits: pd.DataFrame, parts: pd.Series, roundings: list[Rounding]) -> list[Copying]:
    """Judge whether starts and ends were copied from the diary, for the whole log and for each part.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    parts : pandas.Series of str
        Who wrote each booking's times.
    roundings : list of Rounding
        Of the same parts: with those who round ends, only multiples of five
        stand beside the slot's end.

    Returns
    -------
    list of Copying
        The whole log first, then each part, for starts and for ends; none
        without slots or with fewer than ``FEWEST_TIMES`` times.

    Notes
    -----
    Copied ends are flagged; starts are not: a room that calls on the minute and
    a hand that copies look alike, but for the starts that cannot be true.
    """
    came = visits[_attended(visits)]
    rounds = {each.part for each in roundings if each.what == "ended_at" and each.flagged}
    impossible = _starts_contradicted(came)
    groups = [
        (part, what, off[members].dropna(), impossible[members])
        for what in ("started_at", "ended_at")
        for off in (_off_slot(came, what),)
        for part, members in _members(parts.loc[came.index])
    ]
    groups = [each for each in groups if len(each[2]) >= FEWEST_TIMES]
    level = strict_level(len(groups))
    return [
        _copying(part, what, off, wrong, BESIDE_OF_ROUNDED if part in rounds else BESIDE, level)
        for part, what, off, wrong in groups
    ]


def _copying(part: str, what: str, off: pd.Series, wrong: pd.Series, beside: tuple[int, ...], level: float) -> Copying:
    """Set the slot's own minute beside those around it."""
    exact, near = int((off == 0).sum()), int(off.isin(beside).sum())
    ratio = spike_ratio(exact, near, places=len(beside), level=level)
    copied = max(0.0, exact - near / len(beside)) / len(off)
    contradicted = int(wrong[off.index[off == 0]].sum()) if what == "started_at" else 0
    flagged = what == "ended_at" and ratio.low > COPIED_FROM
    return Copying(part, what, exact, len(off), ratio, copied, contradicted, flagged)


def _starts_contradicted(came: pd.DataFrame) -> pd.Series:
    """Mark the starts at which the patient had not arrived, or the practitioner's patient before had not left."""
    ordered = came.sort_values(["started_at", "ended_at"], kind="stable")
    before = ordered.groupby(["site", "practitioner"], observed=True)["ended_at"].shift()
    too_soon = (before > ordered["started_at"]).reindex(came.index)
    return too_soon | (came["arrived_at"] > came["started_at"])


def _off_slot(came: pd.DataFrame, what: str) -> pd.Series:
    """Give the whole minutes from the slot's start or end to the visit's."""
    slot = came["slot_start"]
    if what == "ended_at":
        slot = slot + pd.to_timedelta(came["slot_minutes"], unit="m")
    return ((came[what] - slot).dt.total_seconds() / 60).apply(np.floor)


def _members(parts: pd.Series) -> list[tuple[str, pd.Series]]:
    """List the whole log, then its parts."""
    names = sorted(parts.unique())
    return [(ALL, pd.Series(data=True, index=parts.index)), *((name, parts == name) for name in names)]


def _attended(visits: pd.DataFrame) -> pd.Series:
    """Mark the visits that were kept."""
    return (visits["attendance"] == "attended").fillna(False).astype("bool")
