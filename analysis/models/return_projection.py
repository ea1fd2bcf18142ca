"""Known patients carried forward week by week: who comes, and who comes again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.models.return_table import STRATA, WEEK
from analysis.models.visit_history import NEW, SECOND, History


@dataclass(frozen=True, eq=False)
class Projection:
    """Expected returns of each week ahead.

    Attributes
    ----------
    first : numpy.ndarray, shape (draws, weeks, kinds)
        Next visits of patients known on the last day.
    later : numpy.ndarray, shape (draws, weeks, kinds)
        Returns after a visit that itself lies ahead.
    weighed : numpy.ndarray, shape (draws, weeks, kinds)
        Both, each visit counted by the weight of the weeks since the last one;
        nought without weights.
    """

    first: np.ndarray
    later: np.ndarray
    weighed: np.ndarray


def week_chances(rates: np.ndarray) -> np.ndarray:
    """Turn weekly rates of each kind into the chances of a week.

    Parameters
    ----------
    rates : numpy.ndarray, shape (..., kinds, weeks)
        Rates a week.

    Returns
    -------
    numpy.ndarray
        Chance that the first return of the week is of each kind; over kinds
        they add up to one less the chance of no return.

    Examples
    --------
    >>> chances = week_chances(np.array([[np.log(2) / 2], [np.log(2) / 2]]))
    >>> chances.round(3).tolist()
    [[0.25], [0.25]]
    """
    total = rates.sum(axis=-2, keepdims=True)
    return rates * np.divide(-np.expm1(-total), total, out=np.ones_like(total), where=total > 0)


def project(
    waiting: np.ndarray,
    entrants: np.ndarray,
    rates: np.ndarray,
    scale: np.ndarray,
    *,
    known_rates: Callable[[int], np.ndarray] | None = None,
    weights: np.ndarray | None = None,
) -> Projection:
    """Carry known and coming patients forward week by week.

    Parameters
    ----------
    waiting : numpy.ndarray, shape (strata, ages)
        Known patients by stratum and weeks since their last visit.
    entrants : numpy.ndarray, shape (draws, strata, weeks)
        Patients expected to be seen for the first time in each week ahead.
    rates : numpy.ndarray, shape (draws, strata, kinds, ages)
        Weekly return rates.
    scale : numpy.ndarray, shape (weeks,)
        Opening days of each week ahead, as a multiple of the usual.
    known_rates : callable, optional
        Gives the rates of patients known already in a week ahead, where they
        differ from those of ``rates``, as while a rule is being changed.
    weights : numpy.ndarray, shape (ages,), optional
        Weight of a visit by the weeks since the one before.

    Returns
    -------
    Projection

    Notes
    -----
    Every visit restarts the clock. Whoever comes within a week is watched for
    half of it, and enters the next shared between no and one week since that
    visit, half a week on average.
    """
    draws, _, kinds, ages = rates.shape
    known = np.broadcast_to(waiting, (draws, STRATA, ages)).copy()
    coming = np.zeros((draws, STRATA, ages))
    first, later, weighed = (np.zeros((draws, len(scale), kinds)) for _ in range(3))
    total = rates.sum(axis=2)
    for week, factor in enumerate(scale):
        back, left = _a_week(total * factor)
        own = rates if known_rates is None else known_rates(week)
        known_back, known_left = (back, left) if known_rates is None else _a_week(own.sum(axis=2) * factor)
        known_due, coming_due = known * known_back * factor, coming * back * factor
        from_known, from_coming = _by_kind(own, known_due), _by_kind(rates, coming_due)
        first[:, week], later[:, week] = from_known.sum(axis=1), from_coming.sum(axis=1)
        if weights is not None:
            by_weight = _by_kind(own, known_due * weights) + _by_kind(rates, coming_due * weights)
            weighed[:, week] = by_weight.sum(axis=1)
        known, coming = _older(known * known_left), _older(coming * left)
        seen = entrants[:, :, week] + _next_stratum(from_known + from_coming)
        at_once = seen[:, :, None] * week_chances(rates[..., :1] * factor / 2)[..., 0]
        later[:, week] += at_once.sum(axis=1)
        if weights is not None:
            weighed[:, week] += at_once.sum(axis=1) * weights[0]
        seen = seen - at_once.sum(axis=2) + _next_stratum(at_once)
        coming[:, :, 0] += seen / 2
        coming[:, :, 1] += seen / 2
    return Projection(first, later, weighed)


def _a_week(total: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give, for the week's rates of all kinds together, the chance of a return by its rate, and that of none."""
    gone = -np.expm1(-total)
    return np.divide(gone, total, out=np.ones_like(total), where=total > 0), 1 - gone


def _by_kind(rates: np.ndarray, due: np.ndarray) -> np.ndarray:
    """Sum returns over ages, by stratum and kind; a product of matrices, many times as fast as summing the chances."""
    return (rates @ due[..., None])[..., 0]


def _older(patients: np.ndarray) -> np.ndarray:
    """Make everybody a week older; the last age gathers whoever would leave the table."""
    older = np.zeros_like(patients)
    older[..., 1:] = patients[..., :-1]
    older[..., -1] += patients[..., -1]
    return older


def _next_stratum(events: np.ndarray) -> np.ndarray:
    """Count visits by the stratum the patient is in afterwards: a second attempt is no return."""
    second = events[:, :, SECOND]
    other = events.sum(axis=2) - second
    moved = np.zeros_like(second)
    moved[:, 1::2] = other[:, 0::2] + other[:, 1::2]
    return moved + second


def month_chances(rates: np.ndarray, scale: np.ndarray, month_share: np.ndarray) -> np.ndarray:
    """Give each known patient's chance that the next visit falls in each month, as each kind.

    Parameters
    ----------
    rates : numpy.ndarray, shape (strata, kinds, ages)
        Weekly return rates.
    scale : numpy.ndarray, shape (weeks,)
        Opening days of each week ahead, as a multiple of the usual.
    month_share : numpy.ndarray, shape (weeks, months)
        Share of each week's days that lies in each month.

    Returns
    -------
    numpy.ndarray, shape (strata, ages - weeks, months, kinds)
        Chances, given that the patient has not come back for that many weeks.
    """
    reach = rates.shape[-1] - len(scale)
    left = np.ones((rates.shape[0], reach))
    chances = np.zeros((rates.shape[0], reach, month_share.shape[1], rates.shape[1]))
    for week, factor in enumerate(scale):
        now = week_chances(rates[:, :, week : week + reach] * factor) * left[:, None]
        chances += np.einsum("ska,m->samk", now, month_share[week])
        left = left - now.sum(axis=1)
    return chances


def returns_by_month(
    history: History, rates: np.ndarray, edges: tuple[np.ndarray, np.ndarray]
) -> tuple[np.ndarray, np.ndarray]:
    """Set past months' returns beside those the rates expect.

    Parameters
    ----------
    history : History
        Attended visits up to the last day.
    rates : numpy.ndarray, shape (strata, kinds, ages)
        Weekly return rates.
    edges : (numpy.ndarray, numpy.ndarray)
        First day of each month and the day after its last.

    Returns
    -------
    (numpy.ndarray, numpy.ndarray)
        Returns that came in each month, and the rates summed over the time
        everybody was watched in it. If patients come independently, their
        difference has the expected count as its variance.
    """
    spells = history.keyed
    cumulative = np.concatenate([np.zeros((STRATA, 1)), rates.sum(axis=1).cumsum(axis=1)], axis=1)
    returns = history.day[spells & history.linked & (history.kind != NEW)]
    came = np.searchsorted(returns, edges[1]) - np.searchsorted(returns, edges[0])
    days = np.unique(np.concatenate([edges[0], edges[1]]) - 1)
    upto = _expected_up_to(days, cumulative, history.stratum[spells], history.day[spells], history.next_day[spells])
    return came, upto[np.searchsorted(days, edges[1] - 1)] - upto[np.searchsorted(days, edges[0] - 1)]


def _expected_up_to(
    days: np.ndarray, cumulative: np.ndarray, stratum: np.ndarray, start: np.ndarray, stop: np.ndarray
) -> np.ndarray:
    """Sum the rates over the time everybody was watched up to each of some days, in order.

    Spells that have ended are summed once; those still open are counted by the
    day they began, so that a month costs the log's days and not its spells.
    """
    begun = np.arange(start.min(initial=days[0]), days[-1] + 1)
    by_day = _at(cumulative, np.arange(len(begun) + 1) / WEEK)
    usable = start <= days[-1]
    stratum, start, stop = stratum[usable], start[usable], np.minimum(stop[usable], days[-1] + 1)
    over = np.searchsorted(days, np.append(begun, days[-1] + 1))[stop - begun[0]]  # the first of the days not before
    ended = np.bincount(over, by_day[stratum, stop - start], minlength=len(days) + 1).cumsum()
    place = stratum * len(begun) + start - begun[0]
    shape = (len(days) + 1, STRATA, len(begun))
    leaving = np.bincount(over * (STRATA * len(begun)) + place, minlength=shape[0] * shape[1] * shape[2]).reshape(shape)
    still = leaving.sum(axis=0)
    upto = np.zeros(len(days))
    for number, day in enumerate(days):
        still = still - leaving[number]
        ages = int(np.searchsorted(begun, day, side="right"))
        upto[number] = ended[number] + (still[:, :ages] * by_day[:, day - begun[:ages]]).sum()
    return upto


def _at(cumulative: np.ndarray, weeks: np.ndarray) -> np.ndarray:
    """Read cumulative rates at so many weeks, between whole weeks along a straight line."""
    whole = np.floor(weeks).astype(np.int64)
    low = cumulative[:, whole]
    return low + (weeks - whole) * (cumulative[:, whole + 1] - low)


def week_shares(walked: tuple[np.ndarray, np.ndarray], *, last: int) -> np.ndarray:
    """Share of each week's days, from the day after the log, that lies in each month.

    Parameters
    ----------
    walked : (numpy.ndarray, numpy.ndarray)
        First day of each month walked through and the day after its last.
    last : int
        Last day of the log; week 0 begins the day after.

    Returns
    -------
    numpy.ndarray, shape (weeks, months)
        Sevenths; days beyond the last month belong to none.

    Examples
    --------
    >>> (7 * week_shares((np.array([10, 15]), np.array([15, 25])), last=9)).tolist()
    [[5.0, 2.0], [0.0, 7.0], [0.0, 1.0]]
    """
    weeks = -(-int(walked[1][-1] - 1 - last) // WEEK)
    begins = last + 1 + WEEK * np.arange(weeks)[:, None]
    overlap = np.minimum(begins + WEEK, walked[1]) - np.maximum(begins, walked[0])
    return np.clip(overlap, 0, WEEK) / WEEK


def weeks_needed(*, first: int, last: int, weeks_ahead: int) -> int:
    """Give the weeks since a last visit that a table must reach.

    Examples
    --------
    >>> weeks_needed(first=0, last=70, weeks_ahead=26)
    38
    """
    return -(-(last - first) // WEEK) + weeks_ahead + 2
