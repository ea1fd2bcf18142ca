"""The figures behind "how many will come", before they are put into words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.answers.kept import once_a_clinic
from analysis.clinic import Clinic
from analysis.models.demand import Demand, count_range, forecast_demand
from analysis.models.demand_backtest import Backtest, as_used, backtest_demand
from analysis.models.return_table import second_attempt_share
from analysis.models.returns_ahead import Rule
from analysis.models.simple_forecasts import Beside
from analysis.models.site_shares import SiteCounts, site_counts
from analysis.models.visit_history import KINDS, History, day_number, visit_history
from analysis.planning.capacity import (
    booking_ends,
    chair_sessions,
    minutes_by_kind,
    other_bookings,
    sessions_needed,
)
from analysis.present.answer import Basis
from analysis.problems import NotEnough
from analysis.settings import Settings

SEED = 20260930
"""Futures are drawn from this fixed seed, so that the same log gives the same answer."""
RANGES = (0.50, 0.80, 0.95)
LONGEST_PAUSE_DAYS = 92
"""A log that pauses for longer is read from after the pause (our choice, no source)."""
FEWEST_AFTER = 20
"""Bookings after such a pause below which their dates are taken for slips (our choice, no source)."""
LEAST_SHOWN = 0.05


@dataclass(frozen=True, eq=False)
class Series:
    """One line of the forecast: its code, expected figures and drawn futures, by month."""

    code: str
    quantity: str
    unit: str
    expected: np.ndarray
    drawn: np.ndarray

    def range(self, level: float) -> tuple[np.ndarray, np.ndarray]:
        """Give the ends of the range of each month; they hold the expected figure, however lopsided the futures."""
        low, high = count_range(self.drawn, level)
        return np.minimum(low, self.expected), np.maximum(high, self.expected)


@dataclass(frozen=True, eq=False)
class Figures:
    """Everything the answer says, as numbers.

    Attributes
    ----------
    history : History
    first_day, last_day : pandas.Timestamp
    left_out : dict of str to int
    demand : Demand
    sites : SiteCounts or None
        Visits of the whole months by site; None where the log names none.
    backtest : Backtest or None
        Of the forecast by returns and counts; None where no month is left to try it on.
    used : Backtest or None
        Of the forecast as it is used: the same, or that with a simple method's totals.
    leads : Beside or None
        The simple method whose totals are used, because it did better beyond chance.
    factor : float
        How many times as wide as drawn the ranges are, after past misses.
    kinds, total, bookings, sessions, chair : Series
        ``kinds`` a tuple; ``bookings`` None where the log marks none as missed,
        cancelled or moved, ``sessions`` and ``chair`` where it has no minutes.
    second_attempts : float or None
        Share of visits followed by a second attempt within the set days.
    """

    history: History
    first_day: pd.Timestamp
    last_day: pd.Timestamp
    left_out: dict[str, int]
    demand: Demand
    sites: SiteCounts | None
    backtest: Backtest | None
    used: Backtest | None
    leads: Beside | None
    factor: float
    kinds: tuple[Series, ...]
    total: Series
    bookings: Series | None
    sessions: Series | None
    chair: Series | None
    second_attempts: float | None

    @property
    def series(self) -> tuple[Series, ...]:
        """Lines of the table, in order."""
        rest = [each for each in (self.total, self.bookings, self.sessions) if each is not None]
        return (*self.kinds, *rest)

    def basis(self, method: str) -> Basis:
        """Say what an answer made from these figures rests on."""
        return Basis(len(self.history.day), "attended visits", self.left_out, self.first_day, self.last_day, method)


@once_a_clinic
def demand_figures(clinic: Clinic) -> Figures:
    """Compute the forecast, its trial on the past, and what it fills.

    Parameters
    ----------
    clinic : Clinic

    Returns
    -------
    Figures

    Raises
    ------
    NotEnough
        Where the log covers fewer than 6 whole months, or no visit.
    """
    settings, rng = clinic.settings, np.random.default_rng(SEED)
    visits, last_day, left_out = _usable(clinic)
    history = visit_history(visits, last_day=last_day)
    first_day = visits["slot_start"].min().normalize()
    first, last = day_number(first_day), day_number(last_day)
    rule = Rule(settings.demand.recall_uptake, settings.recall.today_months)
    demand = forecast_demand(
        history, first=first, last=last, months_ahead=settings.demand.months_ahead, rng=rng, rule=rule
    )
    sites = _sites(visits, demand)
    backtest = _backtest(history, demand, first, sites)
    used = as_used(demand, backtest, keep_own=rule.uptake >= 0)
    demand = used.demand
    kinds, total = _visit_series(demand)
    bookings, sessions, chair = _capacity(visits, demand, last_day, settings, rng)
    table = demand.returns.table
    return Figures(
        history=history,
        first_day=first_day,
        last_day=last_day,
        left_out=left_out | {"not attended": _dated_until(visits, last_day) - len(history.day)},
        demand=demand,
        sites=sites,
        backtest=backtest,
        used=used.trial,
        leads=used.leads,
        factor=used.factor,
        kinds=kinds,
        total=total,
        bookings=bookings,
        sessions=sessions,
        chair=chair,
        second_attempts=second_attempt_share(table, settings.softening.second_attempt_days) if table else None,
    )


def _usable(clinic: Clinic) -> tuple[pd.DataFrame, pd.Timestamp, dict[str, int]]:
    """Leave out bookings without a date, from before a long pause, and after the last day."""
    dated = clinic.visits[clinic.visits["slot_start"].notna()]
    if dated.empty:
        raise NotEnough("The log holds no dated visit.", "Record for each booking its date and whether it was kept.")
    days = dated["slot_start"].dt.normalize()
    attended = dated["attendance"].eq("attended")
    told = clinic.settings.clinic.last_day is not None or attended.any()
    last_day = clinic.last_day if told else days.max()
    slips = 0
    if clinic.settings.clinic.last_day is None:
        ended = _before_slips(days[days <= last_day])
        slips, last_day = int(((days > ended) & (days <= last_day)).sum()), ended
    known = np.sort(days[days <= last_day].unique())
    pauses = _pauses(known)
    begin = known[pauses[-1] + 1] if len(pauses) else days.min()
    usable = dated[(days >= begin) & (days <= last_day)]
    left_out = {
        "without a date": len(clinic.visits) - len(dated),
        "from before a pause of more than three months": int((days < begin).sum()),
        "dated more than three months after all others, taken for slips of the date": slips,
        "dated after the last day of the log": int((days > last_day).sum()) - slips,
    }
    return usable, last_day, left_out


def _pauses(known: np.ndarray) -> np.ndarray:
    """Give the places in days, in order, after which a long pause follows."""
    return np.flatnonzero(np.diff(known) > np.timedelta64(LONGEST_PAUSE_DAYS, "D"))


def _before_slips(days: pd.Series) -> pd.Timestamp:
    """Give the last day that no long pause with a few stray dates after it follows."""
    while True:
        known = np.sort(days.unique())
        pauses = _pauses(known)
        after = days > known[pauses[-1]] if len(pauses) else days != days
        if not after.any() or after.sum() >= min(FEWEST_AFTER, (~after).sum()):
            return days.max()
        days = days[~after]


def _dated_until(visits: pd.DataFrame, last_day: pd.Timestamp) -> int:
    """Count the bookings up to the last day."""
    return int((visits["slot_start"].dt.normalize() <= last_day).sum())


def _visit_series(demand: Demand) -> tuple[tuple[Series, ...], Series]:
    """Make a line of each kind that came or is expected, and one of all together."""
    shown = [k for k in range(len(KINDS)) if demand.past[:, k].any() or demand.expected[:, k].max() > LEAST_SHOWN]
    kinds = tuple(
        Series(KINDS[kind], "visits", "visits", demand.expected[:, kind], demand.drawn[:, :, kind]) for kind in shown
    )
    return kinds, Series("all", "visits", "visits", demand.expected.sum(axis=1), demand.drawn.sum(axis=2))


def _capacity(
    visits: pd.DataFrame, demand: Demand, last_day: pd.Timestamp, settings: Settings, rng: np.random.Generator
) -> tuple[Series | None, Series | None, Series | None]:
    """Work out bookings and sessions from the drawn visits, as far as the log allows."""
    ends = booking_ends(visits, last_day=last_day)
    lost, freed = (other_bookings(demand.drawn, ends, end, rng) for end in ("lost", "freed"))
    bookings = None
    if ends[["lost", "freed"]].to_numpy().any():
        a_visit = (ends.sum(axis=1) / ends["kept"].clip(lower=1)).to_numpy()
        made = (demand.drawn + lost + freed).sum(axis=2)
        bookings = Series("bookings", "bookings", "bookings", (demand.expected * a_visit).sum(axis=1), made)
    try:
        minutes = minutes_by_kind(visits, last_day=last_day, turnaround_minutes=settings.slots.turnaround_minutes)
    except NotEnough:
        return bookings, None, None  # visits are still forecast; the answer says that sessions are not
    length = settings.slots.session_minutes
    needed = sessions_needed(demand.drawn, lost, minutes, session_minutes=length, rng=rng)
    chair = chair_sessions(demand.drawn, minutes, session_minutes=length, rng=rng)
    return bookings, _session_series("sessions_needed", needed), _session_series("sessions_of_chair_time", chair)


def _session_series(quantity: str, drawn: np.ndarray | None) -> Series | None:
    """Make a line of drawn sessions."""
    return None if drawn is None else Series(quantity, quantity, "sessions", drawn.mean(axis=0), drawn)


def full_backtest(figures: Figures) -> Backtest:
    """Try the forecast on the past at every month's end the log allows, however long that takes.

    Parameters
    ----------
    figures : Figures

    Returns
    -------
    Backtest

    Raises
    ------
    NotEnough
        With fewer than 7 whole months.
    """
    first, whole = day_number(figures.first_day), figures.demand.months.whole
    rng = np.random.default_rng(SEED + 1)
    return backtest_demand(figures.history, whole=whole, first=first, rng=rng, latest_origins=None, sites=figures.sites)


def _sites(visits: pd.DataFrame, demand: Demand) -> SiteCounts | None:
    """Count the whole months' visits by site, where the log names sites."""
    try:
        return site_counts(visits, demand.months.whole)
    except NotEnough:
        return None  # the forecast by site says so; here kinds are tried without sites


def _backtest(history: History, demand: Demand, first: int, sites: SiteCounts | None) -> Backtest | None:
    """Try the forecast on the past, with the log's own recalls: what came, came under them."""
    rng = np.random.default_rng(SEED + 1)
    try:
        return backtest_demand(history, whole=demand.months.whole, first=first, rng=rng, sites=sites)
    except NotEnough:
        return None  # the answer says that it has not been tried out
