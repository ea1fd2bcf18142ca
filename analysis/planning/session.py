"""A half-day session, booking after booking: who waits, when the room stands idle, when it ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.derive.sessions import ON_TIME_MINUTES

LATE_MINUTES = 15.0
"""A session that runs over by more than these counts as a late evening or lunch (a choice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Bookings:
    """What many sessions' bookings bring, whatever template they are met with.

    Attributes
    ----------
    category : numpy.ndarray of int, shape (bookings, sessions)
        Booking category of each, in order of the slots.
    minutes : numpy.ndarray, shape (bookings, sessions)
        Minutes in the chair, should the patient come.
    attends : numpy.ndarray of bool, shape (bookings, sessions)
    late_minutes : numpy.ndarray, shape (bookings, sessions)
        Arrival after the slot's start; negative is early.
    """

    category: np.ndarray
    minutes: np.ndarray
    attends: np.ndarray
    late_minutes: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class SessionRuns:
    """What came of each session.

    Attributes
    ----------
    wait_minutes : numpy.ndarray, shape (bookings, sessions)
        From the slot's start, or from arriving if later, to being called;
        nought for whoever did not come.
    idle_minutes : numpy.ndarray, shape (sessions,)
        The room stood ready with nobody in it, before the last patient.
    free_at_minutes : numpy.ndarray, shape (sessions,)
        When the room was ready again after the last patient, from the
        session's start.
    """

    wait_minutes: np.ndarray
    idle_minutes: np.ndarray
    free_at_minutes: np.ndarray


@dataclass(frozen=True, slots=True)
class Pause:
    """A break, in minutes from the session's start."""

    start_minutes: float
    end_minutes: float


@dataclass(frozen=True, slots=True)
class SessionFigures:
    """What a template does on average.

    Attributes
    ----------
    on_time_share : float
        Patients called within 5 minutes of their slot, or of arriving if later.
    mean_wait_minutes : float
        A patient's wait.
    overtime_minutes, idle_minutes : float
        A session's.
    patients_per_session : float
        Patients seen.
    late_share : float
        Sessions that end more than 15 minutes late.
    """

    on_time_share: float
    mean_wait_minutes: float
    overtime_minutes: float
    idle_minutes: float
    patients_per_session: float
    late_share: float = 0.0

    def cost(self, *, price_wait: float, price_idle: float, price_overtime: float) -> float:
        """Worth of a session's waiting, idling and overtime, at a price a minute.

        Examples
        --------
        >>> SessionFigures(0.8, 4.0, 6.0, 20.0, 8.0).cost(price_wait=1, price_idle=1, price_overtime=2)
        64.0
        """
        waiting = self.mean_wait_minutes * self.patients_per_session
        return price_wait * waiting + price_idle * self.idle_minutes + price_overtime * self.overtime_minutes


def run_sessions(
    starts_minutes: np.ndarray,
    minutes: np.ndarray,
    attends: np.ndarray,
    late_minutes: np.ndarray | float = 0.0,
    *,
    turnaround_minutes: float = 0.0,
    pause: Pause | None = None,
) -> SessionRuns:
    """Run sessions one booking after the other, all sessions at once.

    Parameters
    ----------
    starts_minutes : numpy.ndarray, shape (bookings, sessions) or (bookings, 1)
        Start of each slot, from the session's start; not falling.
    minutes, attends, late_minutes : numpy.ndarray, shape (bookings, sessions)
        As in ``Bookings``.
    turnaround_minutes : float, optional
        After each patient, before the next can be called.
    pause : Pause, optional
        Nobody is called in it; a visit that runs into it shortens it.

    Returns
    -------
    SessionRuns

    Notes
    -----
    Lindley's recursion [1]_: a patient is called when the room is ready and
    the patient is there, at the session's start at the earliest. Whoever comes
    early may be called early; patients are called in order of their slots.

    References
    ----------
    .. [1] Lindley (1952), Proceedings of the Cambridge Philosophical Society 48, 277-289.

    Examples
    --------
    Slots of 20 minutes: the first visit takes 25, so the second patient waits 5.

    >>> runs = run_sessions(np.array([[0.0], [20.0]]), np.array([[25.0], [10.0]]), np.array([[True], [True]]))
    >>> runs.wait_minutes.ravel().tolist(), runs.free_at_minutes.item()
    ([0.0, 5.0], 35.0)
    """
    bookings, sessions = minutes.shape
    starts = np.broadcast_to(starts_minutes, minutes.shape)
    late = np.broadcast_to(late_minutes, minutes.shape)
    free, idle, wait = np.zeros(sessions), np.zeros(sessions), np.zeros((bookings, sessions))
    for place in range(bookings):
        comes = attends[place]
        ready = starts[place] + late[place]
        called = np.maximum(free, ready)
        paused = 0.0
        if pause is not None:
            inside = (called >= pause.start_minutes) & (called < pause.end_minutes)
            called = np.where(inside, pause.end_minutes, called)
            shared = np.minimum(called, pause.end_minutes) - np.maximum(free, pause.start_minutes)
            paused = np.maximum(shared, 0.0)
        wait[place] = np.where(comes, called - np.maximum(ready, starts[place]), 0.0)
        idle += np.where(comes, called - free - paused, 0.0)
        free = np.where(comes, called + minutes[place] + turnaround_minutes, free)
    # Whoever came early and was called early waited less than nothing from the slot on.
    return SessionRuns(np.maximum(wait, 0.0), idle, free)


def run_template(
    slot_minutes: np.ndarray, bookings: Bookings, *, session_minutes: float, turnaround_minutes: float
) -> SessionFigures:
    """Meet bookings with a template of slot lengths, and average what comes of it.

    Parameters
    ----------
    slot_minutes : numpy.ndarray, shape (categories,)
        Slot of each booking category.
    bookings : Bookings
        Enough for the shortest slots; slots are filled in order until the
        next one would end after the session.
    session_minutes : float
        Length of the session.
    turnaround_minutes : float
        After each patient; it is part of the slot.

    Returns
    -------
    SessionFigures
        Idle minutes count to the end of the session; overtime is what the
        room is in use after it, turnaround included.
    """
    slots = slot_minutes[bookings.category]
    ends = np.cumsum(slots, axis=0)
    comes = bookings.attends & (ends <= session_minutes + 1e-9)
    runs = run_sessions(
        ends - slots, bookings.minutes, comes, bookings.late_minutes, turnaround_minutes=turnaround_minutes
    )
    return session_figures(runs, comes, session_minutes)


def session_figures(
    runs: SessionRuns, comes: np.ndarray, session_minutes: float, pause: Pause | None = None
) -> SessionFigures:
    """Average what came of sessions.

    Parameters
    ----------
    runs : SessionRuns
    comes : numpy.ndarray of bool, shape (bookings, sessions)
        Who was seen.
    session_minutes : float
    pause : Pause, optional
        Left out of the idle minutes after the last patient.

    Returns
    -------
    SessionFigures
    """
    seen = max(int(comes.sum()), 1)
    on_time = int(((runs.wait_minutes <= ON_TIME_MINUTES) & comes).sum())
    over = np.maximum(runs.free_at_minutes - session_minutes, 0.0)
    left = np.maximum(session_minutes - runs.free_at_minutes, 0.0)
    if pause is not None:
        left = left - np.maximum(pause.end_minutes - np.maximum(runs.free_at_minutes, pause.start_minutes), 0.0)
    return SessionFigures(
        on_time_share=on_time / seen,
        mean_wait_minutes=float(runs.wait_minutes.sum()) / seen,
        overtime_minutes=float(over.mean()),
        idle_minutes=float((runs.idle_minutes + left).mean()),
        patients_per_session=int(comes.sum()) / comes.shape[1],
        late_share=float((over > LATE_MINUTES).mean()),
    )
