"""Several practitioners and fewer rooms or suction units than they, many half-days at once."""

from __future__ import annotations

import numpy as np

from analysis.planning.session import Pause, SessionRuns


def run_sharing(
    starts_minutes: np.ndarray,
    minutes: np.ndarray,
    attends: np.ndarray,
    late_minutes: np.ndarray,
    *,
    turnaround_minutes: float = 0.0,
    units: int = 1,
    pause: Pause | None = None,
) -> SessionRuns:
    """Run half-days of practitioners who share rooms or suction units.

    Parameters
    ----------
    starts_minutes, minutes, attends, late_minutes : numpy.ndarray, shape (bookings, practitioners, half_days)
        As for ``run_sessions``.
    turnaround_minutes : float, optional
        After each patient; the unit is being cleaned and is not free for anyone.
    units : int, optional
        How many rooms or suction units there are.
    pause : Pause, optional
        Nobody is called in it.

    Returns
    -------
    SessionRuns
        A column for each practitioner of each half-day, practitioner after practitioner.

    Notes
    -----
    Each practitioner calls patients in order of their slots, and whoever asks for
    a unit first has it first. A practitioner asks for one at a time, so serving
    the earliest request over and over is first come, first served; the
    discrete events of ``shared_room`` are what a test holds this against.

    Examples
    --------
    Two practitioners, one unit, a visit of 10 minutes each at the start: one waits.

    >>> both = np.array([[[10.0], [10.0]]])
    >>> run_sharing(np.zeros((1, 2, 1)), both, both > 0, np.zeros((1, 2, 1))).wait_minutes.tolist()
    [[0.0, 10.0]]
    """
    bookings, practitioners, days = minutes.shape
    order = np.argsort(~attends, axis=0, kind="stable")  # whoever does not come asks for nothing
    start, takes, late = (np.take_along_axis(each, order, 0) for each in (starts_minutes, minutes, late_minutes))
    ready = np.maximum(start + late, 0.0)
    coming, place = attends.sum(axis=0), np.zeros((practitioners, days), dtype=int)
    free, idle = np.zeros((practitioners, days)), np.zeros((practitioners, days))
    unit_free, wait = np.zeros((units, days)), np.zeros(minutes.shape)
    every = np.arange(days)
    for _ in range(int(coming.sum(axis=0).max(initial=0))):
        here = np.minimum(place, bookings - 1)
        asks = np.maximum(free, np.take_along_axis(ready, here[None], 0)[0])
        asks = np.where(place < coming, asks, np.inf)
        who = asks.argmin(axis=0)
        going = np.isfinite(asks[who, every])
        unit = unit_free.argmin(axis=0)
        called = np.maximum(asks[who, every], unit_free[unit, every])
        paused = np.zeros(days)
        if pause is not None:
            inside = (called >= pause.start_minutes) & (called < pause.end_minutes)
            called = np.where(inside, pause.end_minutes, called)
            shared = np.minimum(called, pause.end_minutes) - np.maximum(free[who, every], pause.start_minutes)
            paused = np.maximum(shared, 0.0)
        row, mine, day = here[who, every][going], who[going], every[going]
        called, paused, unit = called[going], paused[going], unit[going]
        due = np.maximum(start[row, mine, day] + late[row, mine, day], start[row, mine, day])
        wait[row, mine, day] = np.maximum(called - due, 0.0)
        idle[mine, day] += called - free[mine, day] - paused
        done = called + takes[row, mine, day] + turnaround_minutes
        free[mine, day], unit_free[unit, day] = done, done
        place[mine, day] += 1
    waits = np.zeros(minutes.shape)
    np.put_along_axis(waits, order, wait, 0)
    return SessionRuns(waits.reshape(bookings, -1), idle.ravel(), free.ravel())
