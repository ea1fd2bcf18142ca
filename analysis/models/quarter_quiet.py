"""Whether a quarter without any adverse event is luck, or whether events are no longer written down."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analysis.models.quarter_counts import watched_visits
from analysis.models.quarter_periods import THIS, Periods
from analysis.stats.proportions import exact_share


@dataclass(frozen=True, slots=True)
class Quiet:
    """A quarter without any adverse event, beside the log before it.

    Attributes
    ----------
    visits : int
        Visits of the quarter of which the log says that nothing happened.
    visits_before, events_before : int
        Visits of the log before the quarter of which it says, and those with an event.
    chance : float or None
        Chance of so quiet a quarter, were events as rare as the earlier log
        allows; None without any earlier event.
    """

    visits: int
    visits_before: int
    events_before: int
    chance: float | None


def quiet_quarter(visits: pd.DataFrame, found: Periods, level: float = 0.95) -> Quiet | None:
    """Set a quarter without any adverse event beside the log before it.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    found : Periods
    level : float, optional
        How sure the range of the earlier share should be; its lower end is used.

    Returns
    -------
    Quiet or None
        None where the quarter has an event, or no visit of which the log says.

    Examples
    --------
    40 events in 1,000 earlier visits would hardly leave 250 visits without one:

    >>> round((1 - exact_share(40, 1000).low) ** 250, 4)
    0.0007
    """
    watched, event = watched_visits(visits)
    now = found.split(visits["slot_start"])[THIS] & watched
    if not now.any() or (now & event).any():
        return None
    before = (visits["slot_start"] < found.first_day) & watched
    events, of = int((before & event).sum()), int(before.sum())
    chance = (1 - exact_share(events, of, level).low) ** int(now.sum()) if events else None
    return Quiet(int(now.sum()), of, events, chance)
