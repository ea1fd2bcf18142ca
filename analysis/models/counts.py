"""Counts that vary more than chance: negative binomial regression and draws."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.special import gammaln, xlogy

LARGEST_DISPERSION = 50.0
_ROUNDS, _STEPS = 50, 100
_FARTHEST, _HALVINGS = 30.0, 30
"""Logarithms of means stop here: those of months that can hold none run to nought, those of a lone crowd away."""


class _Fitted(NamedTuple):
    """Coefficients, their covariance and the means, with the dispersion held."""

    coefficients: np.ndarray
    covariance: np.ndarray
    mean: np.ndarray


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


def fit_counts(
    counts: np.ndarray, design: np.ndarray, exposure: np.ndarray | None = None, *, poisson: bool = False
) -> CountFit:
    """Fit counts by negative binomial regression with a log link.

    Parameters
    ----------
    counts : numpy.ndarray, shape (n,)
        Whole numbers from nought.
    design : numpy.ndarray, shape (n, k)
        Terms, with a column of ones where a constant is wanted.
    exposure : numpy.ndarray, shape (n,), optional
        What the counts are in proportion to, such as opening days; above 0.
    poisson : bool, optional
        Hold the dispersion at 0, whatever the counts say.

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
    alpha, fit = 0.0, _fitted(y, design, offset, 0.0)
    if not poisson and ((y - fit.mean) ** 2 - y).sum() > 0:
        for _ in range(_ROUNDS):
            before, alpha = alpha, _likeliest_dispersion(y, fit.mean)
            fit = _fitted(y, design, offset, alpha, start=fit.coefficients)
            if abs(alpha - before) <= 1e-9 + 1e-6 * alpha:
                break
    return CountFit(
        coefficients=fit.coefficients,
        covariance=fit.covariance,
        dispersion=alpha,
        corrected_dispersion=_pearson_dispersion(y, fit.mean, len(y) - design.shape[1]),
        log_likelihood=log_likelihood(y, fit.mean, alpha),
        fitted=fit.mean,
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


def _fitted(
    y: np.ndarray, design: np.ndarray, offset: np.ndarray, alpha: float, start: np.ndarray | None = None
) -> _Fitted:
    """Fit the regression with the dispersion held, by weighted least squares again and again."""
    # a forecast tried at every month's end asks for a thousand of these; a library's fit takes four times as long
    linear = np.log(np.maximum((y + y.mean()) / 2, 1e-3)) if start is None else design @ start + offset
    coefficients, misfit = start, np.inf if start is None else _misfit(y, linear, alpha)
    for _ in range(_STEPS):
        mean = np.exp(np.clip(linear, -_FARTHEST, _FARTHEST))
        root = np.sqrt(mean / (1 + alpha * mean))
        wanted = linear - offset + (y - mean) / mean
        step = np.linalg.lstsq(design * root[:, None], wanted * root)[0]
        for _ in range(_HALVINGS if coefficients is not None else 0):
            if _misfit(y, design @ step + offset, alpha) <= misfit + 1e-9 * (1 + abs(misfit)):
                break
            step = (step + coefficients) / 2
        coefficients, before = step, misfit
        linear = np.clip(design @ coefficients + offset, -_FARTHEST, _FARTHEST)
        misfit = _misfit(y, linear, alpha)
        if abs(misfit - before) <= 1e-11 * (1 + abs(misfit)):
            break
    mean = np.exp(linear)
    weight = mean / (1 + alpha * mean)
    return _Fitted(np.asarray(coefficients), np.linalg.pinv((design.T * weight) @ design), mean)


def _misfit(y: np.ndarray, linear: np.ndarray, alpha: float) -> float:
    """Give the part of minus the log-likelihood that depends on the means."""
    within = np.clip(linear, -_FARTHEST, _FARTHEST)
    mean = np.exp(within)
    more = mean if alpha <= 0 else (y + 1 / alpha) * np.log1p(alpha * mean)
    return float((more - y * within).sum())


def _likeliest_dispersion(y: np.ndarray, mu: np.ndarray) -> float:
    """Find the likeliest alpha given the means, on the log scale."""
    found = minimize_scalar(
        lambda log_alpha: -log_likelihood(y, mu, float(np.exp(log_alpha))),
        bounds=(np.log(1e-8), np.log(LARGEST_DISPERSION)),
        method="bounded",
        options={"xatol": 1e-8},
    )
    return float(np.exp(found.x))


def _pearson_dispersion(y: np.ndarray, mu: np.ndarray, freedom: int) -> float:
    """Find the alpha at which Pearson's statistic equals its degrees of freedom."""

    def excess(alpha: float) -> float:
        return float(((y - mu) ** 2 / (mu + alpha * mu**2)).sum() - freedom)

    if freedom <= 0 or excess(0.0) <= 0:
        return 0.0
    return LARGEST_DISPERSION if excess(LARGEST_DISPERSION) > 0 else float(brentq(excess, 0.0, LARGEST_DISPERSION))


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
