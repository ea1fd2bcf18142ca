"""How half-day sessions run: who waits, when the room is idle, how late it ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ON_TIME_WITHIN_MINUTES = 5.0
"""Started no later than this after the slot counts as on time (our choice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class SessionRuns:
    """Many sessions played through one template; every array has one entry a session.

    Attributes
    ----------
    seen : numpy.ndarray
        Patients seen.
    wait_minutes : numpy.ndarray
        Minutes all patients of the session waited together, after their slot
        and after they had come.
    on_time : numpy.ndarray
        Patients begun within five minutes of their slot, or of coming late.
    idle_minutes : numpy.ndarray
        Minutes the room stood ready and empty before the session's end.
    overtime_minutes : numpy.ndarray
        Minutes the last patient was done after the session's end.
    """

    seen: np.ndarray
    wait_minutes: np.ndarray
    on_time: np.ndarray
    idle_minutes: np.ndarray
    overtime_minutes: np.ndarray


def visit_starts(ready: np.ndarray, busy_minutes: np.ndarray) -> np.ndarray:
    """When each visit begins, one room, first booked first served.

    Parameters
    ----------
    ready : numpy.ndarray, shape (bookings, sessions)
        Minute from which each visit could begin: slot and patient are there.
    busy_minutes : numpy.ndarray, shape (bookings, sessions)
        Minutes the visit keeps the room; nought for a booking nobody came to.

    Returns
    -------
    numpy.ndarray, shape (bookings, sessions)
        Minute of beginning.

    Notes
    -----
    The recursion of Lindley [1]_: a visit begins when it is ready and the room is free.

    References
    ----------
    .. [1] Lindley (1952), Proc. Cambridge Philosophical Society 48, 277-289.

    Examples
    --------
    >>> visit_starts(np.array([[0.0], [15.0], [30.0]]), np.array([[20.0], [5.0], [10.0]])).T
    array([[ 0., 20., 30.]])
    """
    starts = np.empty_like(busy_minutes, dtype=float)
    free = np.full(busy_minutes.shape[1], -np.inf)
    for place in range(len(busy_minutes)):
        starts[place] = np.maximum(ready[place], free)
        free = np.where(busy_minutes[place] > 0, starts[place] + busy_minutes[place], free)
    return starts


def run_sessions(
    slot_starts: np.ndarray,
    minutes: np.ndarray,
    came: np.ndarray,
    late_minutes: np.ndarray,
    *,
    session_minutes: float,
    turnaround_minutes: float,
) -> SessionRuns:
    """Play sessions through a template of slots.

    Parameters
    ----------
    slot_starts : numpy.ndarray, shape (bookings, sessions) or (bookings, 1)
        Minute of the session at which each slot begins.
    minutes : numpy.ndarray, shape (bookings, sessions)
        Minutes each visit would take.
    came : numpy.ndarray of bool, shape (bookings, sessions)
        Whether the patient came.
    late_minutes : numpy.ndarray, shape (bookings, sessions)
        Arrival after the slot; negative is early, and nobody begins before the slot.
    session_minutes, turnaround_minutes : float
        Length of a session; cleaning and notes after each patient.

    Returns
    -------
    SessionRuns

    Examples
    --------
    Two slots of 15 minutes; the first visit takes 20, so the second waits 5.

    >>> runs = run_sessions(np.array([[0.0], [15.0]]), np.array([[20.0], [10.0]]), np.ones((2, 1), bool),
    ...                     np.zeros((2, 1)), session_minutes=28, turnaround_minutes=0)
    >>> runs.wait_minutes.item(), runs.overtime_minutes.item(), runs.on_time.item()
    (5.0, 2.0, 2)
    """
    ready = slot_starts + np.maximum(late_minutes, 0.0)
    busy = np.where(came, minutes + turnaround_minutes, 0.0)
    starts = visit_starts(ready, busy)
    wait = np.where(came, starts - ready, 0.0)
    done = np.where(came, starts + minutes, 0.0).max(axis=0)
    end = np.maximum(done, session_minutes)
    in_room = np.where(came, minutes, 0.0).sum(axis=0) + turnaround_minutes * np.maximum(came.sum(axis=0) - 1, 0)
    return SessionRuns(
        seen=came.sum(axis=0),
        wait_minutes=wait.sum(axis=0),
        on_time=(came & (wait <= ON_TIME_WITHIN_MINUTES)).sum(axis=0),
        idle_minutes=np.maximum(end - in_room, 0.0),
        overtime_minutes=np.maximum(done - session_minutes, 0.0),
    )
