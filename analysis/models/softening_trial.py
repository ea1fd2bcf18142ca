"""A test of advice that ran, analysed as chance decided it: by week (or day), whatever people then did."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import t

from analysis.models.adjusted import adjusted_arms
from analysis.models.case_mix import case_mix, level_columns
from analysis.models.softening_sample import FACTS, Sample, compared_ears
from analysis.problems import NotEnough
from analysis.stats.alike import Alike, alike
from analysis.stats.effects import arm_share
from analysis.stats.estimate import Estimate
from analysis.stats.two_arms import UNTREATED, TwoArms, plain_means

FEWEST_PERIODS = 8
"""Under eight no list of weeks can be told from chance at 19 in 20: 70 ways to draw four of eight, 20 to draw three of six."""
CLEARLY = 0.8
"""Share of a period's visits advised (or not) from which the log itself says what the list was."""


@dataclass(frozen=True, slots=True)
class Schedule:
    """When a test ran, and what chance decided.

    Attributes
    ----------
    first_day, last_day : datetime.date
    advised : tuple of datetime.date
        A day of each period with advice; empty to read the list from what was recorded.
    unit : str
        ``week`` or ``day``.
    """

    first_day: dt.date
    last_day: dt.date
    advised: tuple[dt.date, ...]
    unit: str


@dataclass(frozen=True, eq=False)
class TrialBasis:
    """What a plan starts from.

    Attributes
    ----------
    untreated : Estimate
        Success had no ear compared been advised: what weeks without advice are to
        show. Harder ears are advised more often, so that the unadvised ears alone
        would say too much.
    like_with_like : bool
        False where no fair comparison can be made and the unadvised ears stand for all.
    ears_a_period : float
        Ears that count, on average over the periods in which the clinic worked.
    likeness : Alike
        Within a patient and within a period.
    sample : Sample
    """

    untreated: Estimate
    like_with_like: bool
    ears_a_period: float
    likeness: Alike
    sample: Sample


@dataclass(frozen=True, eq=False)
class TrialResult:
    """What a test found.

    Attributes
    ----------
    difference : Estimate
        Success in periods with advice less without; Student's t by period.
    p_value : float
        Share of the lists that chance could have drawn whose difference is at least as large.
    advised, not_advised : float
        Success shares.
    periods : pandas.DataFrame
        One row a period: ``start``, ``advised``, ``ears``, ``successes``, ``told`` (share of
        visits at which advice is on record; missing where nothing is).
    left_out : dict of str to int
        Why ears of the test were left out, and how many.
    """

    difference: Estimate
    p_value: float
    advised: float
    not_advised: float
    periods: pd.DataFrame
    left_out: dict[str, int]


def period_of(days: pd.Series, unit: str) -> pd.Series:
    """Give the first day of the week (Monday), or the day itself."""
    return days if unit == "day" else days - pd.to_timedelta(days.dt.day_of_week, unit="D")


def trial_basis(
    attempts: pd.DataFrame, *, unit: str, fewest_ears: int, level: float, followed_until: pd.Timestamp
) -> TrialBasis:
    """Take from the log what a test of advice would meet.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``.
    unit : str
        ``week`` or ``day``.
    fewest_ears : int
        Ears without advice that are needed.
    level : float
        How sure ranges should be.
    followed_until : pandas.Timestamp
        Last day whose attempts were followed for the full days.

    Returns
    -------
    TrialBasis

    Raises
    ------
    NotEnough
        If fewer ears without advice, or fewer than eight periods, are in the log.
    """
    sample = compared_ears(attempts, contrast="advised", followed_until=followed_until)
    rows = sample.rows
    advised = rows["softening_advised"].to_numpy(dtype=bool)
    if min((~advised).sum(), advised.sum()) < fewest_ears:
        raise NotEnough(
            f"To plan a test, {fewest_ears:,} ears with and {fewest_ears:,} without advice are needed; the log has "
            f"{advised.sum():,} and {(~advised).sum():,}.",
            "Go on recording where softening was advised and where not.",
        )
    periods = period_of(rows["day"], unit)
    if periods.nunique() < FEWEST_PERIODS:
        raise NotEnough(f"The log covers fewer than {FEWEST_PERIODS} {unit}s.", "Wait until it is longer.")
    success = rows["success"].to_numpy(dtype=float)
    arms = plain_means(success, advised, sample.whose)
    residuals = success - np.where(advised, arms.treated, arms.untreated)
    likeness = alike(residuals, sample.whose, periods.to_numpy())
    made_alike = _all_unadvised(sample, advised)
    untreated = arm_share(made_alike or arms, UNTREATED, level)
    return TrialBasis(untreated, made_alike is not None, len(rows) / periods.nunique(), likeness, sample)


def _all_unadvised(sample: Sample, advised: np.ndarray) -> TwoArms | None:
    """Give success had all ears been advised and had none; nothing where no fair comparison can be made."""
    success = sample.rows["success"].to_numpy(dtype=bool)
    mix = case_mix(sample.rows, FACTS, treated=advised, outcome=success)
    columns = level_columns(mix.levels)
    try:
        return adjusted_arms(columns, treated=advised, outcome=success, clusters=sample.whose, shares=True)
    except NotEnough:
        return None  # the unadvised ears are told as they are, and the answer says so


def analyse_trial(
    attempts: pd.DataFrame,
    *,
    schedule: Schedule,
    level: float,
    followed_until: pd.Timestamp,
    rng: np.random.Generator,
    lists: int = 4000,
) -> TrialResult:
    """Analyse a test of advice as chance decided it.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``.
    schedule : Schedule
        When it ran, and what chance decided.
    level : float
        How sure the range should be.
    followed_until : pandas.Timestamp
        Last day whose attempts were followed for the full days.
    rng : numpy.random.Generator
        Draws the lists that could have been.
    lists : int, optional
        How many are drawn.

    Returns
    -------
    TrialResult

    Raises
    ------
    NotEnough
        If fewer than eight periods, or fewer than four of a kind, hold ears; or
        if the record does not say clearly which periods had advice.

    Notes
    -----
    Every first attempt at an occluding ear counts where its period put it, whether
    or not advice was given or followed (intention to treat), which keeps the
    comparison as fair as the list. Ears are clustered by period, the variance grown by
    periods over periods less two, the range by Student's t [1]_. The p-value draws lists anew
    with as many advised periods in each block of four as there were [2]_.

    References
    ----------
    .. [1] Cameron and Miller (2015), Journal of Human Resources 50, 317-372.
    .. [2] Edgington and Onghena (2007), Randomization Tests, chapter 1.
    """
    unit = schedule.unit
    during = attempts[attempts["day"].between(pd.Timestamp(schedule.first_day), pd.Timestamp(schedule.last_day))]
    everyone = during.assign(softening_advised=during["softening_advised"].astype("boolean").fillna(value=False))
    sample = compared_ears(everyone, contrast="advised", followed_until=followed_until)
    rows = sample.rows
    table = _by_period(rows, attempts, unit)
    table["advised"] = _listed(table, schedule.advised, unit)
    _refuse_short(table, unit)
    arm = period_of(rows["day"], unit).map(table.set_index("start")["advised"]).to_numpy(dtype=bool)
    start = period_of(rows["day"], unit).to_numpy()
    arms = plain_means(rows["success"].to_numpy(dtype=float), arm, start)
    many = len(table)
    error = np.sqrt(np.array([1.0, -1.0]) @ arms.covariance @ np.array([1.0, -1.0]) * many / (many - 2))
    half = float(t.ppf(0.5 + level / 2, many - 2) * error)
    value = arms.treated - arms.untreated
    difference = Estimate(value, value - half, value + half, level, len(rows), f"by {unit}, as the list decided")
    return TrialResult(
        difference, _p_value(table, value, rng, lists), arms.treated, arms.untreated, table, sample.left_out
    )


def _by_period(rows: pd.DataFrame, attempts: pd.DataFrame, unit: str) -> pd.DataFrame:
    """Count ears and successes period by period, and how many visits have advice on record."""
    start = period_of(rows["day"], unit).rename("start")
    table = rows.groupby(start)["success"].agg(ears="size", successes="sum").astype("float64")
    told = attempts.drop_duplicates("visit_id").dropna(subset=["softening_advised"])
    told = told.assign(start=period_of(told["day"], unit), told=told["softening_advised"].astype("float64"))
    table["told"] = told.groupby("start")["told"].mean().reindex(table.index)
    return table.reset_index()


def _listed(table: pd.DataFrame, advised: tuple[dt.date, ...], unit: str) -> pd.Series:
    """Say of each period whether it had advice: by the list, or by the record where that is clear."""
    if advised:
        listed = period_of(pd.Series(pd.to_datetime(list(advised))), unit)
        return table["start"].isin(listed)
    unclear = table["told"].isna() | table["told"].between(1 - CLEARLY, CLEARLY, inclusive="neither")
    if unclear.any():
        raise NotEnough(
            f"In {unclear.sum():,} of {len(table):,} {unit}s the log does not say clearly whether the list had advice.",
            "Write the first days of those with advice into clinic.toml, as softening_test.advised.",
        )
    return table["told"] >= CLEARLY


def _refuse_short(table: pd.DataFrame, unit: str) -> None:
    """Refuse a test too short to say anything."""
    least = min(int(table["advised"].sum()), int((~table["advised"]).sum())) if len(table) else 0
    if least < FEWEST_PERIODS // 2:
        raise NotEnough(
            f"The test has {least} {unit}s of one kind with ears followed long enough; {FEWEST_PERIODS // 2} of each are needed.",
            "Wait until it has run longer, and until the last visits have been followed.",
        )


def _p_value(table: pd.DataFrame, value: float, rng: np.random.Generator, draws: int) -> float:
    """Share of redrawn lists, the true one counted, with a difference at least as large."""
    advised = table["advised"].to_numpy(dtype=bool)
    block = np.arange(len(table)) // 4
    order = np.argsort(block[None, :] + rng.random((draws, len(table))), axis=1)
    lists = advised[order]
    ears, successes = (table[name].to_numpy() for name in ("ears", "successes"))
    shares = (lists @ successes) / (lists @ ears) - (~lists @ successes) / (~lists @ ears)
    return float((1 + np.sum(np.abs(shares) >= abs(value) - 1e-12)) / (draws + 1))
