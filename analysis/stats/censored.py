"""Times known only between limits: Weibull and log-logistic regression with counts and clusters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import minimize
from scipy.stats import norm

from analysis.stats.cells import cells_of
from analysis.stats.clustered import clustered_covariance
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import WEIBULL, Family

STEPS = 200
LARGEST_MOVE = 1e-6
TINY = 1e-100
HUGE = 700.0


class NoMaximum(ArithmeticError):
    """The likelihood has no maximum to be found: the times do not settle a curve."""


@dataclass(frozen=True, eq=False)
class TimeRegression:
    """A time whose logarithm moves with covariates.

    The share to whom it has not happened by time t is, with ``u = (t / exp(x @
    coefficients)) ** shape``, ``exp(-u)`` for a Weibull and ``1 / (1 + u)`` for a log-logistic time.

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
    family : Family
        Weibull or log-logistic.
    """

    coefficients: np.ndarray
    log_sigma: float
    covariance: np.ndarray
    log_likelihood: float
    n: int
    level: float
    family: Family = WEIBULL

    @property
    def shape(self) -> Estimate:
        """Shape: with a Weibull time, above 1 the event grows likelier as time goes by."""
        gradient = np.append(np.zeros_like(self.coefficients), -1.0)
        return self._exponential(-self.log_sigma, gradient)

    def time_until(self, share: float, row: np.ndarray) -> Estimate:
        """Time until the event has happened to a share, for one row of the design."""
        reach = float(self.family.place(share)) * np.exp(self.log_sigma)
        return self._exponential(float(row @ self.coefficients + reach), np.append(row, reach))

    def share_by(self, time: float, row: np.ndarray) -> Estimate:
        """Share to whom the event has happened by a time above nought, for one row of the design."""
        sigma = np.exp(self.log_sigma)
        z = float((np.log(time) - row @ self.coefficients) / sigma)
        reach = self._reach(np.append(-row / sigma, -z))
        value, low, high = self.family.share(np.array([z, z - reach, z + reach]))
        return Estimate(float(value), float(low), float(high), self.level, self.n, self.family.spoken)

    def times_as_long(self, row: np.ndarray) -> Estimate:
        """Factor on every time that goes with a difference between two rows of the design."""
        return self._exponential(float(row @ self.coefficients), np.append(row, 0.0))

    def _reach(self, gradient: np.ndarray) -> float:
        """Half the width of a range, by the delta method."""
        return float(norm.ppf(0.5 + self.level / 2) * np.sqrt(gradient @ self.covariance @ gradient))

    def _exponential(self, log_value: float, gradient: np.ndarray) -> Estimate:
        """Give a positive figure with its range from its logarithm's."""
        reach = self._reach(gradient)
        value, low, high = np.exp([log_value, log_value - reach, log_value + reach])
        return Estimate(float(value), float(low), float(high), self.level, self.n, self.family.spoken)


def time_regression(
    low: np.ndarray,
    high: np.ndarray,
    design: np.ndarray,
    *,
    family: Family = WEIBULL,
    counts: np.ndarray | None = None,
    clusters: np.ndarray | None = None,
    level: float = 0.95,
) -> TimeRegression:
    """Fit a Weibull or log-logistic time to exact, left-, right- and interval-censored times.

    Parameters
    ----------
    low, high : numpy.ndarray, shape (n,)
        The event happened after ``low`` and by ``high``. ``low`` 0: at any time
        up to ``high``; ``high`` infinite: not yet by ``low``; alike: exactly then.
    design : numpy.ndarray, shape (n, k)
        Covariates on the logarithm of time; a column of ones for a constant.
    family : Family, optional
        Weibull without it.
    counts : numpy.ndarray, shape (n,), optional
        How many each row stands for; may be fractions. 1 without it.
    clusters : numpy.ndarray, shape (n,), optional
        Whose row it is; ranges then let one patient's rows go together.
    level : float, optional
        How sure ranges should be.

    Returns
    -------
    TimeRegression

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
    >>> fit = time_regression(low, high, np.ones((4, 1)), counts=np.array([4, 6, 7, 3]))
    >>> round(fit.share_by(1.0, np.ones(1)).value, 3), round(fit.share_by(2.0, np.ones(1)).value, 3)
    (0.4, 0.7)
    """
    low, high, design = (np.asarray(each, dtype=float) for each in (low, high, design))
    alike = cells_of(low, high, design)
    first, weight = (
        alike.first,
        alike.size.astype(float) if counts is None else alike.sums(np.asarray(counts, dtype=float)),
    )
    rows = _Rows.of(low[first], high[first], design[first], weight, family)
    estimates = _maximise(rows)
    value, _, hessian = rows.derivatives(estimates)
    covariance = bread = _inverse(-hessian)
    if clusters is not None:
        scores = rows.scores(estimates)
        covariance = clustered_covariance(bread, scores, clusters, of_row=alike.of_row, counts=counts)
    n = round(float(rows.counts.sum()))
    return TimeRegression(estimates[:-1], float(estimates[-1]), covariance, value, n, level, family)


def log_scores(fit: TimeRegression, low: np.ndarray, high: np.ndarray, design: np.ndarray) -> np.ndarray:
    """Log-likelihood of each time under a fitted curve; of times kept out of the fit, its log scores.

    Parameters
    ----------
    fit : TimeRegression
    low, high : numpy.ndarray, shape (n,)
        As in ``time_regression``; a row that says nothing scores 0.
    design : numpy.ndarray, shape (n, k)

    Returns
    -------
    numpy.ndarray, shape (n,)
        The higher, the better foretold.

    Notes
    -----
    The logarithmic score, Gneiting and Raftery (2007), J. Am. Stat. Assoc. 102, 359-378.

    Examples
    --------
    Half of what follows a log-logistic curve has happened by its middle.

    >>> from analysis.stats.time_families import LOG_LOGISTIC
    >>> fit = TimeRegression(np.array([np.log(5.0)]), 0.0, np.eye(2), 0.0, 9, 0.95, LOG_LOGISTIC)
    >>> np.exp(log_scores(fit, np.array([5.0, 0.0]), np.array([np.inf, np.inf]), np.ones((2, 1)))).round(3).tolist()
    [0.5, 1.0]
    """
    rows = _Rows.of(low, high, design, np.ones(len(low)), fit.family, refuse=False)
    return rows.each(np.append(fit.coefficients, fit.log_sigma))[0]


def weibull_regression(low: np.ndarray, high: np.ndarray, design: np.ndarray, **more: Any) -> TimeRegression:
    """Fit a Weibull time; ``time_regression`` says what goes in and what comes out."""
    return time_regression(low, high, design, family=WEIBULL, **more)


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
    family: Family

    @classmethod
    def of(
        cls,
        low: np.ndarray,
        high: np.ndarray,
        design: np.ndarray,
        counts: np.ndarray,
        family: Family,
        *,
        refuse: bool = True,
    ) -> _Rows:
        """Take the rows that say anything; refuse those that settle no curve."""
        low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
        telling = (counts > 0) & ((low > 0) | np.isfinite(high))
        counts = np.where(telling, counts, 0.0)
        some_low, some_high = low > 0, np.isfinite(high)
        if refuse and (not (telling & some_high).any() or not (telling & some_low).any()):
            raise NoMaximum("No time has an upper limit, or none a lower one.")
        logs = np.log(np.where(some_low, low, 1.0)), np.log(np.where(some_high, high, 1.0))
        exact = some_low & (low == high)
        return cls(*logs, some_low, some_high, exact, np.asarray(design, dtype=float), counts, family)

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
        return self._gathered(*self.each(at))

    def each(self, at: np.ndarray) -> tuple[np.ndarray, list[np.ndarray], list[np.ndarray]]:
        """Give each row's log-likelihood, with its derivatives by eta and log sigma."""
        eta, sigma = self.design @ at[:-1], np.exp(at[-1])
        below = _hazard(self.family, self.log_low, eta, sigma, self.some_low)
        above = _hazard(self.family, self.log_high, eta, sigma, self.some_high)
        gap = above[0] - below[0]
        ended = self.some_high & ~self.exact
        r = np.where(ended, 1 / np.expm1(np.where(ended, np.clip(gap, TINY, HUGE), 1.0)), 0.0)
        value = -below[0] + np.where(ended, np.log(-np.expm1(-np.where(ended, np.maximum(gap, TINY), 1.0))), 0.0)
        steps = [a - b for a, b in zip(above[1:3], below[1:3], strict=True)]
        first = [-b + r * step for b, step in zip(below[1:3], steps, strict=True)]
        pairs = ((0, 0), (0, 1), (1, 1))
        second = [
            -b + r * (a - b) - r * (1 + r) * steps[i] * steps[j]
            for a, b, (i, j) in zip(above[3:], below[3:], pairs, strict=True)
        ]
        return self._with_exact(at, (self.log_low - eta) / sigma, value, first, second)

    def scores(self, at: np.ndarray) -> np.ndarray:
        """Give the score of one time of each row."""
        return self._by_parameter(self.each(at)[1])

    def _by_parameter(self, first: list[np.ndarray]) -> np.ndarray:
        """Turn derivatives by eta into derivatives by coefficients."""
        return np.column_stack([self.design * first[0][:, None], first[1]])

    def _with_exact(
        self, at: np.ndarray, z: np.ndarray, value: np.ndarray, first: list[np.ndarray], second: list[np.ndarray]
    ) -> tuple[np.ndarray, list[np.ndarray], list[np.ndarray]]:
        """Add the rate at which it happens, where the time is known exactly."""
        sigma = np.exp(at[-1])
        rate, slope, bend = self.family.log_rate(np.where(self.exact, z, 0.0))
        by_first = (-slope / sigma, -z * slope - 1)
        by_second = (bend / sigma**2, (z * bend + slope) / sigma, z * slope + z * z * bend)
        return (
            value + np.where(self.exact, rate - at[-1] - self.log_low, 0.0),
            [each + np.where(self.exact, more, 0.0) for each, more in zip(first, by_first, strict=True)],
            [each + np.where(self.exact, more, 0.0) for each, more in zip(second, by_second, strict=True)],
        )

    def _gathered(self, value: np.ndarray, first: list, second: list) -> tuple[float, np.ndarray, np.ndarray]:
        """Weigh rows by their counts and turn derivatives by eta into derivatives by coefficients."""
        x, counts = self.design, self.counts
        scores = self._by_parameter(first) * counts[:, None]
        hessian = np.empty((x.shape[1] + 1, x.shape[1] + 1))
        hessian[:-1, :-1] = (x * (counts * second[0])[:, None]).T @ x
        hessian[:-1, -1] = hessian[-1, :-1] = x.T @ (counts * second[1])
        hessian[-1, -1] = counts @ second[2]
        return float(counts @ value), scores, hessian


def _hazard(
    family: Family, log_time: np.ndarray, eta: np.ndarray, sigma: float, some: np.ndarray
) -> tuple[np.ndarray, ...]:
    """Cumulative hazard at a time, its first and second derivatives by eta and log sigma; nought where there is none."""
    z = (log_time - eta) / sigma
    hazard, slope, bend = (np.where(some, each, 0.0) for each in family.hazard(z))
    return (
        hazard,
        -slope / sigma,
        -z * slope,
        bend / sigma**2,
        (z * bend + slope) / sigma,
        z * slope + z * z * bend,
    )


def _maximise(rows: _Rows) -> np.ndarray:
    """Search the maximum, then take Newton steps until nothing moves."""
    last: dict[bytes, tuple[float, np.ndarray, np.ndarray]] = {}

    def derivatives(at: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        # the search asks for the value, the slope and the bend at one place one after the other
        key = at.tobytes()
        if key not in last:
            last.clear()
            last[key] = rows.derivatives(at)
        return last[key]

    found = minimize(
        lambda at: -derivatives(at)[0],
        rows.start(),
        jac=lambda at: -derivatives(at)[1].sum(axis=0),
        hess=lambda at: -derivatives(at)[2],
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
