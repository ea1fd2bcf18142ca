"""The templates none of which is better in every way: waiting against idling and overtime."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.planning.session import Bookings, SessionFigures
from analysis.planning.slot_evidence import SlotEvidence, draw_bookings, draw_luck
from analysis.planning.slot_search import CATCH_UP_EVERY, best_slots, run_slots, session_cost
from analysis.settings import SlotsPart
from analysis.stats.estimate import Estimate
from analysis.stats.resampling import cluster_weights, percentile_range

WAIT_PRICES = (0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 10.0)
"""Times the owner's price of waiting at which templates are searched, to find the ends of the frontier as well."""
WAIT, ROOM, SEEN, COST = "mean_wait_minutes", "room_minutes", "patients_per_session", "session_cost"
MEASURES = (WAIT, ROOM, SEEN, COST)
MOST_SHOWN = 12
METHOD = "simulated half-day sessions; ranges by drawing patients again"


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
    figures = run_slots(slots, bookings, settings, catch_up_every)
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
        more idle and overtime minutes, among the templates tried; at most ``MOST_SHOWN``,
        spread over the line.

    Notes
    -----
    For each way of leaving gaps the best slots at seven prices of waiting, each
    with its neighbours a step of the grid away in all categories.
    """
    tried: set[tuple[tuple[float, ...], int]] = set()
    for every in CATCH_UP_EVERY:
        for times in WAIT_PRICES:
            priced = replace(settings, price_wait=max(settings.price_wait, 0.1) * times)
            best = best_slots(searched, floors, priced, every)
            for step in (-settings.grid_minutes, 0, settings.grid_minutes):
                slots = np.clip(best + step, floors, settings.session_minutes)
                tried.add((tuple(slots.tolist()), every))
    return spread(undominated([measure(np.array(slots), every, shown, settings) for slots, every in sorted(tried)]))


def undominated(templates: list[Template]) -> list[Template]:
    """Keep the templates that none betters in both waiting and room minutes."""
    kept: list[Template] = []
    for one in sorted(templates, key=lambda each: (each.figures.mean_wait_minutes, each.room_minutes)):
        if not kept or one.room_minutes < kept[-1].room_minutes - 1e-9:
            kept.append(one)
    return kept


def spread(templates: list[Template], most: int = MOST_SHOWN) -> list[Template]:
    """Keep at most so many templates, about as far from one another along the line, both ends among them."""
    if len(templates) <= most:
        return templates
    found = np.array([[each.figures.mean_wait_minutes, each.room_minutes] for each in templates])
    steps = np.abs(np.diff(found / np.ptp(found, axis=0), axis=0)).sum(axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    wanted = np.linspace(0.0, along[-1], most)
    chosen = np.unique(np.abs(along[None, :] - wanted[:, None]).argmin(axis=1))
    return [templates[place] for place in chosen]


def template_ranges(
    templates: list[Template],
    today: Template | None,
    evidence: SlotEvidence,
    settings: SlotsPart,
    *,
    level: float,
    rng: np.random.Generator,
    redraws: int = 80,
    sessions: int = 800,
) -> list[dict[str, Estimate]]:
    """Give every figure of some templates its range, and what each saves against today's.

    Parameters
    ----------
    templates : list of Template
    today : Template or None
    evidence : SlotEvidence
    settings : SlotsPart
    level : float
    rng : numpy.random.Generator
    redraws, sessions : int, optional
        How often patients are drawn again, and the sessions run each time; all templates meet the same.

    Returns
    -------
    list of dict of str to Estimate
        By template ``MEASURES``: waiting, idle and overtime minutes, patients, and the cost of a session; where today's
        is given, the cost is that less today's.
    """
    all_of_them = [*templates, *([today] if today is not None else [])]
    shortest = min(min(each.slots) for each in all_of_them)
    luck = draw_luck(rng, bookings=int(settings.session_minutes // shortest), sessions=sessions)

    def figures(weights: np.ndarray) -> np.ndarray:
        bookings = draw_bookings(evidence.model(weights), luck)
        runs = [measure(np.array(each.slots), each.catch_up_every, bookings, settings) for each in all_of_them]
        return _against(runs, today is not None)

    base = figures(np.ones(len(evidence.held_kind)))
    drawn = np.stack([figures(each) for each in cluster_weights(evidence.held_patient, draws=redraws, rng=rng)])
    shown = _against(all_of_them, today is not None)
    n = len(evidence.fitted.means)
    return [
        {
            name: percentile_range(
                shown[row, place], base[row, place], drawn[:, row, place], level=level, n=n, method=METHOD
            )
            for place, name in enumerate(MEASURES)
        }
        for row in range(len(templates))
    ]


def _against(runs: list[Template], has_today: bool) -> np.ndarray:
    """List each template's figures; the last is today's, whose cost the others' are less."""
    found = np.array(
        [
            [each.figures.mean_wait_minutes, each.room_minutes, each.figures.patients_per_session, each.cost]
            for each in runs
        ]
    )
    if has_today:
        found[:, MEASURES.index(COST)] -= found[-1, MEASURES.index(COST)]
    return found
