"""One machine for what-ifs: returns, how full ears are found, minutes, softening and slots, moved together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit

from analysis.models.demand_changed import ChangedReturns
from analysis.models.return_visits import STATES
from analysis.models.returns_ahead import RECALL
from analysis.models.visit_history import KINDS, NEW, SECOND

SMALLEST_SHARE = 1e-6
RETURNS = [place for place in range(len(KINDS)) if place not in (NEW, SECOND)]


@dataclass(frozen=True, eq=False)
class VisitWork:
    """What a visit takes up today; the first row is the best figure, the others draws.

    Attributes
    ----------
    minutes : numpy.ndarray, shape (1 + sets, kinds)
        Minutes in the chair with turnaround; missing where the log times no visit.
    slot : numpy.ndarray, shape (kinds,)
        Minutes booked; missing where the log does not say.
    lost : numpy.ndarray, shape (1 + sets, kinds)
        Bookings missed or cancelled late, to an attended visit.
    session_minutes : float
    """

    minutes: np.ndarray
    slot: np.ndarray
    lost: np.ndarray
    session_minutes: float


@dataclass(frozen=True, eq=False)
class FoundStates:
    """How full ears are found, and what hangs on it; the first row is the best figure, the others draws.

    Attributes
    ----------
    shares : numpy.ndarray, shape (kinds, states)
        Of each kind's visits, by the fuller ear (``STATES``: open, partly, fully occluding).
    minutes : numpy.ndarray, shape (1 + sets, states)
        Minutes of a visit.
    again : numpy.ndarray, shape (1 + sets, states)
        Share of first attempts that do not succeed.
    slope : numpy.ndarray, shape (1 + sets,)
        How the log odds of a fuller ear grow with the logarithm of the months.
    """

    shares: np.ndarray
    minutes: np.ndarray
    again: np.ndarray
    slope: np.ndarray


@dataclass(frozen=True, eq=False)
class Advice:
    """What advising everyone to soften first would change; the first row is the best figure, the others draws.

    Attributes
    ----------
    newly : numpy.ndarray, shape (kinds,)
        Share of each kind's visits that could be advised and are not.
    minutes_saved : numpy.ndarray, shape (1 + sets,)
        Minutes by which such a visit is shorter.
    second_attempts : numpy.ndarray, shape (1 + sets,)
        What is left of all second attempts, as a multiple.
    """

    newly: np.ndarray
    minutes_saved: np.ndarray
    second_attempts: np.ndarray


@dataclass(frozen=True, eq=False)
class Played:
    """The months ahead under one scenario; the first row is the best figure, the others draws.

    Attributes
    ----------
    returns : numpy.ndarray, shape (1 + sets, months, kinds)
        Returns expected.
    visits : numpy.ndarray, shape (1 + sets, months, kinds)
        All attended visits expected.
    chair_minutes : numpy.ndarray, shape (1 + sets, months)
        Minutes in the chair with turnaround; missing where the log times no visit.
    taken : numpy.ndarray, shape (1 + sets, months, kinds)
        Minutes a visit takes up, with its part of slots lost.
    sessions : numpy.ndarray, shape (1 + sets, months)
        Half-day sessions taken up.
    """

    returns: np.ndarray
    visits: np.ndarray
    chair_minutes: np.ndarray
    taken: np.ndarray
    sessions: np.ndarray


def play(
    changed: ChangedReturns,
    today: ChangedReturns,
    others: np.ndarray,
    work: VisitWork,
    *,
    states: FoundStates | None = None,
    advice: Advice | None = None,
    slot: np.ndarray | None = None,
) -> Played:
    """Work out what the months ahead take under one scenario.

    Parameters
    ----------
    changed, today : ChangedReturns
        Returns under the scenario and without it; the same for no change of recalls.
    others : numpy.ndarray, shape (1 + sets, months, kinds)
        Visits that are no returns, alike under every scenario.
    work : VisitWork
    states : FoundStates, optional
        Without it, ears are taken to be found as full at any month.
    advice : Advice, optional
        Given where everyone is advised; ``changed`` then has its second attempts already.
    slot : numpy.ndarray, shape (kinds,), optional
        Minutes booked under the scenario, where they differ from today's.

    Returns
    -------
    Played

    Notes
    -----
    Everything uncertain is drawn once a row and used in every scenario, so that
    the difference of two scenarios, row by row, has the range it should.
    Recalls that come at other months find ears fuller or less full: the odds
    move with the logarithm of the months. That moves their minutes and the
    second attempts that follow. A visit takes up its slot, or its minutes where
    these are more: minutes saved free no slot that stays as long as it is.
    """
    shares, before = _shares(changed, today, states), None if states is None else states.shares
    returns = changed.expected.copy()
    if states is not None and before is not None:
        returns[..., SECOND] *= _again(shares, before, states, changed.expected + others, today.expected + others)
    visits = returns + others
    minutes = np.broadcast_to(work.minutes[:, None], visits.shape).copy()
    if states is not None and before is not None:
        minutes += np.einsum("bmks,bs->bmk", shares - before, states.minutes)
    if advice is not None:
        minutes -= advice.newly * advice.minutes_saved[:, None, None]
    booked = work.slot if slot is None else slot
    taken = np.fmax(booked, minutes) + work.lost[:, None] * np.where(np.isnan(booked), work.minutes[0], booked)
    return Played(
        returns=returns,
        visits=visits,
        chair_minutes=(visits * minutes).sum(axis=2),
        taken=taken,
        sessions=(visits * taken).sum(axis=2) / work.session_minutes,
    )


def moved_shares(shares: np.ndarray, move: np.ndarray) -> np.ndarray:
    """Move ordered shares by so much on the scale of log odds.

    Parameters
    ----------
    shares : numpy.ndarray, shape (states,)
        From the least full to the fullest; they add up to 1.
    move : numpy.ndarray
        Above 0 moves towards the fullest.

    Returns
    -------
    numpy.ndarray, shape (*move.shape, states)

    Examples
    --------
    >>> moved_shares(np.array([0.5, 0.25, 0.25]), np.array([0.0, np.log(3)])).round(2).tolist()
    [[0.5, 0.25, 0.25], [0.25, 0.25, 0.5]]
    """
    below = np.clip(np.cumsum(shares)[:-1], SMALLEST_SHARE, 1 - SMALLEST_SHARE)
    reached = expit(logit(below) - np.asarray(move)[..., None])
    ends = np.zeros((*reached.shape[:-1], 1))
    return np.diff(np.concatenate([ends, reached, ends + 1], axis=-1), axis=-1)


def _shares(changed: ChangedReturns, today: ChangedReturns, states: FoundStates | None) -> np.ndarray:
    """Give each month's shares of states by kind; only recalls are found otherwise."""
    rows, months = changed.log_months.shape
    if states is None:
        return np.zeros((rows, months, len(KINDS), len(STATES)))
    shares = np.broadcast_to(states.shares, (rows, months, *states.shares.shape)).copy()
    known = (changed.log_months != 0) & (today.log_months != 0)
    later = np.where(known, changed.log_months - today.log_months, 0.0)
    shares[:, :, RECALL] = moved_shares(states.shares[RECALL], states.slope[:, None] * later)
    return shares


def _again(
    shares: np.ndarray, before: np.ndarray, states: FoundStates, visits: np.ndarray, visits_today: np.ndarray
) -> np.ndarray:
    """Give how much second attempts grow because the visits they follow are of other kinds, or fuller ears.

    The life table follows returns by one rate, whatever their kind; so what is
    put right is the difference between their kinds, today's mix being right.
    """
    now = np.einsum("bmks,bs->bmk", shares, states.again)
    then = (before @ states.again.T).T[:, None, :]
    among = visits_today[..., RETURNS]
    mean = np.divide(
        (among * then[..., RETURNS]).sum(axis=2), among.sum(axis=2), out=np.zeros(among.shape[:2]), where=among.sum(axis=2) > 0
    )  # fmt: skip
    led = (visits[..., RETURNS] * now[..., RETURNS]).sum(axis=2) + visits[..., NEW] * then[..., NEW]
    supposed = visits[..., RETURNS].sum(axis=2) * mean + visits[..., NEW] * then[..., NEW]
    return np.divide(led, supposed, out=np.ones_like(led), where=supposed > 0)


def sessions_drawn(
    drawn: np.ndarray, drawn_today: np.ndarray, sessions_today: np.ndarray, played: Played, today: Played, session_minutes: float
) -> np.ndarray:  # fmt: skip
    """Give the sessions each future takes up under a scenario, from those it takes up without it.

    Parameters
    ----------
    drawn, drawn_today : numpy.ndarray, shape (futures, months, kinds)
        Visits of each future, with the scenario and without.
    sessions_today : numpy.ndarray, shape (futures, months)
    played, today : Played
    session_minutes : float

    Returns
    -------
    numpy.ndarray, shape (futures, months)
    """
    sets = 1 + np.arange(len(drawn)) % (len(played.taken) - 1)
    more = (drawn * played.taken[sets] - drawn_today * today.taken[sets]).sum(axis=2)
    return np.maximum(sessions_today + more / session_minutes, 0.0)
