"""The core quantities asked of one invented clinic as the answers ask them: value and ranges, with the truth beside."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from unittest.mock import patch

import numpy as np
import pandas as pd

from analysis.answers.visit_log import SEED
from analysis.clinic import Clinic
from analysis.derive.attempts import attempts
from analysis.derive.gaps import gaps
from analysis.models import booking_minutes
from analysis.models.adjusted import compared_arms
from analysis.models.booking_categories import booking_categories
from analysis.models.booking_facts import booking_facts
from analysis.models.booking_minutes import BookingMinutes, booking_quantiles
from analysis.models.demand import Draws, count_range, forecast_demand
from analysis.models.demand_backtest import backtest_demand, factor_after
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.recall import fit_recall
from analysis.models.recall_curve import RecallCurve
from analysis.models.softening_material import Material, ears_material, minutes_material
from analysis.models.visit_history import day_number, visit_history
from analysis.models.visit_time import fit_visit_time
from analysis.problems import NotEnough
from analysis.settings import Settings
from analysis.stats.effects import mean_difference, risk_ratio
from analysis.stats.estimate import Estimate
from analysis.stats.resampling import percentile_range
from analysis.stats.two_arms import TwoArms
from tests.calibrate.invented_world import MONTHS_AHEAD, Drawn
from tests.calibrate.truths import SHARES, recall_truths, softening_truths, visit_truth

LEVELS = (0.50, 0.80, 0.95)
ONE_SD = 0.6826894921370859
"""A range of this level is the figure and its standard error either way, where ranges are normal."""
QUICK = Draws(futures=1000, rates=60)
SETTINGS = Settings()


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of one clinic: its name, value, standard error (nan where ranges have none), ranges and truth."""

    name: tuple[str, ...]
    value: float
    error: float
    ranges: tuple[tuple[float, float], ...]
    truth: float


def clinic_of(drawn: Drawn) -> Clinic:
    """Give the drawn log as a clinic, as the answers take it."""
    return Clinic(drawn.visits, drawn.ears)


def figures(drawn: Drawn, *, demand: bool) -> list[Figure]:
    """Ask every core quantity of a clinic; what its log is too small for is left out. Call within ``planted``."""
    worked = _worked(drawn)
    asked: list[Callable[[Drawn, pd.DataFrame], Iterator[Figure]]] = [_visit_time, _softening, _minutes_saved, _recall]
    found: list[Figure] = []
    for ask in [*asked, *([_visits_ahead] if demand else [])]:
        try:
            found += list(ask(drawn, worked))
        except NotEnough:
            continue  # too few visits: the answer gives no number, and the study counts the clinics that got one
    return found


def _ranged(name: tuple[str, ...], at: Callable[[float], Estimate], truth: float, *, log: bool = False) -> Figure:
    """Make a figure of an estimate at every level; ``log``: the error is that of its logarithm, times the figure."""
    one = at(ONE_SD)
    error = one.value * np.log(one.high / one.low) / 2 if log else (one.high - one.low) / 2
    ranges = tuple((each.low, each.high) for each in map(at, LEVELS))
    return Figure(name, one.value, float(error), ranges, truth)


def _worked(drawn: Drawn) -> pd.DataFrame:
    """List the attempts."""
    days = SETTINGS.softening.second_attempt_days
    return attempts(drawn.visits, drawn.ears, second_attempt_days=days, last_day=drawn.last_day)


def _visit_time(drawn: Drawn, worked: pd.DataFrame) -> Iterator[Figure]:
    """Overhead, what ears add, and quantiles by kind; the truth of quantiles comes of all clinics together."""
    truth = visit_truth(drawn)
    fitted = fit_visit_time(drawn.visits, worked, drawn.ears, SETTINGS.visit_time)
    by_level = {level: replace(fitted, level=level) for level in (ONE_SD, *LEVELS)}
    if fitted.overhead is not None:
        overhead = {level: one.overhead for level, one in by_level.items()}
        yield _ranged(("overhead_minutes",), lambda level: _sure(overhead[level]), truth[("overhead_minutes",)])
    added = {level: one.added.dropna(subset=["minutes", "first_method"]) for level, one in by_level.items()}
    for place, row in enumerate(added[ONE_SD].to_dict("records")):
        name = ("added_minutes", str(row["grade"]), str(row["first_method"]))
        yield _ranged(name, lambda level, at=place: _row_estimate(added[level].iloc[at], level), truth[name])
    facts = booking_facts(drawn.visits, drawn.ears).loc[fitted.sample.visits["visit_id"]].reset_index(drop=True)
    expected = BookingMinutes(*booking_categories(facts, {}), {}, pd.DataFrame())
    for (kind, share), at in _quantiles_at(fitted, expected).items():
        yield _ranged(("minutes_quantile", kind, str(share)), at, np.nan)


def _quantiles_at(
    fitted: FittedVisitTime, expected: BookingMinutes
) -> dict[tuple[str, float], Callable[[float], Estimate]]:
    """Ask the quantiles once, and keep the draws, so that every level's range comes of the same ones."""
    kept: list[Callable[[float], Estimate]] = []

    def keeping(value: float, base: float, drawn: np.ndarray, *, level: float, n: int, method: str) -> Estimate:
        kept.append(lambda other: percentile_range(value, base, drawn, level=other, n=n, method=method))
        return kept[-1](level)

    with patch.object(booking_minutes, "percentile_range", keeping):
        found = booking_quantiles(fitted, expected, rng=np.random.default_rng(SEED))
    return dict(zip(found, kept, strict=True))


def _sure(estimate: Estimate | None) -> Estimate:
    """Take an estimate that is there at every level or at none."""
    if estimate is None:
        raise NotEnough("No overhead.", "")
    return estimate


def _row_estimate(row: pd.Series, level: float) -> Estimate:
    """Take an estimate from the table of added minutes."""
    return Estimate(row["minutes"], row["low"], row["high"], level, int(row["ears"]), "")


def _softening(drawn: Drawn, worked: pd.DataFrame) -> Iterator[Figure]:
    """Differences and ratios of success, as the groups are and like with like, for advice and for use."""
    truth = softening_truths(drawn)
    until = drawn.last_day - pd.Timedelta(days=SETTINGS.softening.second_attempt_days)
    for contrast in ("advised", "used"):
        try:
            made = ears_material(
                worked, contrast=contrast, fewest_ears=SETTINGS.softening.fewest_ears, followed_until=until
            )
            arms = _compared(made)
        except NotEnough:
            continue
        for estimator, pair in arms.items():
            if estimator == "overlap_weighted":
                continue  # it answers for other ears, whose truth is not told here
            name = (contrast, estimator)
            target = truth[("risk_difference", contrast)]
            yield _ranged(("risk_difference", *name), lambda level, a=pair: mean_difference(a, level), target)
            target = truth[("risk_ratio", contrast)]
            yield _ranged(("risk_ratio", *name), lambda level, a=pair: risk_ratio(a, level), target, log=True)


def _minutes_saved(drawn: Drawn, worked: pd.DataFrame) -> Iterator[Figure]:
    """Minutes a first-attempt visit is shorter after softening."""
    truth = softening_truths(drawn)
    for contrast in ("advised", "used"):
        try:
            made = minutes_material(worked, contrast=contrast, fewest_visits=SETTINGS.softening.fewest_ears)
            arms = _compared(made)
        except NotEnough:
            continue
        for estimator in ("unadjusted", "standardised"):
            pair, target = arms[estimator], truth[("minutes_saved", contrast)]
            name = ("minutes_saved", contrast, estimator)
            yield _ranged(name, lambda level, a=pair: mean_difference(a, level).scaled(-1), target)


def _compared(made: Material) -> dict[str, TwoArms]:
    """Compare the arms in every way."""
    return compared_arms(
        made.columns, treated=made.treated, outcome=made.outcome, clusters=made.sample.whose, shares=made.shares
    ).arms


def _recall(drawn: Drawn, _: pd.DataFrame) -> Iterator[Figure]:
    """Months until a share occludes again, by group, and the share of patients who return."""
    settings, truth = SETTINGS.recall, recall_truths(drawn)
    table = gaps(
        drawn.visits,
        drawn.ears,
        symptom_window_days=settings.symptom_window_days,
        last_day=drawn.last_day,
        second_attempt_days=SETTINGS.softening.second_attempt_days,
    )
    fitted = fit_recall(table, settings)
    low, high, value = fitted.return_share.low, fitted.return_share.high, fitted.return_share.value
    nothing = (np.nan, np.nan)
    yield Figure(("return_share",), value, np.nan, (nothing, nothing, (low, high)), truth[("return_share",)])
    for group, curve in fitted.curves.items():
        if curve.own:
            for share in SHARES:
                name = ("months_until_share_occluded", group, str(share))
                yield _ranged(
                    name,
                    lambda level, c=curve, s=share: _at_level(c, level).months_until(s),
                    truth[name],
                    log=True,
                )


def _at_level(curve: RecallCurve, level: float) -> RecallCurve:
    """Give the curve with ranges of another level."""
    return replace(curve, times=replace(curve.times, fit=replace(curve.times.fit, level=level)))


def _visits_ahead(drawn: Drawn, _: pd.DataFrame) -> Iterator[Figure]:
    """Visits of the months after the log; what is to be held is what came, so there is no standard error."""
    dated = drawn.visits[drawn.visits["slot_start"].notna()]
    first, last = day_number(dated["slot_start"].min().normalize()), day_number(drawn.last_day)
    known, rng = visit_history(dated, last_day=drawn.last_day), np.random.default_rng(SEED)
    demand = forecast_demand(known, first=first, last=last, months_ahead=MONTHS_AHEAD, rng=rng, draws=QUICK)
    try:
        factor = backtest_demand(known, whole=demand.months.whole, first=first, rng=rng).factor
    except NotEnough:
        factor = factor_after(())  # as the answer does where no month is left to try the forecast on
    drawn_visits = demand.widened(factor).drawn.sum(axis=2)
    ends = [count_range(drawn_visits, level) for level in LEVELS]
    for month in range(MONTHS_AHEAD):
        ranges = tuple((float(low[month]), float(high[month])) for low, high in ends)
        value = float(demand.expected[month].sum())
        yield Figure(("visits", f"month {month + 1}"), value, np.nan, ranges, float(drawn.came_later[month]))
