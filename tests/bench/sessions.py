"""How much faster many sessions are run at once than by a discrete-event library, one after another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import simpy

from analysis.planning.session import run_sessions
from tests.bench.beside import compared
from tests.bench.line import Line

SIZES = (20_000,)
BOOKINGS = 16


def lines(sizes: Sequence[int]) -> Iterator[Line]:
    """Run so many sessions both ways."""
    for sessions in sizes:
        works = (sessions_at_once, sessions_one_by_one)
        yield compared(f"sessions of {BOOKINGS} bookings", sessions, works, bookings(sessions), "simpy, one by one")


def bookings(sessions: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Draw sessions: starts of the slots, minutes, who comes."""
    rng = np.random.default_rng(1)
    minutes = rng.gamma(9.0, 2.0, (BOOKINGS, sessions))
    return 15.0 * np.arange(BOOKINGS)[:, None], minutes, rng.random(minutes.shape) < 0.9


def sessions_at_once(given: tuple[np.ndarray, np.ndarray, np.ndarray]) -> np.ndarray:
    """Run all sessions together; give the minutes that patients of each wait."""
    return np.where(given[2], run_sessions(*given).wait_minutes, 0.0).sum(axis=0)


def sessions_one_by_one(given: tuple[np.ndarray, np.ndarray, np.ndarray]) -> np.ndarray:
    """Run them by simpy, event after event."""
    starts, minutes, attends = given
    waits = []
    for session in range(minutes.shape[1]):
        environment = simpy.Environment()
        practitioner = simpy.Resource(environment)
        mine: list[float] = []
        for start, takes, comes in zip(starts[:, 0], minutes[:, session], attends[:, session], strict=True):
            if comes:
                environment.process(_visit(environment, practitioner, start, takes, mine))
        environment.run()
        waits.append(sum(mine))
    return np.array(waits)


def _visit(environment, practitioner, start, takes, waits):  # simpy's own generators
    """Come, wait, be seen."""
    yield environment.timeout(start)
    with practitioner.request() as turn:
        yield turn
        waits.append(environment.now - start)
        yield environment.timeout(takes)
