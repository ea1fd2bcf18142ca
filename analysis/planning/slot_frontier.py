"""The templates none of which is better in every way: waiting against idling and overtime."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.planning.session import Bookings, SessionFigures
from analysis.planning.session_rules import SessionRules, run_rules
from analysis.planning.slot_search import best_slots, session_cost
from analysis.settings import SlotsPart

WAIT_PRICES = (0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 10.0)
"""Times the owner's price of waiting at which templates are searched, to find the ends of the frontier as well."""
CATCH_UP_EVERY = (0, 3, 4)


@dataclass(frozen=True, slots=True, eq=False)
class Template:
    """Slots by category, with or without catch-up gaps, and what they do to a full session.

    Attributes
    ----------
    slots : tuple of float
    catch_up_every : int
        A gap of one step of the grid after every so many slots; nought means none.
    figures : SessionFigures
    cost : float
        A session's, at the owner's prices.
    """

    slots: tuple[float, ...]
    catch_up_every: int
    figures: SessionFigures
    cost: float

    @property
    def room_minutes(self) -> float:
        """Idle and overtime minutes of a session together."""
        return self.figures.idle_minutes + self.figures.overtime_minutes


def measure(slots: np.ndarray, catch_up_every: int, bookings: Bookings, settings: SlotsPart) -> Template:
    """Run one template, with a gap of one step of the grid after every so many slots."""
    gap = float(settings.grid_minutes) if catch_up_every else 0.0
    rules = SessionRules(settings.session_minutes, settings.turnaround_minutes, catch_up_every, gap)
    figures = run_rules(slots, bookings, rules)
    return Template(tuple(slots.tolist()), catch_up_every, figures, session_cost(figures, settings))


def frontier(searched: Bookings, shown: Bookings, floors: np.ndarray, settings: SlotsPart) -> list[Template]:
    """Search templates over all categories together, with catch-up gaps, and keep those on the frontier.

    Parameters
    ----------
    searched, shown : Bookings
        The sessions templates are searched on, and those their figures are of.
    floors : numpy.ndarray, shape (categories,)
        No slot may be shorter.
    settings : SlotsPart

    Returns
    -------
    list of Template
        By waiting, the least first: each the only way to less waiting without
        more idle and overtime minutes, among the templates tried.

    Notes
    -----
    The best slots at seven prices of waiting, each with its neighbours a step
    of the grid away in all categories, without gaps and with a gap after every
    third or fourth slot.
    """
    tried: set[tuple[float, ...]] = set()
    for times in WAIT_PRICES:
        priced = replace(settings, price_wait=max(settings.price_wait, 0.1) * times)
        best = best_slots(searched, floors, priced)
        for step in (-settings.grid_minutes, 0, settings.grid_minutes):
            tried.add(tuple(np.clip(best + step, floors, settings.session_minutes).tolist()))
    runs = [measure(np.array(slots), every, shown, settings) for slots in sorted(tried) for every in CATCH_UP_EVERY]
    return undominated(runs)


def undominated(templates: list[Template]) -> list[Template]:
    """Keep the templates that none betters in both waiting and room minutes."""
    kept: list[Template] = []
    for one in sorted(templates, key=lambda each: (each.figures.mean_wait_minutes, each.room_minutes)):
        if not kept or one.room_minutes < kept[-1].room_minutes - 1e-9:
            kept.append(one)
    return kept
