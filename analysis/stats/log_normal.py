"""Times whose logarithm is normal, known exactly, from below, or between limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr
from scipy.stats import norm

from analysis.stats.cells import cells_of
from analysis.stats.censored import NoMaximum
from analysis.stats.clustered import clustered_covariance
from analysis.stats.estimate import Estimate

STEP = 1e-5
LARGEST_MOVE = 1e-7
STEPS, HALVINGS, TOLERANCE = 100, 30, 1e-9
SMALLEST_LOG_SIGMA = -7.0
"""A spread of log time below a thousandth is none: such times are alike but for rounding."""
TINY = 1e-300
METHOD = "log-normal curve"


@dataclass(frozen=True, eq=False)
class LogNormalRegression:
    """A log-normal time whose logarithm moves with covariates.

    Attributes
    ----------
    coefficients : numpy.ndarray, shape (k,)
        On the logarithm of time.
    log_sigma : float
        Logarithm of the spread of log time.
    covariance : numpy.ndarray, shape (k + 1, k + 1)
        Of the coefficients and ``log_sigma``.
    log_likelihood : float
        Of the times, not of their logarithms.
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

    def time_until(self, share: float, row: np.ndarray) -> Estimate:
        """Time until the event has happened to a share, for one row of the design."""
        reach = norm.ppf(share) * np.exp(self.log_sigma)
        middle, gradient = float(row @ self.coefficients + reach), np.append(row, reach)
        half = float(norm.ppf(0.5 + self.level / 2) * np.sqrt(gradient @ self.covariance @ gradient))
        value, low, high = np.exp([middle, middle - half, middle + half])
        return Estimate(float(value), float(low), float(high), self.level, self.n, METHOD)


def log_normal_regression(
    low: np.ndarray,
    high: np.ndarray,
    design: np.ndarray,
    *,
    clusters: np.ndarray | None = None,
    level: float = 0.95,
) -> LogNormalRegression:
    """Fit a log-normal time to exact, left-, right- and interval-censored times.

    Parameters
    ----------
    low, high : numpy.ndarray, shape (n,)
        The event happened after ``low`` and by ``high``. ``low`` 0: at any time up to ``high``;
        ``high`` infinite: not yet by ``low``; alike: exactly then.
    design : numpy.ndarray, shape (n, k)
        Covariates on the logarithm of time; a column of ones for a constant.
    clusters : numpy.ndarray, shape (n,), optional
        Whose row it is; ranges then let one patient's rows go together.
    level : float, optional
        How sure ranges should be.

    Returns
    -------
    LogNormalRegression

    Raises
    ------
    NoMaximum
        If no time has an upper limit or the search does not come to rest.

    Notes
    -----
    Maximum likelihood [1]_: Newton steps with the exact first derivatives and
    differences of those for the second, halved until the likelihood grows. Rows alike are put together first.

    References
    ----------
    .. [1] Kalbfleisch and Prentice (2002), The Statistical Analysis of Failure
       Time Data, 2nd edition, chapter 3.

    Examples
    --------
    >>> times = np.array([10.0, 20.0, 40.0])
    >>> fit = log_normal_regression(times, times, np.ones((3, 1)))
    >>> round(fit.time_until(0.5, np.ones(1)).value, 3), round(float(np.exp(fit.log_sigma)), 3)
    (20.0, 0.566)
    """
    if not np.isfinite(high).any():
        raise NoMaximum("No time has an upper limit.")
    alike = cells_of(design, low, high)
    first = alike.first
    rows = _Rows(design[first], np.log(np.maximum(low[first], TINY)), np.log(high[first]), alike.size.astype(float))
    at = _maximise(rows)
    value, scores = rows.derivatives(at)
    bread = _inverse(rows.information(at))
    covariance = bread if clusters is None else clustered_covariance(bread, scores, clusters, of_row=alike.of_row)
    return LogNormalRegression(at[:-1], float(at[-1]), covariance, value, len(low), level)


@dataclass(frozen=True, eq=False)
class _Rows:
    """The rows of a likelihood, alike ones together; the limits are logarithms."""

    design: np.ndarray
    low: np.ndarray
    high: np.ndarray
    counts: np.ndarray

    def start(self) -> np.ndarray:
        """Start from least squares on what is known of the times."""
        both = np.isfinite(self.high) & (self.low > np.log(TINY))
        known = np.where(both, (self.low + self.high) / 2, np.where(np.isfinite(self.high), self.high, self.low))
        root = np.sqrt(self.counts)
        first, *_ = np.linalg.lstsq(self.design * root[:, None], known * root, rcond=None)
        spread = np.sqrt(np.average((known - self.design @ first) ** 2, weights=self.counts))
        return np.append(first, np.log(max(float(spread), 1e-4)))

    def derivatives(self, at: np.ndarray) -> tuple[float, np.ndarray]:
        """Give the log-likelihood and each row's score, for one of what the row stands for."""
        eta, sigma = self.design @ at[:-1], np.exp(at[-1])
        z_low, z_high = (self.low - eta) / sigma, (self.high - eta) / sigma
        exact, open_end = self.low == self.high, np.isinf(self.high)
        between = ~exact & ~open_end
        finite = np.where(between, z_high, z_low + 1)
        # In the upper tail the difference of two shares near one is lost, so both are turned round.
        flip = z_low > 0
        a, b = np.where(flip, -finite, z_low), np.where(flip, -z_low, finite)
        gap = log_ndtr(b) + np.log(-np.expm1(np.minimum(log_ndtr(a) - log_ndtr(b), -1e-300)))
        inside = np.where(open_end, log_ndtr(-z_low), gap)
        value = np.where(exact, norm.logpdf(z_low) - at[-1] - self.low, inside)
        lower = np.where(exact, 0.0, np.exp(norm.logpdf(z_low) - inside))
        upper = np.where(between, np.exp(norm.logpdf(finite) - inside), 0.0)
        by_eta = np.where(exact, z_low, lower - upper) / sigma
        by_log_sigma = np.where(exact, z_low**2 - 1, z_low * lower - np.where(between, finite * upper, 0.0))
        return float(self.counts @ value), np.column_stack([self.design * by_eta[:, None], by_log_sigma])

    def gradient(self, at: np.ndarray) -> np.ndarray:
        """Sum the scores."""
        return self.counts @ self.derivatives(at)[1]

    def information(self, at: np.ndarray) -> np.ndarray:
        """Give the observed information by central differences of the scores."""
        steps = STEP * np.eye(len(at))
        raw = np.array([(self.gradient(at - step) - self.gradient(at + step)) / (2 * STEP) for step in steps])
        return (raw + raw.T) / 2


def _maximise(rows: _Rows) -> np.ndarray:
    """Take Newton steps, short enough and only upwards, until nothing moves."""
    at, value = rows.start(), rows.derivatives(rows.start())[0]
    for _ in range(STEPS):
        if at[-1] < SMALLEST_LOG_SIGMA:
            raise NoMaximum("The times do not spread.")
        step = _step(rows, at)
        move, halvings = step, 0
        while not rows.derivatives(at + move)[0] >= value - TOLERANCE and halvings < HALVINGS:
            move, halvings = move / 2, halvings + 1
        if halvings == HALVINGS:
            raise NoMaximum("The search for the likeliest curve finds no way upwards.")
        at, value = at + move, rows.derivatives(at + move)[0]
        if np.abs(step).max() < LARGEST_MOVE:
            return at
    raise NoMaximum("The search for the likeliest curve does not come to rest.")


def _step(rows: _Rows, at: np.ndarray) -> np.ndarray:
    """Give Newton's step; where the likelihood curves upwards, that of times known exactly. No log time moves by over 1."""
    information = rows.information(at)
    if not np.isfinite(information).all():
        raise NoMaximum("The likelihood has no maximum to be found.")
    if np.linalg.eigvalsh(information)[0] <= 0:
        weighted = rows.design * rows.counts[:, None] / np.exp(2 * at[-1])
        information = np.zeros_like(information)
        information[:-1, :-1] = weighted.T @ rows.design
        information[-1, -1] = 2 * rows.counts.sum()
    if np.linalg.matrix_rank(information) < len(at):
        raise NoMaximum("The columns depend on each other.")
    step = np.linalg.solve(information, rows.gradient(at))
    return step / max(1.0, float(np.abs(rows.design @ step[:-1]).max()), abs(float(step[-1])))


def _inverse(information: np.ndarray) -> np.ndarray:
    """Invert the information; it must curve downwards on all sides."""
    if not np.isfinite(information).all() or np.linalg.eigvalsh(information)[0] <= 0:
        raise NoMaximum("The likelihood has no maximum to be found.")
    return np.linalg.inv(information)
