"""Shapes a time's curve may have: how the logarithm of time is spread."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit

LARGEST = 70.0


@dataclass(frozen=True, eq=False)
class Family:
    """How times are spread around their middle, on the logarithm of time in units of sigma.

    Attributes
    ----------
    name, spoken : str
        Machine name, and the curve's name in words.
    hazard : callable
        Cumulative hazard at z, with its first and second derivatives.
    log_rate : callable
        Logarithm of the hazard's first derivative at z, with its own first and second derivatives.
    place : callable
        Where on z a share is reached.
    share : callable
        Share reached by z.

    Examples
    --------
    The middle of the log-logistic curve lies at 0, and both curves undo their own places.

    >>> LOG_LOGISTIC.share(0.0).item(), round(WEIBULL.share(WEIBULL.place(0.3)).item(), 6)
    (0.5, 0.3)
    """

    name: str
    spoken: str
    hazard: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray, np.ndarray]]
    log_rate: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray, np.ndarray]]
    place: Callable[[ArrayLike], np.ndarray]
    share: Callable[[ArrayLike], np.ndarray]


def _weibull_hazard(z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Smallest extreme value: the hazard is its own derivative."""
    hazard = np.exp(np.minimum(z, LARGEST))
    return hazard, hazard, hazard


def _weibull_log_rate(z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Logarithm of the same."""
    return z, np.ones_like(z), np.zeros_like(z)


def _logistic_hazard(z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Logistic: minus the logarithm of the share not yet reached."""
    share = expit(z)
    return np.logaddexp(0.0, z), share, share * expit(-z)


def _logistic_log_rate(z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Logarithm of the share reached."""
    left = expit(-z)
    return -np.logaddexp(0.0, -z), left, -left * expit(z)


WEIBULL = Family(
    "weibull",
    "Weibull curve",
    _weibull_hazard,
    _weibull_log_rate,
    lambda share: np.log(-np.log1p(-np.asarray(share, dtype=float))),
    lambda z: -np.expm1(-np.exp(np.minimum(z, LARGEST))),
)
LOG_LOGISTIC = Family(
    "log_logistic",
    "log-logistic curve",
    _logistic_hazard,
    _logistic_log_rate,
    lambda share: np.asarray(logit(share)),
    lambda z: np.asarray(expit(z)),
)


def weibull_averaged(variance: float, name: str, spoken: str) -> Family:
    """Average a Weibull time over people whose rates differ by a gamma factor of mean 1 [1]_.

    Parameters
    ----------
    variance : float
        Of the factor, above 0. Near 0 the curve is the Weibull; at 1 it is the log-logistic.
    name, spoken : str

    Returns
    -------
    Family
        Share reached by z: ``1 - (1 + variance * exp(z)) ** (-1 / variance)``.

    References
    ----------
    .. [1] Vaupel, Manton and Stallard (1979), Demography 16, 439-454.

    Examples
    --------
    >>> round(weibull_averaged(1.0, "", "").place(0.3).item(), 6) == round(LOG_LOGISTIC.place(0.3).item(), 6)
    True
    """
    shift = np.log(variance)

    def hazard(z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        share = expit(z + shift)
        return np.logaddexp(0.0, z + shift) / variance, share / variance, share * expit(-z - shift) / variance

    def log_rate(z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        left = expit(-z - shift)
        return z - np.logaddexp(0.0, z + shift), left, -left * expit(z + shift)

    return Family(
        name,
        spoken,
        hazard,
        log_rate,
        lambda share: np.log(np.expm1(-variance * np.log1p(-np.asarray(share, dtype=float)))) - shift,
        lambda z: -np.expm1(-np.logaddexp(0.0, np.asarray(z) + shift) / variance),
    )


DIFFERING = weibull_averaged(0.5, "weibull_differing", "Weibull curve averaged over patients who differ")
FAMILIES = {family.name: family for family in (WEIBULL, DIFFERING, LOG_LOGISTIC)}
