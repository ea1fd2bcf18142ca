"""Times of people who differ in known ways, averaged over them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

from analysis.stats.cells import cells_of
from analysis.stats.censored import TimeRegression
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import Family

LEAST, MOST = 1e-300, 1 - 1e-15


@dataclass(frozen=True, eq=False)
class AveragedTimes:
    """The share to whom it has happened by each time, averaged over rows of a regression's design (standardised).

    Attributes
    ----------
    fit : TimeRegression
    rows : numpy.ndarray, shape (k, columns)
    shares : numpy.ndarray, shape (k,)
        Share of the people each row stands for; they sum to 1.

    Notes
    -----
    Ranges by the delta method, on the logarithm of time and on the place of a
    share on the family's scale; the rows' shares are taken as known. With one
    row figures are the regression's own.

    Examples
    --------
    Half of the people twice as slow: their common middle lies between.

    >>> from analysis.stats.time_families import LOG_LOGISTIC
    >>> fit = TimeRegression(np.log([5.0, 2.0]), 0.0, np.zeros((3, 3)), 0.0, 9, 0.95, LOG_LOGISTIC)
    >>> both = AveragedTimes(fit, np.array([[1.0, 0.0], [1.0, 1.0]]), np.array([0.5, 0.5]))
    >>> round(both.time_until(0.5).value, 3) == round(float(np.sqrt(5 * 10)), 3)
    True
    """

    fit: TimeRegression
    rows: np.ndarray
    shares: np.ndarray

    @classmethod
    def over(cls, fit: TimeRegression, design: np.ndarray) -> AveragedTimes:
        """Average over all rows of a design."""
        alike = cells_of(design)
        return cls(fit, design[alike.first], alike.size / len(design))

    def time_until(self, share: float) -> Estimate:
        """Time until it has happened to a share."""
        family, sigma = self.fit.family, np.exp(self.fit.log_sigma)
        ends = self._middles + float(family.place(share)) * sigma
        soonest, latest = float(ends.min()), float(ends.max())
        log_time = soonest
        if latest > soonest:
            log_time = float(brentq(lambda at: self._share(at) - share, soonest, latest))
        weight, gradients = self._moves(log_time)
        reach = self._reach(-sigma * weight @ gradients / weight.sum())
        value, low, high = np.exp([log_time, log_time - reach, log_time + reach])
        return Estimate(float(value), float(low), float(high), self.fit.level, self.fit.n, family.spoken)

    def share_by(self, time: float) -> Estimate:
        """Share to whom it has happened by a time above nought."""
        family = self.fit.family
        weight, gradients = self._moves(float(np.log(time)))
        z = float(family.place(np.clip(self._share(float(np.log(time))), LEAST, MOST)))
        reach = self._reach(weight @ gradients / max(float(_density(family, np.array(z))), LEAST))
        value, low, high = family.share(np.array([z, z - reach, z + reach]))
        return Estimate(float(value), float(low), float(high), self.fit.level, self.fit.n, family.spoken)

    def draws(self, times: np.ndarray, many: int, rng: np.random.Generator) -> np.ndarray:
        """Draw the share by times from 0, shape (many, times), as uncertain as it is; the first row is the best."""
        fit = self.fit
        best = np.append(fit.coefficients, fit.log_sigma)
        drawn = np.vstack([best, rng.multivariate_normal(best, fit.covariance, size=many - 1, method="eigh")])
        log_times = np.log(np.maximum(times, LEAST))
        found = np.zeros((many, len(times)))
        for row, share in zip(self.rows, self.shares, strict=True):
            z = (log_times - (drawn[:, :-1] @ row)[:, None]) / np.exp(drawn[:, -1])[:, None]
            found += share * fit.family.share(z)
        return np.where(times > 0, found, 0.0)

    @property
    def _middles(self) -> np.ndarray:
        """Logarithm of each row's scale."""
        return np.asarray(self.rows @ self.fit.coefficients)

    def _places(self, log_time: float) -> np.ndarray:
        """Where a time lies on each row's scale."""
        return (log_time - self._middles) / np.exp(self.fit.log_sigma)

    def _share(self, log_time: float) -> float:
        """Share by a time."""
        return float(self.shares @ self.fit.family.share(self._places(log_time)))

    def _moves(self, log_time: float) -> tuple[np.ndarray, np.ndarray]:
        """Weight of each row in what moves the share by a time, and the gradient of its place."""
        z = self._places(log_time)
        gradients = np.column_stack([-self.rows / np.exp(self.fit.log_sigma), -z])
        return self.shares * np.maximum(_density(self.fit.family, z), LEAST), gradients

    def _reach(self, gradient: np.ndarray) -> float:
        """Half the width of a range."""
        return float(norm.ppf(0.5 + self.fit.level / 2) * np.sqrt(gradient @ self.fit.covariance @ gradient))


def _density(family: Family, z: np.ndarray) -> np.ndarray:
    """How fast the share grows along z."""
    return np.asarray(family.hazard(z)[1] * (1 - family.share(z)))
