"""Real bookings laid out again: the last third's own minutes, in their own order, through two templates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.derive.sessions import HELD_SLOT
from analysis.planning.session import LATE_MINUTES, run_sessions
from analysis.planning.session_rules import SessionRules, rules_of
from analysis.planning.slot_search import session_cost_of
from analysis.settings import SlotsPart
from analysis.stats.estimate import Estimate
from analysis.stats.resampling import cluster_weights, percentile_range

MEASURES = ("mean_wait_minutes", "overtime_minutes", "idle_minutes", "patients_per_session", "session_cost")
METHOD = "real bookings of the last third laid out again in their order; ranges by drawing weeks again"
FEWEST_SESSIONS = 20
"""Sessions a replay needs (a rule of caution, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class Replay:
    """What one template makes of real bookings.

    Attributes
    ----------
    week : numpy.ndarray, shape (sessions,)
        Week of each session's first booking.
    wait_minutes, seen, overtime_minutes, idle_minutes : numpy.ndarray, shape (sessions,)
        Waiting of all its patients together; patients seen; the session's minutes over and idle.
    """

    week: np.ndarray
    wait_minutes: np.ndarray
    seen: np.ndarray
    overtime_minutes: np.ndarray
    idle_minutes: np.ndarray

    @property
    def late_sessions(self) -> int:
        """Sessions that ended more than 15 minutes late."""
        return int((self.overtime_minutes > LATE_MINUTES).sum())


def real_bookings(visits: pd.DataFrame, of_visit: pd.Series, today: dict[str, float]) -> pd.DataFrame:
    """List real bookings practitioner by practitioner, in order.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    of_visit : pandas.Series of str
        Booking category by ``visit_id``.
    today : dict of str to float
        Only bookings of these categories are kept.

    Returns
    -------
    pandas.DataFrame
        ``who``, ``week``, ``booking``, ``minutes``, ``attends``, ``late_minutes``.
        Attended visits without minutes of their own are left out; without an
        arrival a patient is punctual.
    """
    held = visits[visits["attendance"].isin(HELD_SLOT) & visits["slot_start"].notna()].drop_duplicates("visit_id")
    came = held["attendance"].eq("attended").fillna(False).to_numpy(dtype=bool)
    own = held["minutes_quality"].isin(["timed", "rounded"]).to_numpy(dtype=bool) & held["minutes"].notna().to_numpy()
    late = ((held["arrived_at"] - held["slot_start"]).dt.total_seconds() / 60).clip(-60, 60).fillna(0.0)
    site, who = (held[name].astype("object").fillna("").astype(str) for name in ("site", "practitioner"))
    listed = pd.DataFrame(
        {
            "who": site + " " + who,
            "slot_start": held["slot_start"],
            "week": (held["slot_start"].dt.normalize() - pd.to_timedelta(held["slot_start"].dt.day_of_week, "D")),
            "booking": held["visit_id"].map(of_visit),
            "minutes": held["minutes"].where(came, 0.0).fillna(0.0).astype(float),
            "attends": came,
            "late_minutes": late.where(came, 0.0),
        }
    )[~came | own]
    listed = listed[listed["booking"].isin(list(today))]
    return listed.sort_values(["who", "slot_start"], kind="stable").reset_index(drop=True)


def replay(
    bookings: pd.DataFrame, slot_minutes: dict[str, float], settings: SlotsPart, catch_up_every: int = 0
) -> Replay:
    """Lay real bookings out by a template, session after session, and run them with their own minutes.

    Parameters
    ----------
    bookings : pandas.DataFrame
        As ``real_bookings`` gives them.
    slot_minutes : dict of str to float
        Slot of each booking category.
    settings : SlotsPart
    catch_up_every : int, optional
        A gap of one step of the grid after every so many patients.

    Returns
    -------
    Replay
        Each practitioner's bookings fill sessions of the set length in their
        real order, around the break and with the first two together where the
        clinic does so; each one's last session, which is not full, is left out.
        Rooms are not shared and nobody is squeezed in.
    """
    rules = rules_of(settings, catch_up_every)
    slots = bookings["booking"].map(slot_minutes).to_numpy(dtype=float)
    session, place, starts = _filled(bookings["who"].to_numpy(), slots, rules)
    shape = (int(place.max()) + 1, int(session.max()) + 1)
    laid = {name: np.zeros(shape) for name in ("start", "minutes", "late", "comes")}
    columns = (starts, bookings["minutes"], bookings["late_minutes"], bookings["attends"])
    for table, values in zip(laid.values(), columns, strict=True):
        table[place, session] = np.asarray(values, dtype=float)
    comes, start = laid["comes"] > 0, laid["start"]
    if rules.two_first and len(start) > 1:
        start = np.concatenate([start[:1], start[:1], start[1:-1]])
    runs = run_sessions(
        start, laid["minutes"], comes, laid["late"], turnaround_minutes=rules.turnaround_minutes, pause=rules.pause
    )
    first = np.flatnonzero(place == 0)
    last = pd.Series(session).groupby(bookings["who"].to_numpy()).max().to_numpy()
    full = ~np.isin(np.arange(shape[1]), last)
    beyond = runs.free_at_minutes - settings.session_minutes
    left = np.maximum(-beyond, 0.0)
    if rules.pause is not None:
        free = np.maximum(runs.free_at_minutes, rules.pause.start_minutes)
        left = left - np.maximum(rules.pause.end_minutes - free, 0.0)
    return Replay(
        week=bookings["week"].to_numpy()[first][full],
        wait_minutes=runs.wait_minutes.sum(axis=0)[full],
        seen=comes.sum(axis=0)[full],
        overtime_minutes=np.maximum(beyond, 0.0)[full],
        idle_minutes=(runs.idle_minutes + left)[full],
    )


def _filled(who: np.ndarray, slots: np.ndarray, rules: SessionRules) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Fill sessions one booking after the other, around gaps and the break; a new practitioner opens a new session."""
    session, place, start = np.zeros(len(slots), int), np.zeros(len(slots), int), np.zeros(len(slots))
    number, position, until = -1, 0, np.inf
    for index, slot in enumerate(slots):
        if position and rules.catch_up_every and position % rules.catch_up_every == 0:
            until += rules.catch_up_minutes
        if rules.pause is not None and until < rules.pause.end_minutes and until + slot > rules.pause.start_minutes:
            until = rules.pause.end_minutes
        if index == 0 or who[index] != who[index - 1] or until + slot > rules.session_minutes + 1e-9:
            number, position, until = number + 1, 0, 0.0
        session[index], place[index], start[index] = number, position, until
        position, until = position + 1, until + slot
    return session, place, start


def replayed(
    replays: dict[str, Replay], settings: SlotsPart, *, level: float, rng: np.random.Generator, redraws: int = 400
) -> dict[tuple[str, str], Estimate]:
    """Average each replay, and the difference of the second from the first, with ranges.

    Parameters
    ----------
    replays : dict of str to Replay
        Today's first.
    settings : SlotsPart
    level : float
    rng : numpy.random.Generator
    redraws : int, optional
        How often weeks are drawn again, the same for both.

    Returns
    -------
    dict of (str, str) to Estimate
        By template (or ``difference``) and measure.
    """
    weeks = np.unique(np.concatenate([each.week for each in replays.values()]))
    counts = np.array(list(cluster_weights(weeks.astype(str), draws=redraws, rng=rng)))
    weights = np.vstack([np.ones(len(weeks)), counts])
    drawn = {name: _means(each, weeks, weights, settings) for name, each in replays.items()}
    first, second = list(drawn)
    drawn["difference"] = {measure: drawn[second][measure] - drawn[first][measure] for measure in MEASURES}
    n = len(replays[first].week)
    return {
        (name, measure): percentile_range(each[0], each[0], each[1:], level=level, n=n, method=METHOD)
        for name, measures in drawn.items()
        for measure, each in measures.items()
    }


def _means(one: Replay, weeks: np.ndarray, weights: np.ndarray, settings: SlotsPart) -> dict[str, np.ndarray]:
    """Average a replay for each set of weights of the weeks."""
    of_week = np.searchsorted(weeks, one.week)

    def total(values: np.ndarray) -> np.ndarray:
        return weights @ np.bincount(of_week, values, len(weeks))

    sessions = np.maximum(total(np.ones(len(of_week))), 1.0)
    seen = np.maximum(total(one.seen), 1.0)
    wait, over, idle = total(one.wait_minutes), total(one.overtime_minutes), total(one.idle_minutes)
    return {
        "mean_wait_minutes": wait / seen,
        "overtime_minutes": over / sessions,
        "idle_minutes": idle / sessions,
        "patients_per_session": seen / sessions,
        "session_cost": session_cost_of(wait, idle, over, settings) / sessions,
    }
