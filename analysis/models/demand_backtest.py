"""The forecast tried on the past: made again from what was known at every month's end, beside what came."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.demand import Demand, Draws, count_range, forecast_demand, spread_out
from analysis.models.demand_backtest_parts import LEVELS, PartCounts, led_parts, tried_parts
from analysis.models.new_patients import FEWEST_MONTHS
from analysis.models.opening_days import month_edges
from analysis.models.simple_forecasts import (
    QUICK_ROUNDS,
    SIMPLE,
    Beside,
    beside_simple,
    better_method,
    simple_forecasts,
)
from analysis.models.site_shares import SiteCounts
from analysis.models.visit_history import History
from analysis.models.visit_streams import monthly_counts
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate
from analysis.stats.forecast_checks import by_steps_ahead, range_factor, scaled_error
from analysis.stats.proportions import wilson_share

MONTHS_AHEAD = 6
LATEST_ORIGINS = 36
YEAR_OF_MONTHS = 12
BY_RETURNS = "by_returns"
"""The forecast by returns and counts, where a simple method has taken its place."""
RIVALS = (*SIMPLE, BY_RETURNS)
QUICK = Draws(futures=2000, rates=60)
SUPPOSED_VARIANCE, SUPPOSED_WORTH = 1.5, 6.0
"""Before any month has been tried, misses are supposed to vary half as much again as the drawn futures do, and that
counts as six tried months: over ten simulated clinics, ranges meant for 80 % held 69 %."""


@dataclass(frozen=True, eq=False)
class Backtest:
    """Forecasts one to six months ahead, made from what was known at each month's end.

    Attributes
    ----------
    trials : pandas.DataFrame
        One row for each month forecast from each month's end: ``made`` (the
        last month known), ``month``, ``ahead`` (1 for the month after),
        ``expected``, ``came``, ``spread`` of the drawn futures, the ends of
        the ranges (``low_50``, ``high_50``, and so for 80 and 95), ``factor``
        by which they had been widened, and what each simple method said, empty
        where it could not be used, with the spread it gave (``…_spread``).
    parts : pandas.DataFrame
        The same by kind of visit and by site (``tried_parts``), with ``made``.
    """

    trials: pd.DataFrame
    parts: pd.DataFrame

    @property
    def months(self) -> pd.DataFrame:
        """The last year's months, each as forecast a month ahead."""
        return self.trials[self.trials["ahead"] == 1].tail(YEAR_OF_MONTHS).reset_index(drop=True)

    @property
    def made(self) -> int:
        """How many month-ends the forecast was made again at."""
        return int(self.trials["made"].nunique())

    @property
    def factor(self) -> float:
        """How many times as wide as drawn the ranges of the months ahead must be."""
        return factor_after(misses_of(self.months))

    def coverage(self, level: float) -> Estimate:
        """Share of the last year's months that came within the range a month ahead, with its own range."""
        name, months = round(100 * level), self.months
        inside = months["came"].between(months[f"low_{name}"], months[f"high_{name}"])
        return wilson_share(int(inside.sum()), len(inside), 0.95)

    def by_months_ahead(self) -> pd.DataFrame:
        """Bias, size of the misses, coverage and width of the ranges by months ahead (``by_steps_ahead``)."""
        t = self.trials
        ranges = {
            level: (t[f"low_{round(100 * level)}"].to_numpy(), t[f"high_{round(100 * level)}"].to_numpy())
            for level in LEVELS
        }
        return by_steps_ahead(t["ahead"].to_numpy(), t["came"].to_numpy(), t["expected"].to_numpy(), ranges)

    def scaled_errors(self, ahead: int | None = None) -> dict[str, float]:
        """Size of the misses as a multiple of each simple method's, over the forecasts it could be used for."""
        rows = self.trials if ahead is None else self.trials[self.trials["ahead"] == ahead]
        found = {}
        for method in RIVALS:
            both = rows[rows[method].notna()]
            if len(both):
                ours, simple = (both["came"] - both[each] for each in ("expected", method))
                found[method] = scaled_error(ours.to_numpy(), simple.to_numpy())
        return found

    def beside(self) -> tuple[Beside, ...]:
        """Set each simple method beside the forecast, with how often chance alone would put it so far ahead."""
        return beside_simple(self.trials)

    def better(self) -> Beside | None:
        """Give the simple method that did better beyond chance, if any."""
        return better_method(self.beside())


def led_by(trial: Backtest, method: str) -> Backtest:
    """Give the trial of the forecast with a simple method's totals in place of its own.

    Parameters
    ----------
    trial : Backtest
    method : str
        One of ``SIMPLE``.

    Returns
    -------
    Backtest
        Without the forecasts made before the method could be used. The
        ranges have the shape of the forecast's own, the spread the method gives
        itself, and are widened by its own earlier misses.
    """
    rows = trial.trials[trial.trials[method].notna()].reset_index(drop=True)
    moved = rows.assign(expected=rows[method], spread=rows[f"{method}_spread"])
    misses = misses_of(moved[moved["ahead"] == 1])
    made = pd.factorize(moved["made"])[0].tolist()
    moved["factor"] = [factor_after(misses[max(0, each - YEAR_OF_MONTHS) : each]) for each in made]
    scale = moved["spread"] * moved["factor"] / (rows["spread"] * rows["factor"])
    for level in LEVELS:
        for end in (f"low_{round(100 * level)}", f"high_{round(100 * level)}"):
            moved[end] = (moved["expected"] + scale * (rows[end] - rows["expected"])).clip(lower=0.0)
    moved[BY_RETURNS], moved[method] = rows["expected"], np.nan
    return Backtest(moved, led_parts(trial.parts, rows, moved))


@dataclass(frozen=True, eq=False)
class Used:
    """The forecast as it is used.

    Attributes
    ----------
    demand : Demand
        Widened by past misses; with a simple method's totals where that did better beyond chance.
    trial : Backtest or None
        Its trial on the past.
    leads : Beside or None
        The simple method whose totals are used.
    factor : float
        How many times as wide as drawn, or as the simple method's own spread, the ranges are.
    """

    demand: Demand
    trial: Backtest | None
    leads: Beside | None
    factor: float


def as_used(demand: Demand, trial: Backtest | None, *, keep_own: bool) -> Used:
    """Widen a forecast by its past misses, or give it the totals of a simple method that did better.

    Parameters
    ----------
    demand : Demand
        As drawn.
    trial : Backtest or None
        None where no month could be tried; then misses are as supposed.
    keep_own : bool
        Whether the forecast's own totals stand whatever the trial says.

    Returns
    -------
    Used
    """
    leads = None if trial is None or keep_own else trial.better()
    if trial is None or leads is None:
        factor = factor_after(()) if trial is None else trial.factor
        return Used(demand.widened(factor), trial, None, factor)
    led = led_by(trial, leads.method)
    # a month the log breaks off in lies between what is known and what is forecast
    ahead, rest = len(demand.months.ahead), len(demand.months.rest)
    said = simple_forecasts(demand.past.sum(axis=1), rest + ahead)[leads.method]
    return Used(demand.led_by(said.totals[rest:], led.factor * said.spreads[rest:]), led, leads, led.factor)


def backtest_demand(
    history: History,
    *,
    whole: pd.PeriodIndex,
    first: int,
    rng: np.random.Generator,
    latest_origins: int | None = LATEST_ORIGINS,
    sites: SiteCounts | None = None,
) -> Backtest:
    """Forecast the months after every month's end from what was known then.

    Parameters
    ----------
    history : History
        Attended visits up to the last day.
    whole : pandas.PeriodIndex
        Whole months of the log.
    first : int
        First day the log covers, counted from 1 January 1970.
    rng : numpy.random.Generator
    latest_origins : int, optional
        How many of the latest month-ends to use; None for all the log allows.
    sites : SiteCounts, optional
        Visits of the whole months by site, where sites are to be tried too.

    Returns
    -------
    Backtest

    Raises
    ------
    NotEnough
        With fewer than 7 whole months: six to learn from and one to try.

    Notes
    -----
    Everything is learnt anew at each month's end, opening days too [1]_.
    Routine recalls are always the log's own, since what came, came under them.
    Drawn futures miss what no rate holds, such as a week of illness, and ranges
    that suppose their model true are too narrow [2]_; so each forecast's are
    widened by what the misses a month ahead of the year before it ask for, and
    never by its own.

    References
    ----------
    .. [1] Tashman (2000), International Journal of Forecasting 16, 437-450.
    .. [2] Chatfield (1993), Journal of Business and Economic Statistics 11, 121-135.
    """
    starts, _ = month_edges(whole)
    counts = PartCounts(monthly_counts(history, whole, np.ones(len(history.day), dtype=bool)), sites)
    totals, site_rng = counts.kinds.sum(axis=1), rng.spawn(1)[0]
    fewest = 0 if latest_origins is None else len(whole) - latest_origins
    origins = range(max(FEWEST_MONTHS, fewest), len(whole))
    if not origins:
        raise NotEnough(
            f"The log covers {len(whole)} whole months; a forecast can be tried out from {FEWEST_MONTHS + 1}.",
            "Ask again when it covers more.",
        )
    made: list[pd.DataFrame] = []
    parts: list[pd.DataFrame] = []
    misses: list[float] = []
    for origin in origins:
        last, steps = int(starts[origin]) - 1, min(MONTHS_AHEAD, len(whole) - origin)
        known = forecast_demand(history.until(last), first=first, last=last, months_ahead=steps, rng=rng, draws=QUICK)
        factor, until = factor_after(misses[-YEAR_OF_MONTHS:]), str(whole[origin - 1])
        tried = _tried(known, totals[: origin + steps], factor)
        made.append(tried.assign(made=until))
        parts.append(tried_parts(known, counts, origin, factor, site_rng).assign(made=until))
        misses += misses_of(tried[:1])
    return Backtest(*(pd.concat(each, ignore_index=True) for each in (made, parts)))


def misses_of(tried: pd.DataFrame) -> list[float]:
    """Give each forecast's miss as a multiple of the spread of its drawn futures."""
    return ((tried["came"] - tried["expected"]) / tried["spread"].clip(lower=1.0)).tolist()


def factor_after(misses: Sequence[float]) -> float:
    """How many times as wide as drawn a range must be, after such misses in earlier months.

    Examples
    --------
    >>> round(factor_after([]), 3)
    1.225
    """
    return range_factor(misses, supposed_variance=SUPPOSED_VARIANCE, weight=SUPPOSED_WORTH)


def _tried(known: Demand, totals: np.ndarray, factor: float) -> pd.DataFrame:
    """Set one forecast beside what came and what the simple methods said; ``totals`` end with the months forecast."""
    mean, drawn = known.expected.sum(axis=1), known.drawn.sum(axis=2)
    steps = len(mean)
    past, came = totals[:-steps], totals[-steps:]
    wide = spread_out(drawn, mean, factor)
    ends = {}
    for level in LEVELS:
        ends[f"low_{round(100 * level)}"], ends[f"high_{round(100 * level)}"] = count_range(wide, level)
    said = simple_forecasts(past, steps, rounds=QUICK_ROUNDS)
    none = np.full(steps, np.nan)
    return pd.DataFrame(
        {
            "month": known.months.ahead.astype(str),
            "ahead": np.arange(1, steps + 1),
            "expected": mean,
            "came": came,
            "factor": factor,
            BY_RETURNS: none,
            "spread": drawn.std(axis=0),
            **ends,
            **{method: said[method].totals if method in said else none for method in SIMPLE},
            **{f"{method}_spread": said[method].spreads if method in said else none for method in SIMPLE},
        }
    )
