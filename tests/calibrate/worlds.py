"""The invented clinics of the study: each world is the invented clinic's story with some of its figures planted otherwise."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import ModuleType
from typing import Any

import numpy as np

from analysis.demo import diary, story
from tests.calibrate import other_shapes

Change = tuple[ModuleType, str, Any]
"""A module of the generator, a name in it, and what stands there while a world is drawn."""

PER_CALL = {300: 1.9, 1_000: 6.5, 10_000: 65.0, 100_000: 650.0}
"""Calls of new patients a month that bring about so many attended visits in three years."""
PRACTITIONERS = {300: 1, 1_000: 2, 10_000: 4, 100_000: 20}
"""Ten could not see 100,000 in three years: by the end people would wait for weeks, which is another world."""


@dataclass(frozen=True)
class World:
    """One sort of invented clinic.

    ``changes`` are figures of the story; ``spoilt`` says how its log is written badly;
    ``months`` is the length of the log, ``drift`` the minutes a visit grows by in a year;
    ``two_speeds`` says that some ears fill fast and the rest slowly.
    """

    name: str
    means: str
    changes: tuple[Change, ...] = ()
    spoilt: dict[str, float] = field(default_factory=dict)
    months: int = 36
    drift: float = 0.0
    two_speeds: bool = False

    @property
    def last_day(self) -> int:
        """Last day of the log, counted from the story's first; the log ends with a month."""
        first = story.DAY_ZERO.astype("datetime64[M]")
        return (
            int(((first + np.timedelta64(self.months, "M")).astype("datetime64[D]") - story.DAY_ZERO).astype(int)) - 1
        )


def _set(**figures: Any) -> tuple[Change, ...]:
    """Plant figures of the story."""
    return tuple((story, name, value) for name, value in figures.items())


NO_TRAP = np.array([[0.40] * 4, [0.40] * 4])
"""Softening advised to four in ten, whatever the call suggests; by signal and kind of booking."""
TRAP = np.array([[0.08, 0.06, 0.08, 0.06], [0.85, 0.80, 0.85, 0.80]])

AS_SET = _set(TOLERANT_SHARE=0.0, SYMPTOM_LAG_DAYS=12.0, USED_SHARES=np.array([[0.10, 0.10], [0.77, 0.77]]))
"""What the answers write down as assumed: people wait a month on average, as ``recall.symptom_window_days`` supposes, and what
the caller said changes who is advised, yet not who does as advised (it is recorded nowhere)."""


def _world(name: str, means: str, changes: tuple[Change, ...] = (), **further: Any) -> World:
    """Make a world in which the models' assumptions hold."""
    return World(name, means, (*AS_SET, *changes), **further)


AS_TOLD = _world("as told", "the invented clinic's own story, but for its breaks of what is assumed (last line)")
WORLDS = (
    AS_TOLD,
    _world("no effect", "softening changes neither success nor minutes",
           _set(SUCCESS_SOFTENED=0.0, SOFTENED_FACTOR=1.0)),
    _world("large effect", "softening's log odds of success 1.5; a softened ear takes half the minutes",
           _set(SUCCESS_SOFTENED=1.5, SOFTENED_FACTOR=0.5)),
    _world("no confounding", "advice as if by lot", _set(ADVISED_SHARES=NO_TRAP)),
    _world("strong confounding", "hard, full ears nearly always advised, others hardly ever", _set(ADVISED_SHARES=TRAP)),
    _world("no effect, strong confounding", "both of these",
           (*_set(SUCCESS_SOFTENED=0.0, SOFTENED_FACTOR=1.0), *_set(ADVISED_SHARES=TRAP))),
    _world("rounded times", "half the practitioners write minutes in fives", spoilt={"rounded": 0.5}),
    _world("blanks", "grade, debris, minutes, hearing aid and advice each blank in one case of eight",
           spoilt={"blank": 0.125}),
    _world("many never return", "45 in 100 are gone for good after a visit", _set(COMES_BACK=0.55)),
    _world("no frailty", "patients alike in how fast their ears fill", _set(FRAILTY_VARIANCE=0.01)),
    _world("strong frailty", "variance 1.0, twice the story's", _set(FRAILTY_VARIANCE=1.0)),
    _world("eighteen months", "a log of half the length, half the visits", months=18),
    _world("drift", "visits grow by half a minute a year, new patients by 40 in 100",
           _set(GROWTH_A_YEAR=0.34), drift=0.5),
)  # fmt: skip

MISSPECIFIED = (
    _world("log-normal minutes", "minutes log-normal, spread as widely as the story's gamma ones",
           other_shapes.log_normal_minutes()),
    _world("multiplicative ears", "each ear lengthens the visit by a share of it: two full ears take longer than both parts",
           other_shapes.multiplicative_ears()),
    _world("regrowth not Weibull", "a third of the ears fill within months, the rest over years; neither curve the answer may choose does so",
           other_shapes.regrowth_at_two_speeds(), two_speeds=True),
    _world("hardness unrecorded", "hard wax steers advice and success strongly, and nobody writes it down",
           _set(ADVISED_SHARES=TRAP), spoilt={"no_debris": 1.0}),
    World("the demo itself", "people wait six weeks on average and one in eight for months; what the caller said changes who does as advised"),
)  # fmt: skip


@contextmanager
def planted(world: World, visits: int) -> Iterator[None]:
    """Let the generator tell this world's story, for as many visits as asked; afterwards its own again."""
    changes = (*_sized(visits), (story, "LAST_DAY", world.last_day), *world.changes)
    before = [(module, name, getattr(module, name)) for module, name, _ in changes]
    try:
        for module, name, value in changes:
            setattr(module, name, value)
        yield
    finally:
        for module, name, value in reversed(before):
            setattr(module, name, value)


def _sized(visits: int) -> tuple[Change, ...]:
    """Staff the clinic for its visits: practitioners, their habits, and the half-days they open."""
    many = PRACTITIONERS[visits]
    of = np.arange(many) % len(story.PRACTITIONERS)
    alike = {
        name: getattr(story, name)[of] for name in ("PRACTITIONER_MINUTES", "SUCCESS_PRACTITIONER", "METHOD_HABITS")
    }
    names = tuple(f"{story.PRACTITIONERS[each]} {place // 4 + 1}" for place, each in enumerate(of))
    rota = diary.ROTA if many == len(story.PRACTITIONERS) else _rota(many)
    return (*_set(PRACTITIONERS=names, CALLS_A_MONTH=PER_CALL[visits], **alike), (diary, "ROTA", rota))


def _rota(practitioners: int) -> tuple[tuple[tuple[int, int, int], ...], ...]:
    """Open half-days in turn: one a day for each practitioner first, their second halves after; one person serves both sites."""
    staff = [list(range(practitioners))[site::2] or [0] for site in (0, 1)]
    return tuple(
        tuple(
            ((day * 2 + who) % 5, half if site == 0 else 1 - half, who)
            for half in (0, 1) for day in range(5) for who in staff[site]
        )
        for site in (0, 1)
    )  # fmt: skip


EVERY_WORLD = {world.name: world for world in (*WORLDS, *MISSPECIFIED)}
