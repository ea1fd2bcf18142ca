"""The forecast tried on the past: made again from what was known then, beside what came."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.demand import Draws, count_range, forecast_demand, spread_out
from analysis.models.new_patients import FEWEST_MONTHS
from analysis.models.opening_days import month_edges
from analysis.models.visit_history import History
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate
from analysis.stats.forecast_checks import naive, range_factor, scaled_error, seasonal_naive
from analysis.stats.proportions import wilson_share

MOST_ORIGINS = 12
YEAR_OF_MONTHS = 12
LEVELS = (0.50, 0.80, 0.95)
QUICK = Draws(futures=1000, rates=60)
SUPPOSED_VARIANCE, SUPPOSED_WORTH = 1.5, 6.0
"""Before any month has been tried, misses are supposed to vary half as much again as the drawn futures do, and that
counts as six tried months: over ten simulated clinics, ranges meant for 80 % held 69 %."""
SIMPLE = {"seasonal_naive": "the same month a year before", "naive": "the month before"}


@dataclass(frozen=True, eq=False)
class Backtest:
    """Forecasts one month ahead, made from what was known at each month's end.

    Attributes
    ----------
    months : pandas.DataFrame
        One row a month: ``month``, ``expected``, ``came``, the ends of the
        ranges (``low_50``, ``high_50``, and so for 80 and 95) and what the
        simple methods said (``seasonal_naive``, empty in the first year, and ``naive``).
    misses : tuple of float
        Each month's miss, as a multiple of the spread of its drawn futures.
    """

    months: pd.DataFrame
    misses: tuple[float, ...]

    @property
    def factor(self) -> float:
        """How many times as wide as drawn the ranges of the months ahead must be."""
        return factor_after(self.misses)

    def coverage(self, level: float) -> Estimate:
        """Share of months that came within the range, with its own range."""
        name = round(100 * level)
        came = self.months["came"]
        inside = came.between(self.months[f"low_{name}"], self.months[f"high_{name}"])
        return wilson_share(int(inside.sum()), len(inside), 0.95)

    def scaled_errors(self) -> dict[str, float]:
        """Size of the misses as a multiple of each simple method's, where it could be used in every month."""
        came = self.months["came"].to_numpy(dtype=float)
        errors = came - self.months["expected"].to_numpy()
        usable = [name for name in SIMPLE if self.months[name].notna().all()]
        return {name: scaled_error(errors, came - self.months[name].to_numpy()) for name in usable}


def backtest_demand(history: History, *, whole: pd.PeriodIndex, first: int, rng: np.random.Generator) -> Backtest:
    """Forecast each of the last twelve months from what was known when it began.

    Parameters
    ----------
    history : History
        Attended visits up to the last day.
    whole : pandas.PeriodIndex
        Whole months of the log.
    first : int
        First day the log covers, counted from 1 January 1970.
    rng : numpy.random.Generator

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
    Drawn futures miss what no rate holds, such as a week of illness; so each
    month's ranges are widened by what the misses of the months tried before it
    ask for, and never by its own.

    References
    ----------
    .. [1] Tashman (2000), International Journal of Forecasting 16, 437-450.
    """
    starts, stops = month_edges(whole)
    totals = np.searchsorted(history.day, stops) - np.searchsorted(history.day, starts)
    origins = range(max(FEWEST_MONTHS, len(whole) - MOST_ORIGINS), len(whole))
    if not origins:
        raise NotEnough(
            f"The log covers {len(whole)} whole months; a forecast can be tried out from {FEWEST_MONTHS + 1}.",
            "Ask again when it covers more.",
        )
    rows: list[dict[str, float | str]] = []
    misses: list[float] = []
    for origin in origins:
        last = int(starts[origin]) - 1
        known = forecast_demand(history.until(last), first=first, last=last, months_ahead=1, rng=rng, draws=QUICK)
        drawn, mean = known.drawn.sum(axis=(1, 2)), float(known.expected.sum())
        wide = spread_out(drawn, np.asarray(mean), factor_after(misses))
        rows.append(_row(str(whole[origin]), wide, mean, totals[: origin + 1]))
        misses.append(float(totals[origin] - mean) / max(float(drawn.std()), 1.0))
    return Backtest(pd.DataFrame(rows), tuple(misses))


def factor_after(misses: Sequence[float]) -> float:
    """How many times as wide as drawn a range must be, after such misses in earlier months.

    Examples
    --------
    >>> round(factor_after([]), 3)
    1.225
    """
    return range_factor(misses, supposed_variance=SUPPOSED_VARIANCE, weight=SUPPOSED_WORTH)


def _row(month: str, drawn: np.ndarray, expected: float, totals: np.ndarray) -> dict[str, float | str]:
    """Set one month's forecast beside what came and what the simple methods said."""
    row: dict[str, float | str] = {"month": month, "expected": float(expected), "came": int(totals[-1])}
    for level in LEVELS:
        low, high = count_range(drawn, level)
        row |= {f"low_{round(100 * level)}": float(low), f"high_{round(100 * level)}": float(high)}
    past = totals[:-1]
    row["seasonal_naive"] = float(seasonal_naive(past, 1)[0]) if len(past) >= YEAR_OF_MONTHS else float("nan")
    row["naive"] = float(naive(past, 1)[0])
    return row
