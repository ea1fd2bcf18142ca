"""Several practitioners and fewer rooms or suction units than they: sessions by discrete events."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

import numpy as np
import simpy

from analysis.planning.session import SessionRuns


def run_shared_room(
    starts_minutes: np.ndarray,
    minutes: np.ndarray,
    attends: np.ndarray,
    late_minutes: np.ndarray | float = 0.0,
    *,
    turnaround_minutes: float = 0.0,
    units: int = 1,
) -> SessionRuns:
    """Run one half-day of several practitioners who share rooms or suction units.

    Parameters
    ----------
    starts_minutes, minutes, attends, late_minutes : numpy.ndarray, shape (bookings, practitioners)
        As for ``run_sessions``, a column a practitioner.
    turnaround_minutes : float, optional
        After each patient; the unit is being cleaned and is not free for anyone.
    units : int, optional
        How many rooms or suction units there are.

    Returns
    -------
    SessionRuns
        A column a practitioner. Minutes a practitioner waits for a unit are
        among the patient's waiting and the practitioner's idle minutes.

    Notes
    -----
    Each practitioner calls patients in order of their slots. Whoever asks for
    a unit first has it first. With as many units as practitioners this is
    ``run_sessions`` minute for minute, only slower.

    Examples
    --------
    Two practitioners, one unit, a visit of 10 minutes each at the start: one waits.

    >>> both = np.array([[10.0, 10.0]])
    >>> run_shared_room(np.zeros((1, 2)), both, both > 0).wait_minutes.tolist()
    [[0.0, 10.0]]
    """
    bookings, practitioners = minutes.shape
    starts = np.broadcast_to(starts_minutes, minutes.shape)
    late = np.broadcast_to(late_minutes, minutes.shape)
    runs = SessionRuns(np.zeros((bookings, practitioners)), np.zeros(practitioners), np.zeros(practitioners))
    clock = simpy.Environment()
    room = simpy.Resource(clock, capacity=units)
    for who in range(practitioners):
        patients = [
            (place, starts[place, who], late[place, who], minutes[place, who] + turnaround_minutes)
            for place in np.flatnonzero(attends[:, who])
        ]
        clock.process(_works(clock, room, who, patients, runs))
    clock.run()
    return runs


def _works(
    clock: simpy.Environment, room: simpy.Resource, who: int, patients: list, runs: SessionRuns
) -> Generator[Any, Any, None]:
    """See one practitioner's patients in order, each once patient and unit are there."""
    for place, start, late, takes in patients:
        ready = max(start + late, 0.0)
        if ready > clock.now:
            yield clock.timeout(ready - clock.now)
        with room.request() as turn:
            yield turn
            runs.idle_minutes[who] += clock.now - runs.free_at_minutes[who]
            runs.wait_minutes[place, who] = max(clock.now - max(start + late, start), 0.0)
            yield clock.timeout(takes)
            runs.free_at_minutes[who] = clock.now
