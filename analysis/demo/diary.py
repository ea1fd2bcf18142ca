"""The diary: which sessions open in a week, and who gets which slot.

The clinic opens as many half-days as the week's bookings need, from a fixed
rota; slots follow one another within a session. A booking cancelled in time or
moved keeps its row, but its slot goes to the next patient.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np

from analysis.demo import story

# site -> half-days in the order in which they open: (weekday, half, practitioner); one a day for each practitioner
ROTA = (
    ((1, 0, 0), (3, 0, 1), (0, 0, 0), (4, 1, 1), (2, 0, 0), (1, 1, 1), (3, 1, 0), (0, 1, 1), (4, 0, 0), (2, 1, 1)),
    ((0, 0, 2), (3, 1, 3), (2, 0, 2), (1, 0, 3), (4, 0, 2), (2, 1, 3), (1, 1, 2), (0, 1, 3), (3, 0, 2), (4, 1, 3)),
)
STARTS = np.array([story.SESSION_START["morning"], story.SESSION_START["afternoon"]])
CONSUMES = np.array([True, True, True, False, False])  # attended, missed, cancelled late; not cancelled, moved
FIXED_CLOSURES = ("01-01", "12-24", "12-25", "12-26", "12-27", "12-28", "12-29", "12-30", "12-31")


@dataclass(frozen=True)
class Placed:
    """Where some bookings landed; ``row`` points into the bookings handed in."""

    row: np.ndarray
    day: np.ndarray
    half: np.ndarray
    practitioner: np.ndarray
    minute: np.ndarray


def is_closed(day: int) -> bool:
    """Whether the clinic is shut on a weekday: the days around Christmas."""
    return str(story.DAY_ZERO + day * story.A_DAY)[5:] in FIXED_CLOSURES


def place_week(monday: int, site: np.ndarray, kind: np.ndarray, attendance: np.ndarray, want_day: np.ndarray) -> Placed:
    """Give the week's bookings their slots; those that find no room stay for the next week."""
    rows: list[tuple[int, int, int, int, int]] = []
    minutes = story.TEMPLATE_MINUTES[kind]
    takes = CONSUMES[attendance]
    for which, rota in enumerate(ROTA):
        order = np.flatnonzero(site == which)
        order = order[np.argsort(want_day[order], kind="stable")]
        sessions = _open_sessions(monday, rota, int((minutes * takes)[order].sum()))
        rows += _fill(order, minutes, takes, sessions)
    placed = np.array(rows, dtype=int).reshape(-1, 5)
    return Placed(*placed.T)


def _open_sessions(monday: int, rota: tuple, wanted_minutes: int) -> list[tuple[int, int, int, int]]:
    """Open the half-days a site needs, in order of the week, with the minutes each should hold."""
    days = [(monday + weekday, half, who) for weekday, half, who in rota if not is_closed(monday + weekday)]
    n = min(max(ceil(wanted_minutes / (story.SESSION_MINUTES * 0.94)), 1), len(days)) if days else 0
    share = 0 if n == 0 else ceil(wanted_minutes / n)
    opened = sorted(days[:n])
    holds = [min(share + 8, story.SESSION_MINUTES)] * (n - 1) + [story.SESSION_MINUTES]
    return [(*session, minutes) for session, minutes in zip(opened, holds, strict=False)]


def _fill(
    order: np.ndarray, minutes: np.ndarray, takes: np.ndarray, sessions: list[tuple[int, int, int, int]]
) -> list[tuple[int, int, int, int, int]]:
    """Put bookings into sessions one behind the other."""
    placed, at, filled = [], 0, 0
    for row in order.tolist():
        if at < len(sessions) and filled + minutes[row] > sessions[at][3]:
            at, filled = at + 1, 0
        if at >= len(sessions):
            break
        day, half, practitioner, _ = sessions[at]
        placed.append((row, day, half, practitioner, int(STARTS[half]) + filled))
        filled += int(minutes[row]) if takes[row] else 0
    return placed
