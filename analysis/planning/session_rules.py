"""The rules a half-day session is booked by: gaps, a break, who comes first, two together, one squeezed in."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.planning.session import Bookings, Pause, SessionFigures, SessionRuns, run_sessions, session_figures
from analysis.planning.sharing import run_sharing
from analysis.settings import SlotsPart

AS_BOOKED, SHORT_FIRST, LONG_FIRST = "as_booked", "short_first", "long_first"
ORDERS = (AS_BOOKED, SHORT_FIRST, LONG_FIRST)


@dataclass(frozen=True, slots=True)
class SessionRules:
    """How slots are laid out in a session.

    Attributes
    ----------
    session_minutes, turnaround_minutes : float
        Length of the session; minutes after each patient, part of the slot.
    catch_up_every, catch_up_minutes : int, float
        An empty gap after every so many slots; nought means none.
    pause : Pause or None
        A break: no slot runs into it and nobody is called in it.
    two_first : bool
        The first two patients are both booked for the start, the others a slot earlier.
    order : str
        ``as_booked``, or the categories with short or with long slots first.
    practitioners, units : int
        Practitioners at work at the same time, and the rooms or suction units they share.
    squeezed_in_share : float
        Share of sessions into which one more patient is squeezed, beside the middle slot.
    """

    session_minutes: float
    turnaround_minutes: float = 0.0
    catch_up_every: int = 0
    catch_up_minutes: float = 0.0
    pause: Pause | None = None
    two_first: bool = False
    order: str = AS_BOOKED
    practitioners: int = 1
    units: int = 1
    squeezed_in_share: float = 0.0


def rules_of(settings: SlotsPart, catch_up_every: int = 0) -> SessionRules:
    """Give the clinic's rules, with a gap of one step of the grid after every so many slots.

    Parameters
    ----------
    settings : SlotsPart
    catch_up_every : int, optional

    Returns
    -------
    SessionRules
    """
    begins = settings.break_after_minutes
    return SessionRules(
        session_minutes=settings.session_minutes,
        turnaround_minutes=settings.turnaround_minutes,
        catch_up_every=catch_up_every,
        catch_up_minutes=float(settings.grid_minutes) if catch_up_every else 0.0,
        pause=Pause(begins, begins + settings.break_minutes) if settings.break_minutes else None,
        two_first=settings.first_two_together,
        order=settings.order,
        practitioners=settings.practitioners_sharing,
        units=settings.units_shared,
        squeezed_in_share=settings.squeezed_in_share,
    )


@dataclass(frozen=True, slots=True, eq=False)
class SqueezedIn:
    """One more patient, such as a second attempt, booked beside another's slot.

    Attributes
    ----------
    place : int
        Beside which booking of the session, counted from nought.
    minutes, comes : numpy.ndarray, shape (sessions,)
    """

    place: int
    minutes: np.ndarray
    comes: np.ndarray


def laid_out(slots: np.ndarray, rules: SessionRules) -> tuple[np.ndarray, np.ndarray]:
    """Lay slots out one after the other.

    Parameters
    ----------
    slots : numpy.ndarray, shape (bookings, sessions)
        Minutes of each slot, in order.
    rules : SessionRules

    Returns
    -------
    starts : numpy.ndarray, shape (bookings, sessions)
        Minutes from the session's start.
    fits : numpy.ndarray of bool, shape (bookings, sessions)
        Whether the slot ends within the session.

    Examples
    --------
    A gap of 10 after every second slot; then the first two patients together.

    >>> slots = np.full((4, 1), 20.0)
    >>> laid_out(slots, SessionRules(100, catch_up_every=2, catch_up_minutes=10))[0].ravel().tolist()
    [0.0, 20.0, 50.0, 70.0]
    >>> laid_out(slots, SessionRules(100, two_first=True))[0].ravel().tolist()
    [0.0, 0.0, 20.0, 40.0]
    """
    ends = np.cumsum(slots, axis=0)
    if rules.catch_up_every > 0:
        ends = ends + rules.catch_up_minutes * (np.arange(len(slots)) // rules.catch_up_every)[:, None]
    if rules.pause is not None:
        ends = _around(ends, slots, rules.pause)
    starts = ends - slots
    fits = ends <= rules.session_minutes + 1e-9
    if rules.two_first and len(slots) > 1:
        starts = np.concatenate([starts[:1], starts[:1], starts[1:-1]])
    return starts, fits


def _around(ends: np.ndarray, slots: np.ndarray, pause: Pause) -> np.ndarray:
    """Move the first slot that would run into the break, and all after it, to the break's end."""
    runs_in = ends > pause.start_minutes + 1e-9
    first = np.argmax(runs_in, axis=0)[None, :]
    start = np.take_along_axis(ends - slots, first, axis=0)
    return np.where(runs_in, ends + np.maximum(pause.end_minutes - start, 0.0), ends)


def run_rules(
    slot_minutes: np.ndarray, bookings: Bookings, rules: SessionRules, squeezed: SqueezedIn | None = None
) -> SessionFigures:
    """Meet bookings with slots laid out by rules, and average what comes of it.

    Parameters
    ----------
    slot_minutes : numpy.ndarray, shape (categories,)
    bookings : Bookings
        The same bookings may meet any slots and rules (common random numbers).
    rules : SessionRules
    squeezed : SqueezedIn, optional

    Returns
    -------
    SessionFigures
        A break counts neither as idle nor as overtime.

    Raises
    ------
    ValueError
        If a slot is not longer than nought.
    """
    if slot_minutes.min() <= 0:
        raise ValueError("slots must be longer than nought")
    if squeezed is None and rules.squeezed_in_share:
        squeezed = _squeezed(slot_minutes, bookings, rules)
    ordered = _in_order(slot_minutes, bookings, rules)
    starts, fits = laid_out(slot_minutes[ordered.category], rules)
    minutes, late, comes = ordered.minutes, ordered.late_minutes, ordered.attends & fits
    if squeezed is not None:
        place = squeezed.place
        starts = np.insert(starts, place + 1, starts[place], axis=0)
        minutes = np.insert(minutes, place + 1, squeezed.minutes, axis=0)
        late = np.insert(late, place + 1, 0.0, axis=0)
        comes = np.insert(comes, place + 1, squeezed.comes, axis=0)
    runs, comes = _run(starts, minutes, comes, late, rules)
    return session_figures(runs, comes, rules.session_minutes, rules.pause)


def _run(
    starts: np.ndarray, minutes: np.ndarray, comes: np.ndarray, late: np.ndarray, rules: SessionRules
) -> tuple[SessionRuns, np.ndarray]:
    """Run sessions by themselves, or so many at a time as practitioners share what they need."""
    turnaround = rules.turnaround_minutes
    if rules.practitioners <= rules.units:
        return run_sessions(starts, minutes, comes, late, turnaround_minutes=turnaround, pause=rules.pause), comes
    many = minutes.shape[1] // rules.practitioners
    together = (len(minutes), rules.practitioners, many)
    parts = [
        np.broadcast_to(each, minutes.shape)[:, : rules.practitioners * many] for each in (starts, minutes, comes, late)
    ]
    runs = run_sharing(
        *(each.reshape(together) for each in parts), turnaround_minutes=turnaround, units=rules.units, pause=rules.pause
    )
    return runs, parts[2]


def _squeezed(slot_minutes: np.ndarray, bookings: Bookings, rules: SessionRules) -> SqueezedIn:
    """Squeeze each session's last drawn booking in beside the middle slot, in the share of sessions the rules say."""
    middle = int(rules.session_minutes / slot_minutes.mean() / 2)
    sessions = bookings.minutes.shape[1]
    chosen = np.arange(sessions) < round(rules.squeezed_in_share * sessions)
    return SqueezedIn(min(middle, len(bookings.minutes) - 1), bookings.minutes[-1], bookings.attends[-1] & chosen)


def _in_order(slot_minutes: np.ndarray, bookings: Bookings, rules: SessionRules) -> Bookings:
    """Put the bookings that fit in the order of the rules; the others stay behind them."""
    if rules.order == AS_BOOKED:
        return bookings
    slots = slot_minutes[bookings.category]
    fits = laid_out(slots, replace(rules, two_first=False))[1]
    key = np.where(fits, slots if rules.order == SHORT_FIRST else -slots, np.inf)
    order = np.argsort(key, axis=0, kind="stable")
    return Bookings(
        *(
            np.take_along_axis(each, order, axis=0)
            for each in (bookings.category, bookings.minutes, bookings.attends, bookings.late_minutes)
        )
    )
