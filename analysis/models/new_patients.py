"""New patients a month, and other monthly counts: level, trend and season."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.counts import CountFit, fit_counts
from analysis.problems import NotEnough

FEWEST_MONTHS = 6
MONTHS_FOR_TREND = 12
MONTHS_FOR_SEASON = 24
MOST_HARMONICS = 2
VISITS_FOR_TREND = 30
VISITS_FOR_SEASON = 60
"""Below these counts no trend or season is learnt (our choice, no source)."""
MOST_GROWTH = 3.0
"""Logarithm of a year's growth, twentyfold, beyond which no trend is carried on (our choice, no source)."""
POSSIBLE_GROWTH, POSSIBLE_SEASON = 0.15, 0.12
"""Standard deviations, on the log scale, of a year's growth and of a yearly wave's two terms that
cannot be learnt yet: ranges allow for them (our choice, no source)."""


def month_terms(months: pd.PeriodIndex, *, since: pd.Period, trend: bool, harmonics: int) -> np.ndarray:
    """Write the terms of months: constant, yearly trend and yearly waves.

    Parameters
    ----------
    months : pandas.PeriodIndex
    since : pandas.Period
        The month whose trend term is nought.
    trend : bool
        Whether the rate grows or shrinks by a steady share.
    harmonics : int
        Yearly waves: 0 no season, 1 one peak a year, 2 up to two.

    Returns
    -------
    numpy.ndarray, shape (months, 1 + trend + 2 harmonics)

    Examples
    --------
    >>> months = pd.period_range("2025-01", periods=2, freq="M")
    >>> month_terms(months, since=months[0], trend=True, harmonics=0).round(3).tolist()
    [[1.0, 0.0], [1.0, 0.083]]
    """
    years = np.array([(month - since).n for month in months], dtype=float) / 12
    angle = 2 * np.pi * np.asarray(months.month) / 12
    waves = [wave(k * angle) for k in range(1, harmonics + 1) for wave in (np.sin, np.cos)]
    return np.column_stack([np.ones(len(months)), *([years] if trend else []), *waves]).reshape(len(months), -1)


@dataclass(frozen=True, eq=False)
class MonthlyModel:
    """A monthly count with what could be learnt of its trend and season.

    Attributes
    ----------
    fit : CountFit
    trend : bool
    harmonics : int
    learnt_from : pandas.PeriodIndex
        Whole months it was learnt from; the trend is nought in the last.
    widened : bool
        Whether drawn means allow for a growth and a season that could not be learnt.
    """

    fit: CountFit
    trend: bool
    harmonics: int
    learnt_from: pd.PeriodIndex
    widened: bool = False

    def means(self, months: pd.PeriodIndex, open_days: np.ndarray) -> np.ndarray:
        """Give the expected count of each month."""
        return np.exp(self._terms(months) @ self.fit.coefficients) * open_days

    def mean_draws(
        self, months: pd.PeriodIndex, open_days: np.ndarray, draws: int, rng: np.random.Generator
    ) -> np.ndarray:
        """Draw expected counts as uncertain as the model is, shape (draws, months)."""
        fit = self.fit
        # the covariance holds alpha at its likeliest value; widen it to the corrected one
        widen = (1 + fit.corrected_dispersion * fit.fitted.mean()) / (1 + fit.dispersion * fit.fitted.mean())
        drawn = rng.multivariate_normal(fit.coefficients, fit.covariance * max(1.0, widen), size=draws, method="eigh")
        on_log_scale = drawn @ self._terms(months).T
        if self.widened:
            on_log_scale += rng.standard_normal((draws, 3)) @ self._unlearnt(months).T
        return np.exp(on_log_scale) * open_days

    def _terms(self, months: pd.PeriodIndex) -> np.ndarray:
        """Write the terms of months."""
        return month_terms(months, since=self.learnt_from[-1], trend=self.trend, harmonics=self.harmonics)

    def _unlearnt(self, months: pd.PeriodIndex) -> np.ndarray:
        """Write the terms that could not be learnt, in their standard deviations, beside the months learnt from."""
        ahead, behind = (
            month_terms(each, since=self.learnt_from[-1], trend=True, harmonics=1)[:, 1:]
            for each in (months, self.learnt_from)
        )
        return (ahead - behind.mean(axis=0)) * [POSSIBLE_GROWTH, POSSIBLE_SEASON, POSSIBLE_SEASON]


def fit_monthly(counts: np.ndarray, months: pd.PeriodIndex, open_days: np.ndarray) -> MonthlyModel:
    """Learn how a monthly count runs: level, trend and season as far as the log allows.

    Parameters
    ----------
    counts : numpy.ndarray, shape (n,)
        Count of each whole month.
    months : pandas.PeriodIndex, shape (n,)
        Whole calendar months in order.
    open_days : numpy.ndarray, shape (n,)
        Opening days of each.

    Returns
    -------
    MonthlyModel

    Raises
    ------
    NotEnough
        With fewer than 6 whole months, or no count above nought.

    Notes
    -----
    From 24 months and 30 visits a trend, a steady share a year; from 60 visits
    a season too, of no, one or two waves a year, by Akaike's criterion. With
    less there is nothing to tell a season from a trend: the level of the last
    12 months stands, and ranges allow for both. So it does where the months
    that hold any visit are too few to settle the terms, whose likeliest values
    would be infinite [1]_, and where the count grew more than twentyfold a year.

    References
    ----------
    .. [1] Santos Silva and Tenreyro (2010), Economics Letters 107, 310-312.

    Examples
    --------
    >>> months = pd.period_range("2025-01", periods=8, freq="M")
    >>> model = fit_monthly(np.array([40, 44, 38, 41, 39, 42, 40, 36]), months, np.full(8, 20.0))
    >>> model.trend, model.harmonics, model.means(months[:1], np.array([10.0])).round(6).tolist()
    (False, 0, [20.0])
    """
    _require(counts, months)
    long = len(months) >= MONTHS_FOR_SEASON and counts.sum() >= VISITS_FOR_TREND
    waves = range((MOST_HARMONICS if counts.sum() >= VISITS_FOR_SEASON else 0) + 1 if long else 0)
    tried = [
        fit_terms(counts, months, open_days, trend=True, harmonics=k)
        for k in waves
        if _settles(counts, months, trend=True, harmonics=k)
    ]
    steady = [model for model in tried if model.fit.coefficients[1] <= MOST_GROWTH]
    if steady:
        return min(steady, key=lambda model: model.fit.aic)
    year = slice(-MONTHS_FOR_TREND, None)
    _require(counts[year], months[year])
    return fit_terms(counts[year], months[year], open_days[year], trend=False, harmonics=0, widened=True)


def fit_recent(counts: np.ndarray, months: pd.PeriodIndex, open_days: np.ndarray, *, fading: bool) -> MonthlyModel:
    """Learn how a monthly count has run over the last 12 months: level, and a trend where there is one.

    Parameters
    ----------
    counts, months, open_days
        As for ``fit_monthly``.
    fading : bool
        Whether the count can only stay level or fall. Such are the visits of
        patients last seen before the log begins: the longer the log, the fewer
        are left to turn up.

    Returns
    -------
    MonthlyModel
        With a trend from 30 visits on, where Akaike's criterion asks for it.

    Raises
    ------
    NotEnough
        With fewer than 6 whole months, or no count above nought in the last 12;
        where the count fades and a single month, not the last, held it all.

    Notes
    -----
    The growth of returns slows as a log fills, so that a steady trend over
    the whole log would run far too high. A trend that one month alone would
    have to settle, or of more than twentyfold a year, is not carried on.

    Examples
    --------
    >>> months = pd.period_range("2025-01", periods=6, freq="M")
    >>> model = fit_recent(np.array([64, 32, 16, 8, 4, 2]), months, np.full(6, 1.0), fading=True)
    >>> model.means(months[-1:] + 1, np.ones(1)).round(4).tolist()
    [1.0]
    """
    recent = slice(-MONTHS_FOR_TREND, None)
    counts, months, open_days = counts[recent], months[recent], open_days[recent]
    _require(counts, months)
    level = fit_terms(counts, months, open_days, trend=False, harmonics=0)
    if counts.sum() < VISITS_FOR_TREND:
        return level
    if not _settles(counts, months, trend=True, harmonics=0):
        if fading and not counts[-1]:
            raise NotEnough(
                "Whoever was seen before the log begins has been back.", "Ask again when the log is longer."
            )
        return level
    moving = fit_terms(counts, months, open_days, trend=True, harmonics=0)
    most = 0.0 if fading else MOST_GROWTH
    return moving if moving.fit.aic < level.fit.aic and moving.fit.coefficients[1] <= most else level


def fit_season(counts: np.ndarray, months: pd.PeriodIndex, expected: np.ndarray) -> MonthlyModel:
    """Learn how a monthly count departs from what is expected of it, by the time of year.

    Parameters
    ----------
    counts : numpy.ndarray, shape (n,)
        Count of each whole month.
    months : pandas.PeriodIndex, shape (n,)
        Whole calendar months in order.
    expected : numpy.ndarray, shape (n,)
        What was expected of each month; above 0.

    Returns
    -------
    MonthlyModel
        Without a trend; its means are departures where 1 is given as opening days.

    Examples
    --------
    >>> months = pd.period_range("2025-01", periods=6, freq="M")
    >>> fit_season(np.array([5, 7, 6, 4, 8, 6]), months, np.full(6, 6.0)).means(months[:1], np.ones(1)).round(6).tolist()
    [1.0]
    """
    _require(counts, months)
    season = len(months) >= MONTHS_FOR_SEASON and counts.sum() >= VISITS_FOR_SEASON
    waves = range((MOST_HARMONICS if season else 0) + 1)
    settled = [k for k in waves if _settles(counts, months, trend=False, harmonics=k)]
    tried = [fit_terms(counts, months, expected, trend=False, harmonics=k) for k in settled]
    return min(tried, key=lambda model: model.fit.aic)


def too_few_months(months: int) -> tuple[str, str]:
    """Say that the log is too short, and what to do.

    Examples
    --------
    >>> too_few_months(1)[0]
    'The log covers 1 whole month; a forecast needs at least 6.'
    """
    whole = f"{months} whole month{'' if months == 1 else 's'}"
    return f"The log covers {whole}; a forecast needs at least {FEWEST_MONTHS}.", "Ask again when it covers more."


def _require(counts: np.ndarray, months: pd.PeriodIndex) -> None:
    """Refuse a log too short or without any such visit."""
    if len(months) < FEWEST_MONTHS:
        raise NotEnough(*too_few_months(len(months)))
    if not np.any(counts > 0):
        raise NotEnough("The months looked at hold no such visit.", "Record for each booking its kind and date.")


def _settles(counts: np.ndarray, months: pd.PeriodIndex, *, trend: bool, harmonics: int) -> bool:
    """Say whether the months that hold any visit settle the terms, so that their likeliest values are finite."""
    terms = month_terms(months, since=months[-1], trend=trend, harmonics=harmonics)
    return bool(np.linalg.matrix_rank(terms[counts > 0]) == terms.shape[1])


def fit_terms(
    counts: np.ndarray,
    months: pd.PeriodIndex,
    open_days: np.ndarray,
    *,
    trend: bool,
    harmonics: int,
    poisson: bool = False,
    widened: bool = False,
) -> MonthlyModel:
    """Fit one choice of terms to a monthly count.

    Parameters
    ----------
    counts, months, open_days
        As for ``fit_monthly``.
    trend : bool
        Whether the rate grows or shrinks by a steady share.
    harmonics : int
        Yearly waves.
    poisson : bool, optional
        Let the counts vary no more than chance.
    widened : bool, optional
        Let drawn means allow for growth and season that were not learnt.

    Returns
    -------
    MonthlyModel
    """
    terms = month_terms(months, since=months[-1], trend=trend, harmonics=harmonics)
    fit = fit_counts(counts, terms, open_days, poisson=poisson)
    return MonthlyModel(fit, trend, harmonics, months, widened)
