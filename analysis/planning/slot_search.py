"""Searching slots on the clinic's grid, never below the protected minutes."""

from __future__ import annotations

import numpy as np

from analysis.planning.session import Bookings, SessionFigures
from analysis.planning.session_rules import rules_of, run_rules
from analysis.planning.slot_evidence import SlotEvidence
from analysis.settings import SlotsPart
from analysis.stats.quantiles import quantiles

START_SHARES = np.arange(0.2, 0.96, 0.05)
"""Quantiles of the minutes from which the search starts."""
CATCH_UP_EVERY = (0, 3, 4, 6)
"""Patients after whom a catch-up gap may come; nought is no gap."""
GAPS_SAVE = 0.02
"""Share of a session's cost that gaps must save to be recommended: without them is easier to book (a choice, no source)."""


def slot_floors(evidence: SlotEvidence, settings: SlotsPart) -> np.ndarray:
    """Shortest slot of each category that leaves the protected minutes beside the work on the ears.

    Parameters
    ----------
    evidence : SlotEvidence
    settings : SlotsPart

    Returns
    -------
    numpy.ndarray, shape (categories,)
        Minutes, on the grid. Protected minutes plus the median fitted minutes
        of the ears. Where the log cannot give ears a part, at least the median
        visit, since what the ears leave of a slot is not known.
    """
    fitted, floors = evidence.fitted, []
    knows_ears = fitted.design.has_overhead and fitted.cells.counts.shape[1] > 0
    for category in range(len(evidence.names)):
        mine = evidence.visit_category == category
        if knows_ears:
            needed = settings.protected_minutes + float(np.median(fitted.ear_means[mine]))
        else:
            median = float(np.median(fitted.minutes[mine]))
            needed = max(settings.protected_minutes, median)
        floors.append(_up_to_grid(needed, settings.grid_minutes))
    return np.array(floors)


def best_template(bookings: Bookings, lowest: np.ndarray, settings: SlotsPart) -> tuple[np.ndarray, int]:
    """Search slots and catch-up gaps together for the sessions that cost least at the owner's prices.

    Parameters
    ----------
    bookings, lowest, settings
        As for ``best_slots``.

    Returns
    -------
    slots : numpy.ndarray, shape (categories,)
    catch_up_every : int
        A gap of one step of the grid after every so many patients; nought is none, unless gaps save ``GAPS_SAVE``.
    """
    found = {}
    for every in CATCH_UP_EVERY:
        slots = best_slots(bookings, lowest, settings, every)
        found[every] = (session_cost(run_slots(slots, bookings, settings, every), settings), slots)
    best = min(found, key=lambda every: found[every][0])
    if found[best][0] > (1 - GAPS_SAVE) * found[0][0]:
        best = 0
    return found[best][1], best


def best_slots(bookings: Bookings, lowest: np.ndarray, settings: SlotsPart, catch_up_every: int = 0) -> np.ndarray:
    """Search the slots whose sessions cost least at the owner's prices, the gaps being given.

    Parameters
    ----------
    bookings : Bookings
        The sessions every template is met with.
    lowest : numpy.ndarray, shape (categories,)
        No slot may be shorter.
    settings : SlotsPart
    catch_up_every : int, optional

    Returns
    -------
    numpy.ndarray, shape (categories,)
        Minutes, on the grid.

    Notes
    -----
    All categories are first given the same quantile of their own minutes (the
    critical fractile of the newsvendor, searched rather than computed since
    delays carry over), then each slot is moved by a step as long as that saves.
    """
    grid = settings.grid_minutes
    costs: dict[tuple[float, ...], float] = {}

    def cost(slots: np.ndarray) -> float:
        key = tuple(slots.tolist())
        if key not in costs:
            costs[key] = session_cost(run_slots(slots, bookings, settings, catch_up_every), settings)
        return costs[key]

    tried = [np.maximum(lowest, each) for each in _quantile_slots(bookings, len(lowest), settings)]
    best = min(tried, key=cost)
    while True:
        steps = [best + step for place in range(len(best)) for step in _steps(place, len(best), grid)]
        allowed = [each for each in steps if (each >= lowest).all() and each.max() <= settings.session_minutes]
        nearby = min(allowed, key=cost, default=best)
        if cost(nearby) >= cost(best):
            return best
        best = nearby


def run_slots(slots: np.ndarray, bookings: Bookings, settings: SlotsPart, catch_up_every: int = 0) -> SessionFigures:
    """Run one template on the clinic's session, by the clinic's rules.

    Parameters
    ----------
    slots : numpy.ndarray, shape (categories,)
        Minutes of each booking category's slot.
    bookings : Bookings
    settings : SlotsPart
    catch_up_every : int, optional

    Returns
    -------
    SessionFigures
    """
    return run_rules(slots, bookings, rules_of(settings, catch_up_every))


def session_cost(figures: SessionFigures, settings: SlotsPart) -> float:
    """Price a session at the owner's prices."""
    return figures.cost(
        price_wait=settings.price_wait, price_idle=settings.price_idle, price_overtime=settings.price_overtime
    )


def session_cost_of(
    wait_minutes: np.ndarray, idle_minutes: np.ndarray, overtime_minutes: np.ndarray, settings: SlotsPart
) -> np.ndarray:
    """Price minutes of waiting, idling and overtime at the owner's prices."""
    over = settings.price_overtime * overtime_minutes
    return settings.price_wait * wait_minutes + settings.price_idle * idle_minutes + over


def _quantile_slots(bookings: Bookings, categories: int, settings: SlotsPart) -> list[np.ndarray]:
    """Give every category the same quantile of its minutes, for several quantiles."""
    slots = np.zeros((len(START_SHARES), categories))
    for category in range(categories):
        minutes = bookings.minutes[bookings.category == category]
        needed = quantiles(minutes, START_SHARES) if len(minutes) else np.zeros(len(START_SHARES))
        slots[:, category] = [_up_to_grid(each, settings.grid_minutes) for each in needed]
    return list(np.minimum(slots, settings.session_minutes // settings.grid_minutes * settings.grid_minutes))


def _steps(place: int, categories: int, grid: int) -> list[np.ndarray]:
    """Give the moves of one category's slot: a step longer, a step shorter."""
    step = np.zeros(categories)
    step[place] = grid
    return [step, -step]


def _up_to_grid(minutes: float, grid: int) -> float:
    """Round up to the clinic's grid."""
    return float(np.ceil(minutes / grid - 1e-9) * grid)
