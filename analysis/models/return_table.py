"""When known patients come back, and why: a life table by weeks since the last visit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.models.visit_history import KINDS, NEVER, NEW, SECOND, History

WEEK = 7
SINGLE_WEEKS = 8
BLOCK_WEEKS = 4
STRATA = 4
"""Hearing aid or not, by has come back before or not: ``2 * hearing_aid + returner``."""
FEWEST_EVENTS = 50
"""Returns a stratum needs for a curve of its own (our choice, no source)."""
FEWEST_WATCHED = 25.0
"""Patients who must be watched through a stretch for it to have its own rate (our choice, no source)."""
FEWEST_TAIL_EVENTS = 5
TAIL_WEEKS = 26
TAIL_DOUBT = 0.5
"""How far, on the log scale, returns later than anybody was watched may run from the pooled rate
(standard deviation; our choice, no source)."""
DAYS_A_MONTH = 365.25 / 12
CERTAIN = 1 - 1e-9


@dataclass(frozen=True, eq=False)
class ReturnTable:
    """Weekly return rates by stratum, kind and weeks since the last visit.

    Attributes
    ----------
    events : numpy.ndarray, shape (groups, kinds, stretches)
        Returns seen in each stretch of weeks.
    watched : numpy.ndarray, shape (groups, stretches)
        Patient-weeks watched.
    group_of : numpy.ndarray, shape (4,)
        The group of each stratum; strata with few returns share one.
    stretch_of : numpy.ndarray, shape (groups, weeks)
        The stretch that gives each week's rate; the last one is the pooled tail.
    followed_weeks : int
        Weeks for which somebody has been watched; beyond, the tail's rate is a guess.
    """

    events: np.ndarray
    watched: np.ndarray
    group_of: np.ndarray
    stretch_of: np.ndarray
    followed_weeks: int

    def rates(self) -> np.ndarray:
        """Give the likeliest weekly rates, shape (1, strata, kinds, weeks)."""
        return self._spread(self._each(self.events)[None])

    def rate_draws(self, draws: int, rng: np.random.Generator) -> np.ndarray:
        """Draw weekly rates as uncertain as the counts behind them, shape (draws, strata, kinds, weeks)."""
        drawn = rng.standard_gamma(np.broadcast_to(self.events, (draws, *self.events.shape)))
        drawn[..., -1] *= np.exp(TAIL_DOUBT * rng.standard_normal(drawn.shape[:-1]))
        return self._spread(self._each(drawn))

    def _each(self, events: np.ndarray) -> np.ndarray:
        """Divide returns by patient-weeks; nobody watched gives no rate."""
        watched = self.watched[:, None, :]
        return np.divide(events, watched, out=np.zeros_like(events, dtype=float), where=watched > 0)

    def _spread(self, by_stretch: np.ndarray) -> np.ndarray:
        """Lay the rates of groups and stretches out over strata and weeks."""
        by_group = [by_stretch[:, g][..., self.stretch_of[g]] for g in range(len(self.stretch_of))]
        return np.stack([by_group[g] for g in self.group_of], axis=1)


def return_table(history: History, *, last: int, weeks: int) -> ReturnTable:
    """Learn from the log how soon patients come back after a visit, and as what.

    Parameters
    ----------
    history : History
        Attended visits up to ``last``.
    last : int
        Last day the log covers, counted from 1 January 1970.
    weeks : int
        Weeks since the last visit the table must reach.

    Returns
    -------
    ReturnTable

    Notes
    -----
    A life table with competing kinds of return [1]_: in each stretch of weeks
    since the last visit (single weeks for eight, then four at a time) the rate
    of a kind is its returns over the patient-weeks watched. Whoever has not
    come back counts as watched so far, so that patients who never return show
    as the share left over, without having to be told apart. A known patient
    booked as new ends being watched and counts among new patients. Stretches
    through which fewer than 25 patients were watched take the pooled rate of
    the latest half year that was, with a wide allowance for what is not known.

    References
    ----------
    .. [1] Holford (1980), Biometrics 36, 299-305; Prentice et al. (1978), Biometrics 34, 541-554.
    """
    spells = _spells(history, last)
    lows, widths = _stretches(weeks)
    came = spells[:, :-1].copy()
    came[:, NEW] = 0
    group_of = _groups(came.sum(axis=(1, 2)))
    members = np.arange(group_of.max() + 1)[:, None] == group_of
    length = np.arange(spells.shape[2]) / WEEK
    in_group = members @ spells.sum(axis=1)
    watched = _beyond(length, in_group, lows) - _beyond(length, in_group, lows + widths)
    # a gap of exactly seven days ends the first week, it does not begin the second
    place = np.maximum(np.searchsorted(lows, length, side="left") - 1, 0)
    events = np.tensordot(members, came, axes=1) @ (place[:, None] == np.arange(len(lows))).astype(float)
    followed = int(np.ceil(length[in_group.any(axis=0)].max(initial=0.0)))
    tails = [_tail(events[g].sum(axis=0), watched[g], lows, widths) for g in range(len(watched))]
    pooled_events = np.stack([events[g][:, tail:].sum(axis=1) for g, (_, tail) in enumerate(tails)])
    pooled_watched = np.array([watched[g][tail:].sum() for g, (_, tail) in enumerate(tails)])
    own = np.repeat(np.arange(len(lows)), widths)[:weeks]
    return ReturnTable(
        events=np.concatenate([events, pooled_events[..., None]], axis=2),
        watched=np.concatenate([watched, pooled_watched[:, None]], axis=1),
        group_of=group_of,
        stretch_of=np.stack([np.where(own >= cut, len(lows), own) for cut, _ in tails]),
        followed_weeks=followed,
    )


def _stretches(weeks: int) -> tuple[np.ndarray, np.ndarray]:
    """Give the first week and the number of weeks of each stretch."""
    blocks = -(-max(weeks - SINGLE_WEEKS, 0) // BLOCK_WEEKS)
    widths = np.array([1] * SINGLE_WEEKS + [BLOCK_WEEKS] * blocks)
    return np.cumsum(widths) - widths, widths


def _groups(events: np.ndarray) -> np.ndarray:
    """Choose the finest grouping of the four strata in which every group has enough returns."""
    for grouping in ((0, 1, 2, 3), (0, 1, 0, 1), (0, 0, 1, 1)):
        group_of = np.array(grouping)
        if np.bincount(group_of, weights=events).min() >= FEWEST_EVENTS:
            return group_of
    return np.zeros(STRATA, dtype=np.int64)


def _spells(history: History, last: int) -> np.ndarray:
    """Count patients' times after a visit by stratum, how they ended (last: not yet) and days: all that the table needs."""
    keyed = history.keyed & (history.day <= last)
    days = np.minimum(history.next_day[keyed], last) - history.day[keyed]
    ended = history.next_kind[keyed] % (len(KINDS) + 1)
    reach = int(days.max(initial=0)) + 1
    place = (history.stratum[keyed] * (len(KINDS) + 1) + ended) * reach + days
    counts = np.bincount(place, minlength=STRATA * (len(KINDS) + 1) * reach)
    return counts.reshape(STRATA, len(KINDS) + 1, reach)


def _beyond(length: np.ndarray, many: np.ndarray, lows: np.ndarray) -> np.ndarray:
    """Sum by how much lengths, each there so many times, reach beyond each of some lengths."""
    return many @ np.maximum(length[:, None] - lows, 0.0)


def _tail(events: np.ndarray, watched: np.ndarray, lows: np.ndarray, widths: np.ndarray) -> tuple[int, int]:
    """Say from which stretch the pooled rate is used, and from which it is pooled."""
    thin = np.flatnonzero(watched < FEWEST_WATCHED * widths)
    cut = int(thin[0]) if len(thin) else len(lows)
    observed = int(np.flatnonzero(watched > 0).max(initial=0))
    start = min(cut, observed)
    while start > 0 and (
        events[start:].sum() < FEWEST_TAIL_EVENTS or lows[observed] + widths[observed] - lows[start] < TAIL_WEEKS
    ):
        start -= 1
    return cut, start


def with_recall_uptake(rates: np.ndarray, *, recall_months: int, uptake: float, kind: int) -> np.ndarray:
    """Replace the log's routine recalls by recalling everybody at a set month.

    Parameters
    ----------
    rates : numpy.ndarray, shape (draws, strata, kinds, weeks)
        Weekly rates.
    recall_months : int
        Months after the last visit at which patients are called back.
    uptake : float
        Share of those called back who come, 0 to 1.
    kind : int
        Place of routine recalls among the kinds.

    Returns
    -------
    numpy.ndarray
        A new array; those called back come evenly over the four weeks from
        the date due, unless they came for another reason before.
    """
    replaced = rates.copy()
    replaced[:, :, kind] = 0.0
    due = round(recall_months * DAYS_A_MONTH / WEEK)
    for week in range(BLOCK_WEEKS):
        chance = min(uptake / (BLOCK_WEEKS - week * uptake), CERTAIN)
        if due + week < rates.shape[-1]:
            replaced[:, :, kind, due + week] = -np.log1p(-chance)
    return replaced


def waiting_patients(history: History, *, last: int, weeks: int) -> np.ndarray:
    """Count the known patients by stratum and weeks since their last visit.

    Parameters
    ----------
    history : History
        Attended visits up to ``last``.
    last : int
        Last day the log covers.
    weeks : int
        Weeks of the table.

    Returns
    -------
    numpy.ndarray, shape (4, weeks)
        Patients; one between two weeks is shared between them.
    """
    waiting = history.keyed & (history.next_day == NEVER)
    days = last - history.day[waiting]
    reach = int(days.max(initial=0)) + 1
    place = history.stratum[waiting] * reach + days
    patients = np.bincount(place, minlength=STRATA * reach).reshape(STRATA, reach)
    gap = np.arange(reach) / WEEK
    week = np.floor(gap).astype(np.int64)
    counts = np.zeros((weeks, STRATA))
    np.add.at(counts, week, (patients * (1 - (gap - week))).T)
    np.add.at(counts, week + 1, (patients * (gap - week)).T)
    return counts.T


def second_attempt_share(table: ReturnTable, days: int) -> float:
    """Share of visits followed by a second attempt within some days, were nothing to come between.

    Parameters
    ----------
    table : ReturnTable
    days : int
        Days after the visit.

    Returns
    -------
    float
        A share between 0 and 1, over all groups of patients.
    """
    weeks = max(1, round(days / WEEK))
    events = table.events[:, SECOND, :-1].sum(axis=0)
    watched = table.watched[:, :-1].sum(axis=0)
    rate = np.divide(events, watched, out=np.zeros_like(events), where=watched > 0)
    _, widths = _stretches(weeks)
    return float(1 - np.exp(-(np.repeat(rate[: len(widths)], widths)[:weeks]).sum()))
