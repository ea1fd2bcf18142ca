"""New patients a month: counts that vary more than chance, with trend and season."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd
import statsmodels.api as sm
from scipy.optimize import brentq, minimize_scalar
from scipy.special import gammaln, xlogy
from statsmodels.tools.sm_exceptions import PerfectSeparationWarning

from analysis.problems import NotEnough

FEWEST_MONTHS = 6
MONTHS_FOR_TREND = 12
MONTHS_FOR_SEASON = 24
MOST_HARMONICS = 2
VISITS_FOR_TREND = 30
VISITS_FOR_SEASON = 60
"""Below these counts no trend or season is learnt (our choice, no source)."""
LARGEST_DISPERSION = 50.0
_ROUNDS = 50


@dataclass(frozen=True, eq=False)
class CountFit:
    """A count regression on the log scale.

    Attributes
    ----------
    coefficients : numpy.ndarray, shape (k,)
    covariance : numpy.ndarray, shape (k, k)
        With the dispersion held, as R's ``glm.nb`` gives it.
    dispersion : float
        Likeliest alpha: variance is ``mean + alpha mean^2``; 0 is a Poisson
        count. Its inverse is R's theta.
    corrected_dispersion : float
        Alpha at which Pearson's statistic equals its degrees of freedom. Used
        for forecasts: with a few dozen months the likeliest alpha is too small.
    log_likelihood : float
    fitted : numpy.ndarray, shape (n,)
    """

    coefficients: np.ndarray
    covariance: np.ndarray
    dispersion: float
    corrected_dispersion: float
    log_likelihood: float
    fitted: np.ndarray

    @property
    def aic(self) -> float:
        """Akaike's criterion, counting the dispersion as one more parameter."""
        return 2 * (len(self.coefficients) + 1) - 2 * self.log_likelihood


def fit_counts(counts: np.ndarray, design: np.ndarray, exposure: np.ndarray | None = None) -> CountFit:
    """Fit counts by negative binomial regression with a log link.

    Parameters
    ----------
    counts : numpy.ndarray, shape (n,)
        Whole numbers from nought.
    design : numpy.ndarray, shape (n, k)
        Terms, with a column of ones where a constant is wanted.
    exposure : numpy.ndarray, shape (n,), optional
        What the counts are in proportion to, such as opening days; above 0.

    Returns
    -------
    CountFit

    Notes
    -----
    Coefficients and dispersion are fitted in turn until neither moves, as by
    Venables and Ripley [1]_. The likelihood's slope at alpha = 0 is half of
    ``sum((y - m)^2 - y)``; where that is not above 0 the counts vary no more
    than chance and the fit is a Poisson one.

    References
    ----------
    .. [1] Venables and Ripley (2002), Modern Applied Statistics with S, 7.4.
    .. [2] Breslow (1984), Applied Statistics 33, 38-44 (corrected dispersion).

    Examples
    --------
    >>> fit = fit_counts(np.array([8, 12, 20, 40]), np.ones((4, 1)), np.array([1.0, 1.0, 2.0, 4.0]))
    >>> round(float(np.exp(fit.coefficients[0])), 6), fit.dispersion
    (10.0, 0.0)
    """
    y = np.asarray(counts, dtype=float)
    offset = np.zeros_like(y) if exposure is None else np.log(exposure)
    alpha, fit = 0.0, _glm(y, design, offset, 0.0)
    if ((y - fit.mu) ** 2 - y).sum() > 0:
        for _ in range(_ROUNDS):
            before, alpha = alpha, _likeliest_dispersion(y, fit.mu)
            fit = _glm(y, design, offset, alpha)
            if abs(alpha - before) <= 1e-10 + 1e-8 * alpha:
                break
    return CountFit(
        coefficients=np.asarray(fit.params),
        covariance=np.asarray(fit.cov_params()),
        dispersion=alpha,
        corrected_dispersion=_pearson_dispersion(y, fit.mu, len(y) - design.shape[1]),
        log_likelihood=log_likelihood(y, fit.mu, alpha),
        fitted=np.asarray(fit.mu),
    )


def log_likelihood(counts: np.ndarray, mean: np.ndarray, dispersion: float) -> float:
    """Log-likelihood of counts, negative binomial or, at dispersion 0, Poisson.

    Parameters
    ----------
    counts, mean : numpy.ndarray, shape (n,)
    dispersion : float
        Alpha; variance is ``mean + alpha mean^2``.

    Returns
    -------
    float

    Examples
    --------
    >>> round(log_likelihood(np.array([2.0]), np.array([2.0]), 0.0), 4)
    -1.3069
    """
    if dispersion <= 0:
        return float((xlogy(counts, mean) - mean - gammaln(counts + 1)).sum())
    r = 1 / dispersion
    each = gammaln(counts + r) - gammaln(r) - gammaln(counts + 1)
    return float((each + r * np.log(r / (r + mean)) + xlogy(counts, mean / (r + mean))).sum())


def _glm(y: np.ndarray, design: np.ndarray, offset: np.ndarray, alpha: float) -> sm.GLM:
    """Fit the regression with the dispersion held."""
    family = sm.families.Poisson() if alpha <= 0 else sm.families.NegativeBinomial(alpha=alpha)
    with warnings.catch_warnings():
        # counts that follow the terms exactly, such as five every month, are no fault here
        warnings.simplefilter("ignore", PerfectSeparationWarning)
        return sm.GLM(y, design, family=family, offset=offset).fit(tol=1e-10, maxiter=100)


def _likeliest_dispersion(y: np.ndarray, mu: np.ndarray) -> float:
    """Find the likeliest alpha given the means, on the log scale."""
    found = minimize_scalar(
        lambda log_alpha: -log_likelihood(y, mu, float(np.exp(log_alpha))),
        bounds=(np.log(1e-8), np.log(LARGEST_DISPERSION)),
        method="bounded",
        options={"xatol": 1e-9},
    )
    return float(np.exp(found.x))


def _pearson_dispersion(y: np.ndarray, mu: np.ndarray, freedom: int) -> float:
    """Find the alpha at which Pearson's statistic equals its degrees of freedom."""

    def excess(alpha: float) -> float:
        return float(((y - mu) ** 2 / (mu + alpha * mu**2)).sum() - freedom)

    if freedom <= 0 or excess(0.0) <= 0:
        return 0.0
    return LARGEST_DISPERSION if excess(LARGEST_DISPERSION) > 0 else float(brentq(excess, 0.0, LARGEST_DISPERSION))


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
    since : pandas.Period
    trend : bool
    harmonics : int
    months : int
        Whole months it was learnt from.
    """

    fit: CountFit
    since: pd.Period
    trend: bool
    harmonics: int
    months: int

    def means(self, months: pd.PeriodIndex, open_days: np.ndarray) -> np.ndarray:
        """Give the expected count of each month."""
        terms = month_terms(months, since=self.since, trend=self.trend, harmonics=self.harmonics)
        return np.exp(terms @ self.fit.coefficients) * open_days

    def mean_draws(
        self, months: pd.PeriodIndex, open_days: np.ndarray, draws: int, rng: np.random.Generator
    ) -> np.ndarray:
        """Draw expected counts as uncertain as the coefficients are, shape (draws, months)."""
        terms = month_terms(months, since=self.since, trend=self.trend, harmonics=self.harmonics)
        fit = self.fit
        # the covariance holds alpha at its likeliest value; widen it to the corrected one
        widen = (1 + fit.corrected_dispersion * fit.fitted.mean()) / (1 + fit.dispersion * fit.fitted.mean())
        drawn = rng.multivariate_normal(fit.coefficients, fit.covariance * max(1.0, widen), size=draws, method="eigh")
        return np.exp(drawn @ terms.T) * open_days


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
    From 12 months and 30 visits a trend, a steady share a year; from 24
    months and 60 visits a season of no, one or two waves a year, by Akaike's
    criterion. With less there is nothing to tell a season from a trend, so it
    is left out.

    Examples
    --------
    >>> months = pd.period_range("2025-01", periods=8, freq="M")
    >>> model = fit_monthly(np.array([40, 44, 38, 41, 39, 42, 40, 36]), months, np.full(8, 20.0))
    >>> model.trend, model.harmonics, model.means(months[:1], np.array([10.0])).round(6).tolist()
    (False, 0, [20.0])
    """
    _require(counts, months)
    trend = len(months) >= MONTHS_FOR_TREND and counts.sum() >= VISITS_FOR_TREND
    season = trend and len(months) >= MONTHS_FOR_SEASON and counts.sum() >= VISITS_FOR_SEASON
    tried = [_fit_terms(counts, months, open_days, trend, k) for k in range((MOST_HARMONICS if season else 0) + 1)]
    return min(tried, key=lambda model: model.fit.aic)


def fit_fading(counts: np.ndarray, months: pd.PeriodIndex, open_days: np.ndarray) -> MonthlyModel:
    """Learn a monthly count that can only stay level or fade.

    Such are the visits of patients last seen before the log begins: the longer
    the log, the fewer are left to turn up. The last 12 months are used; a
    trend is kept from 30 visits, if it falls.

    Parameters
    ----------
    counts, months, open_days
        As for ``fit_monthly``.

    Returns
    -------
    MonthlyModel

    Raises
    ------
    NotEnough
        With fewer than 6 whole months, or no count above nought in the last 12.

    Examples
    --------
    >>> months = pd.period_range("2025-01", periods=6, freq="M")
    >>> fit_fading(np.array([64, 32, 16, 8, 4, 2]), months, np.full(6, 1.0)).means(months[-1:] + 1, np.ones(1)).round(4).tolist()
    [1.0]
    """
    recent = slice(-MONTHS_FOR_TREND, None)
    counts, months, open_days = counts[recent], months[recent], open_days[recent]
    _require(counts, months)
    if counts.sum() >= VISITS_FOR_TREND:
        fading = _fit_terms(counts, months, open_days, True, 0)
        if fading.fit.coefficients[1] < 0:
            return fading
    return _fit_terms(counts, months, open_days, False, 0)


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


def _fit_terms(
    counts: np.ndarray, months: pd.PeriodIndex, open_days: np.ndarray, trend: bool, harmonics: int
) -> MonthlyModel:
    """Fit one choice of terms."""
    terms = month_terms(months, since=months[-1], trend=trend, harmonics=harmonics)
    return MonthlyModel(fit_counts(counts, terms, open_days), months[-1], trend, harmonics, len(months))


def count_draws(means: np.ndarray, dispersion: float, rng: np.random.Generator) -> np.ndarray:
    """Draw counts around expected ones, negative binomial or, at dispersion 0, Poisson.

    Parameters
    ----------
    means : numpy.ndarray
        Expected counts, at least 0.
    dispersion : float
        Alpha; variance is ``mean + alpha mean^2``.
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray of float
        Whole numbers, in the shape of ``means``.

    Examples
    --------
    >>> draws = count_draws(np.full(20000, 10.0), 0.1, np.random.default_rng(4))
    >>> round(draws.var().item())
    20
    """
    rates = means if dispersion <= 0 else means * rng.gamma(1 / dispersion, dispersion, size=means.shape)
    return rng.poisson(rates).astype(float)
