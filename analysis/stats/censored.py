"""Times known only between limits: Weibull regression with counts and clusters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.stats import norm

from analysis.stats.clustered import clustered_covariance
from analysis.stats.estimate import Estimate

STEPS = 200
LARGEST_MOVE = 1e-6
TINY = 1e-100
HUGE = 700.0


class NoMaximum(ArithmeticError):
    """The likelihood has no maximum to be found: the times do not settle a curve."""


@dataclass(frozen=True, eq=False)
class WeibullRegression:
    """A Weibull time whose logarithm moves with covariates.

    The share to whom it has not happened by time t is
    ``exp(-(t / exp(x @ coefficients)) ** shape)``.

    Attributes
    ----------
    coefficients : numpy.ndarray, shape (k,)
        On the logarithm of time, one a column of the design.
    log_sigma : float
        Logarithm of 1 / shape.
    covariance : numpy.ndarray, shape (k + 1, k + 1)
        Of the coefficients and ``log_sigma``, in this order.
    log_likelihood : float
    n : int
        How many the rows stand for.
    level : float
        How sure ranges are to be.
    """

    coefficients: np.ndarray
    log_sigma: float
    covariance: np.ndarray
    log_likelihood: float
    n: int
    level: float

    @property
    def shape(self) -> Estimate:
        """Shape: above 1 the event grows likelier as time goes by."""
        gradient = np.append(np.zeros_like(self.coefficients), -1.0)
        return self._exponential(-self.log_sigma, gradient)

    def time_until(self, share: float, row: np.ndarray) -> Estimate:
        """Time until the event has happened to a share, for one row of the design."""
        reach = np.log(-np.log1p(-share)) * np.exp(self.log_sigma)
        return self._exponential(float(row @ self.coefficients + reach), np.append(row, reach))

    def share_by(self, time: float, row: np.ndarray) -> Estimate:
        """Share to whom the event has happened by a time above nought, for one row of the design."""
        sigma = np.exp(self.log_sigma)
        z = float((np.log(time) - row @ self.coefficients) / sigma)
        reach = self._reach(np.append(-row / sigma, -z))
        value, low, high = -np.expm1(-np.exp(np.array([z, z - reach, z + reach])))
        return Estimate(float(value), float(low), float(high), self.level, self.n, "Weibull curve")

    def _reach(self, gradient: np.ndarray) -> float:
        """Half the width of a range, by the delta method."""
        return float(norm.ppf(0.5 + self.level / 2) * np.sqrt(gradient @ self.covariance @ gradient))

    def _exponential(self, log_value: float, gradient: np.ndarray) -> Estimate:
        """Give a positive figure with its range from its logarithm's."""
        reach = self._reach(gradient)
        value, low, high = np.exp([log_value, log_value - reach, log_value + reach])
        return Estimate(float(value), float(low), float(high), self.level, self.n, "Weibull curve")


def weibull_regression(
    low: np.ndarray,
    high: np.ndarray,
    design: np.ndarray,
    *,
    counts: np.ndarray | None = None,
    clusters: np.ndarray | None = None,
    level: float = 0.95,
) -> WeibullRegression:
    """Fit a Weibull time to exact, left-, right- and interval-censored times.

    Parameters
    ----------
    low, high : numpy.ndarray, shape (n,)
        The event happened after ``low`` and by ``high``. ``low`` 0: at any time
        up to ``high``; ``high`` infinite: not yet by ``low``; alike: exactly then.
    design : numpy.ndarray, shape (n, k)
        Covariates on the logarithm of time; a column of ones for a constant.
    counts : numpy.ndarray, shape (n,), optional
        How many each row stands for; may be fractions. 1 without it.
    clusters : numpy.ndarray, shape (n,), optional
        Whose row it is; ranges then let one patient's rows go together.
    level : float, optional
        How sure ranges should be.

    Returns
    -------
    WeibullRegression

    Raises
    ------
    NoMaximum
        If the likelihood has none: no event has an upper limit, nothing has a
        lower one, or the search does not come to rest.

    Notes
    -----
    Maximum likelihood [1]_ by a trust-region search with the exact first and
    second derivatives, started from one time for all. Without clusters the
    covariance is the inverse observed information; with them the sandwich.
    The log-likelihood is that of the times, not of their logarithms.

    References
    ----------
    .. [1] Kalbfleisch and Prentice (2002), The Statistical Analysis of Failure
       Time Data, 2nd edition, chapter 3.

    Examples
    --------
    Of ten parts inspected at time 1, four had failed; of ten at time 2, seven.

    >>> low, high = np.array([0.0, 1.0, 0.0, 2.0]), np.array([1.0, np.inf, 2.0, np.inf])
    >>> fit = weibull_regression(low, high, np.ones((4, 1)), counts=np.array([4, 6, 7, 3]))
    >>> round(fit.share_by(1.0, np.ones(1)).value, 3), round(fit.share_by(2.0, np.ones(1)).value, 3)
    (0.4, 0.7)
    """
    rows = _Rows.of(low, high, design, np.ones(len(low)) if counts is None else np.asarray(counts, dtype=float))
    estimates = _maximise(rows)
    value, scores, hessian = rows.derivatives(estimates)
    bread = _inverse(-hessian)
    covariance = bread if clusters is None else clustered_covariance(bread, scores, clusters)
    return WeibullRegression(
        estimates[:-1], float(estimates[-1]), covariance, value, round(float(rows.counts.sum())), level
    )


@dataclass(frozen=True, eq=False)
class _Rows:
    """The rows of a likelihood; 0 and infinity are kept out of the logarithms."""

    log_low: np.ndarray
    log_high: np.ndarray
    some_low: np.ndarray
    some_high: np.ndarray
    exact: np.ndarray
    design: np.ndarray
    counts: np.ndarray

    @classmethod
    def of(cls, low: np.ndarray, high: np.ndarray, design: np.ndarray, counts: np.ndarray) -> _Rows:
        """Take the rows that say anything; refuse those that settle no curve."""
        low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
        telling = (counts > 0) & ((low > 0) | np.isfinite(high))
        counts = np.where(telling, counts, 0.0)
        some_low, some_high = low > 0, np.isfinite(high)
        if not (telling & some_high).any() or not (telling & some_low).any():
            raise NoMaximum("No time has an upper limit, or none a lower one.")
        logs = np.log(np.where(some_low, low, 1.0)), np.log(np.where(some_high, high, 1.0))
        return cls(*logs, some_low, some_high, some_low & (low == high), np.asarray(design, dtype=float), counts)

    def start(self) -> np.ndarray:
        """Start from the mean logarithm of what is known of the times, and shape 1."""
        both = self.some_low & self.some_high
        known = np.where(
            both, (self.log_low + self.log_high) / 2, np.where(self.some_high, self.log_high, self.log_low)
        )
        constant, *_ = np.linalg.lstsq(
            self.design, np.full(len(known), np.average(known, weights=self.counts)), rcond=None
        )
        return np.append(constant, 0.0)

    def derivatives(self, at: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        """Give the log-likelihood, each row's score and the second derivatives."""
        eta, sigma = self.design @ at[:-1], np.exp(at[-1])
        below = _hazard(self.log_low, eta, sigma, self.some_low)
        above = _hazard(self.log_high, eta, sigma, self.some_high)
        gap = above[0] - below[0]
        ended = self.some_high & ~self.exact
        r = np.where(ended, 1 / np.expm1(np.where(ended, np.clip(gap, TINY, HUGE), 1.0)), 0.0)
        value = -below[0] + np.where(ended, np.log(-np.expm1(-np.where(ended, np.maximum(gap, TINY), 1.0))), 0.0)
        first = [-b + r * (a - b) for a, b in zip(above[1:3], below[1:3], strict=True)]
        steps = [a - b for a, b in zip(above[1:3], below[1:3], strict=True)]
        pairs = ((0, 0), (0, 1), (1, 1))
        second = [
            -b + r * (a - b) - r * (1 + r) * steps[i] * steps[j]
            for a, b, (i, j) in zip(above[3:], below[3:], pairs, strict=True)
        ]
        z = (self.log_low - eta) / sigma
        value = value + np.where(self.exact, z - at[-1] - self.log_low, 0.0)
        first[0] = first[0] + np.where(self.exact, -1 / sigma, 0.0)
        first[1] = first[1] + np.where(self.exact, -z - 1, 0.0)
        second[1] = second[1] + np.where(self.exact, 1 / sigma, 0.0)
        second[2] = second[2] + np.where(self.exact, z, 0.0)
        return self._gathered(value, first, second)

    def _gathered(self, value: np.ndarray, first: list, second: list) -> tuple[float, np.ndarray, np.ndarray]:
        """Weigh rows by their counts and turn derivatives by eta into derivatives by coefficients."""
        x, counts = self.design, self.counts
        scores = np.column_stack([x * first[0][:, None], first[1]]) * counts[:, None]
        hessian = np.empty((x.shape[1] + 1, x.shape[1] + 1))
        hessian[:-1, :-1] = (x * (counts * second[0])[:, None]).T @ x
        hessian[:-1, -1] = hessian[-1, :-1] = x.T @ (counts * second[1])
        hessian[-1, -1] = counts @ second[2]
        return float(counts @ value), scores, hessian


def _hazard(log_time: np.ndarray, eta: np.ndarray, sigma: float, some: np.ndarray) -> tuple[np.ndarray, ...]:
    """Cumulative hazard at a time, its first and second derivatives by eta and log sigma; nought where there is none."""
    z = (log_time - eta) / sigma
    hazard = np.where(some, np.exp(np.minimum(z, HUGE / 10)), 0.0)
    return (
        hazard,
        -hazard / sigma,
        -z * hazard,
        hazard / sigma**2,
        (z + 1) * hazard / sigma,
        (z + z * z) * hazard,
    )


def _maximise(rows: _Rows) -> np.ndarray:
    """Search the maximum, then take Newton steps until nothing moves."""
    start = rows.start()
    found = minimize(
        lambda at: -rows.derivatives(at)[0],
        start,
        jac=lambda at: -rows.derivatives(at)[1].sum(axis=0),
        hess=lambda at: -rows.derivatives(at)[2],
        method="trust-exact",
        options={"gtol": 1e-4 * max(1.0, rows.counts.sum()), "maxiter": STEPS},
    )
    at = found.x
    for _ in range(20):
        _, scores, hessian = rows.derivatives(at)
        move = _inverse(-hessian) @ scores.sum(axis=0)
        at = at + move
        if np.abs(move).max() < LARGEST_MOVE:
            return at
    raise NoMaximum("The search for the likeliest curve does not come to rest.")


def _inverse(information: np.ndarray) -> np.ndarray:
    """Invert the information; it must curve downwards on all sides."""
    if not np.isfinite(information).all() or np.linalg.eigvalsh(information)[0] <= 0:
        raise NoMaximum("The likelihood has no maximum to be found.")
    return np.linalg.inv(information)
