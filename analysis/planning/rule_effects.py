"""What other rules of a session would do to the recommended template: each rule by itself, the same sessions meeting all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from analysis.planning.session import Bookings, Pause
from analysis.planning.session_rules import LONG_FIRST, SHORT_FIRST, SessionRules, rules_of, run_rules
from analysis.planning.slot_evidence import SlotEvidence, draw_bookings, draw_luck
from analysis.settings import SlotsPart
from analysis.stats.estimate import Estimate
from analysis.stats.resampling import cluster_weights, percentile_range

BREAK_MINUTES = 15.0
"""Length of the break that is tried, in the middle of the session (a choice, no source)."""
MEASURES = ("mean_wait_minutes", "overtime_minutes", "idle_minutes", "patients_per_session")
AS_NOW = "as_now"
METHOD = "simulated half-day sessions; ranges by drawing patients again"


def other_rules(settings: SlotsPart, catch_up_every: int = 0) -> dict[str, SessionRules]:
    """Give the clinic's rules and, one change at a time, others.

    Parameters
    ----------
    settings : SlotsPart
    catch_up_every : int, optional
        The recommended template's gaps.

    Returns
    -------
    dict of str to SessionRules
        ``as_now`` first; a rule the clinic already has is left out.
    """
    now, grid = rules_of(settings, catch_up_every), float(settings.grid_minutes)
    middle = settings.session_minutes / 2
    rules = {AS_NOW: now}
    rules |= {f"gap_after_{every}": replace(now, catch_up_every=every, catch_up_minutes=grid) for every in (3, 4, 6)}
    rules["no_gap"] = replace(now, catch_up_every=0, catch_up_minutes=0.0)
    rules["break_in_the_middle"] = replace(now, pause=Pause(middle - BREAK_MINUTES / 2, middle + BREAK_MINUTES / 2))
    rules["first_two_together"] = replace(now, two_first=True)
    rules["short_first"] = replace(now, order=SHORT_FIRST)
    rules["long_first"] = replace(now, order=LONG_FIRST)
    rules["one_squeezed_in"] = replace(now, squeezed_in_share=1.0)
    rules["two_share_one_unit"] = replace(now, practitioners=2, units=1)
    had = {"break_in_the_middle": now.pause is not None}
    return {name: each for name, each in rules.items() if name == AS_NOW or (each != now and not had.get(name))}


def rule_effects(
    slots: np.ndarray,
    rules: Mapping[str, SessionRules],
    evidence: SlotEvidence,
    settings: SlotsPart,
    *,
    level: float,
    rng: np.random.Generator,
    redraws: int = 60,
    sessions: int = 1_000,
) -> dict[str, dict[str, Estimate]]:
    """Run one template by several rules.

    Parameters
    ----------
    slots : numpy.ndarray, shape (categories,)
    rules : mapping of str to SessionRules
        From ``other_rules``.
    evidence : SlotEvidence
    settings : SlotsPart
    level : float
    rng : numpy.random.Generator
    redraws, sessions : int, optional
        How often patients are drawn again, and the sessions run each time.

    Returns
    -------
    dict of str to dict of str to Estimate
        By rule: its figures for ``as_now``, and for every other rule its figures less those.
    """
    luck = draw_luck(rng, bookings=int(settings.session_minutes // slots.min()) + 1, sessions=sessions)

    def figures(weights: np.ndarray) -> np.ndarray:
        found = _figures(slots, rules, draw_bookings(evidence.model(weights), luck))
        found[1:] -= found[0]
        return found

    base = figures(np.ones(len(evidence.held_kind)))
    drawn = np.stack([figures(each) for each in cluster_weights(evidence.held_patient, draws=redraws, rng=rng)])
    n = len(evidence.fitted.means)
    return {
        rule: {
            name: percentile_range(
                base[row, place], base[row, place], drawn[:, row, place], level=level, n=n, method=METHOD
            )
            for place, name in enumerate(MEASURES)
        }
        for row, rule in enumerate(rules)
    }


def _figures(slots: np.ndarray, rules: Mapping[str, SessionRules], bookings: Bookings) -> np.ndarray:
    """Run the template by each rule."""
    runs = [run_rules(slots, bookings, each) for each in rules.values()]
    return np.array([[getattr(each, name) for name in MEASURES] for each in runs])
