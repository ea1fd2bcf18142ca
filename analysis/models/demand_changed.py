"""The forecast under another rule: recalls sooner or later, fewer second attempts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.models.demand import Demand, spread_out
from analysis.models.return_projection import project
from analysis.models.return_table import DAYS_A_MONTH, WEEK
from analysis.models.returns_ahead import RECALL
from analysis.models.visit_history import SECOND
from analysis.problems import NotEnough

EARLIEST_WEEKS = 0.5


@dataclass(frozen=True, eq=False)
class Change:
    """What is done otherwise from the day after the log.

    Attributes
    ----------
    recall_later_months : float
        Months by which every routine recall comes later; below 0 sooner.
    second_attempts : numpy.ndarray, shape (1 + sets,), or None
        What is left of second attempts after visits yet to come, as a multiple;
        None leaves them as they are.
    """

    recall_later_months: float = 0.0
    second_attempts: np.ndarray | None = None


@dataclass(frozen=True, eq=False)
class ChangedReturns:
    """Returns expected under a change, likeliest rates first, then as uncertain as they are.

    Attributes
    ----------
    expected : numpy.ndarray, shape (1 + sets, months ahead, kinds)
    log_months : numpy.ndarray, shape (1 + sets, months ahead)
        Mean logarithm of the months since the last visit, over routine
        recalls; nought in a month without any.
    """

    expected: np.ndarray
    log_months: np.ndarray


def changed_returns(demand: Demand, change: Change) -> ChangedReturns:
    """Expect the returns of the months ahead under a change.

    Parameters
    ----------
    demand : Demand
        The forecast without the change.
    change : Change

    Returns
    -------
    ChangedReturns
        Under no change, the returns ``demand`` expects.

    Raises
    ------
    NotEnough
        If the log carries too few patient numbers to tell when patients return.

    Notes
    -----
    A recall moved by some months moves the clock that calls patients. For
    patients known already the clock stands still for so long (recalls later), or
    runs at twice its pace for so long (sooner); after that it runs as before. So
    nobody is called twice or left out, and those due in between are called while
    the rule changes. For visits yet to come the clock does the same from the
    visit. Other returns keep their rates: whoever is not recalled yet may come
    with symptoms first. Second attempts after visits that lie behind stay.
    """
    walk = demand.returns.walk
    if walk is None:
        raise NotEnough(
            "Too few visits carry a patient number, so it is not known who would be recalled, or when.",
            "Keep a patient number in the export; it is made unreadable before anything is stored.",
        )
    weeks, ages = len(walk.scale), walk.rates.shape[-1]
    later_weeks = change.recall_later_months * DAYS_A_MONTH / WEEK
    cumulative = _cumulative(walk.rates[:, :, RECALL])
    clock = recall_clock(max(weeks, ages), later_weeks)
    coming = _with_recall(walk.rates, cumulative, np.arange(ages + 1) + clock[: ages + 1])
    if change.second_attempts is not None:
        coming[:, :, SECOND] *= np.asarray(change.second_attempts)[:, None, None]

    def known(week: int) -> np.ndarray:
        """Rates of known patients in a week ahead."""
        moved = np.diff(clock[week : week + 2]).item()
        return _with_recall(walk.rates, cumulative, np.arange(ages + 1) + clock[week], last_step=moved)

    months_since = (np.arange(ages) + EARLIEST_WEEKS) * WEEK / DAYS_A_MONTH
    found = project(
        walk.waiting, walk.entrants, coming, walk.scale, known_rates=known, weights=np.log(months_since)
    )  # fmt: skip
    ahead = slice(walk.share.shape[1] - len(demand.months.ahead), None)
    expected = np.einsum("bwk,wm->bmk", found.first + found.later, walk.share)[:, ahead]
    weighed = np.einsum("bw,wm->bm", found.weighed[..., RECALL], walk.share)[:, ahead]
    recalls = expected[..., RECALL]
    return ChangedReturns(expected, np.divide(weighed, recalls, out=np.zeros_like(weighed), where=recalls > 0))


def recall_clock(weeks: int, later_weeks: float) -> np.ndarray:
    """Give how far the recall clock is ahead of the weeks gone by, at each week's start.

    Parameters
    ----------
    weeks : int
        Weeks to go through.
    later_weeks : float
        Weeks by which recalls come later; below 0 sooner.

    Returns
    -------
    numpy.ndarray, shape (weeks + 1,)
        Weeks ahead, below 0 behind.

    Examples
    --------
    >>> recall_clock(4, 2.5).tolist(), recall_clock(4, -2.5).tolist()
    ([0.0, -1.0, -2.0, -2.5, -2.5], [0.0, 1.0, 2.0, 2.5, 2.5])
    """
    gone = np.minimum(np.arange(weeks + 1.0), abs(later_weeks))
    return -np.sign(later_weeks) * gone + 0.0


def _cumulative(rates: np.ndarray) -> np.ndarray:
    """Sum weekly rates up, from nought."""
    return np.concatenate([np.zeros((*rates.shape[:-1], 1)), rates.cumsum(axis=-1)], axis=-1)


def _with_recall(
    rates: np.ndarray, cumulative: np.ndarray, clock: np.ndarray, *, last_step: float | None = None
) -> np.ndarray:
    """Put in the recall rates between successive readings of the clock, or each from its reading on by one step."""
    if last_step is None:
        steps = np.diff(_read(cumulative, clock), axis=-1)
    else:
        starts = clock[:-1]
        steps = _read(cumulative, starts + 1 + last_step) - _read(cumulative, starts)
    changed = rates.copy()
    changed[:, :, RECALL] = steps
    return changed


def _read(cumulative: np.ndarray, weeks: np.ndarray) -> np.ndarray:
    """Read cumulative rates between whole weeks along a straight line, and beyond the table at its last rate."""
    last = cumulative.shape[-1] - 2
    whole = np.clip(np.floor(weeks), 0, last).astype(np.int64)
    low = cumulative[..., whole]
    return low + np.maximum(weeks - whole, 0.0) * (cumulative[..., whole + 1] - low)


def redrawn(demand: Demand, returns: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw the futures of a changed forecast, each as like its own future without the change as can be.

    Parameters
    ----------
    demand : Demand
        The forecast without the change.
    returns : numpy.ndarray, shape (1 + sets, months, kinds)
        Returns expected under the change.
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray, shape (futures, months, kinds)
        Whole numbers, moved apart as far as ``demand.drawn`` has been.

    Notes
    -----
    Where fewer are expected, each return of a future stays with the chance that
    makes them so many (thinning); where more, Poisson ones are added. So the
    same luck meets both, and a difference is not drowned by it.
    """
    ahead = len(demand.months.rest)
    before = (demand.returns.first + demand.returns.later)[:, ahead:]
    sets = 1 + np.arange(len(demand.drawn)) % (len(before) - 1)
    kept = np.minimum(np.divide(returns, before, out=np.ones_like(before), where=before > 0), 1.0)
    came = rng.binomial(demand.returns_drawn.astype(np.int64), kept[sets])
    more = rng.poisson(np.maximum(returns - before, 0.0)[sets])
    lift = 1.0 if demand.lift is None else demand.lift[:, None]
    expected = demand.expected + lift * (returns[0] - before[0])
    return spread_out(lift * (came + more + demand.others_drawn), expected, demand.factor)
