"""Effects drawn towards each other as far as the data ask for it: a linear mixed model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.stats import norm

from analysis.stats.estimate import Estimate

LARGEST_RATIO = 50.0
METHOD = "partial pooling, linear mixed model"


class NotPooled(ArithmeticError):
    """The columns of the fixed part depend on each other, or there are no more rows than columns."""


@dataclass(frozen=True, eq=False)
class MixedFit:
    """Fixed parameters and random effects.

    Attributes
    ----------
    fixed : numpy.ndarray, shape (k,)
        What each fixed column adds.
    effects : numpy.ndarray, shape (r,)
        Each random effect, drawn towards nought; groups after one another.
    spreads : numpy.ndarray, shape (groups,)
        Standard deviation of each group's effects.
    residual : float
        Standard deviation of a row of weight 1 around its mean.
    covariance : numpy.ndarray, shape (k + r, k + r)
        Of the errors of ``fixed`` and ``effects`` together, the spreads taken as known.
    reml : float
        Restricted deviance at the estimates.
    """

    fixed: np.ndarray
    effects: np.ndarray
    spreads: np.ndarray
    residual: float
    covariance: np.ndarray
    reml: float

    def estimate(self, row: np.ndarray, *, level: float, n: int, inflation: float = 1.0) -> Estimate:
        """Give a sum of parameters and effects with its range; ``inflation`` multiplies its variance."""
        value = float(row @ np.concatenate([self.fixed, self.effects]))
        half = float(norm.ppf(0.5 + level / 2) * np.sqrt(inflation * max(row @ self.covariance @ row, 0.0)))
        return Estimate(value, value - half, value + half, level, n, METHOD)


def fit_mixed(
    fixed: np.ndarray, groups: Sequence[np.ndarray], amounts: np.ndarray, weights: np.ndarray | None = None
) -> MixedFit:
    """Fit a linear mixed model with independent random effects in one or more groups.

    Parameters
    ----------
    fixed : numpy.ndarray, shape (n, k)
        Columns whose parameters are estimated freely.
    groups : sequence of numpy.ndarray, shape (n, r_g)
        Columns whose parameters are drawn from one normal distribution a group; without groups this is least squares.
    amounts : numpy.ndarray, shape (n,)
    weights : numpy.ndarray, shape (n,), optional
        One over each row's relative variance; 1 without it.

    Returns
    -------
    MixedFit

    Raises
    ------
    NotPooled
        If the fixed columns depend on each other or rows are too few.

    Notes
    -----
    Restricted maximum likelihood over the ratios of the groups' spreads to the residual's, in the
    profiled form of Bates and others [1]_; everything is computed from cross
    products, so the search costs the same for a hundred rows or a million. Ranges
    take the spreads as known and are a little narrow where a group has few effects.

    References
    ----------
    .. [1] Bates, Maechler, Bolker and Walker (2015), J. Stat. Softw. 67(1), section 3.

    Examples
    --------
    Two people of three rows each, around 10 and 14: each is drawn a little towards 12.

    >>> fit = fit_mixed(np.ones((6, 1)), [np.repeat(np.eye(2), 3, axis=0)], np.array([9.0, 10, 11, 13, 14, 15]))
    >>> (fit.fixed + fit.effects).round(2).tolist()
    [10.08, 13.92]
    """
    products = _Products.of(fixed, groups, amounts, np.ones(len(amounts)) if weights is None else weights)
    if products.rows <= fixed.shape[1] or np.linalg.matrix_rank(fixed) < fixed.shape[1]:
        raise NotPooled("columns depend on each other, or there are too few rows")
    count = len(groups)
    if not count:
        return products.fit(np.zeros(0))
    # A spread of nought sits on the search's edge, so several starts, one of them low.
    starts = [np.full(count, start) for start in (0.03, 0.3, 1.0)]
    runs = [
        minimize(products.deviance, start, bounds=[(0.0, LARGEST_RATIO)] * count, method="L-BFGS-B") for start in starts
    ]
    best = min(runs, key=lambda run: run.fun)
    tightened = minimize(
        products.deviance,
        best.x,
        bounds=[(0.0, LARGEST_RATIO)] * count,
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 2000},
    )
    return products.fit(tightened.x if tightened.fun <= best.fun else best.x)


@dataclass(frozen=True, eq=False)
class _Products:
    """Cross products of all columns and the amounts, which is all that the fit needs."""

    cross: np.ndarray
    toward: np.ndarray
    square: float
    columns: int
    group: np.ndarray
    rows: int
    log_weights: float

    @classmethod
    def of(cls, fixed: np.ndarray, groups: Sequence[np.ndarray], amounts: np.ndarray, weights: np.ndarray) -> _Products:
        """Take the products; a group's columns are remembered by its number."""
        whole = np.column_stack([fixed, *groups])
        weighted = whole * weights[:, None]
        group = np.repeat(np.arange(len(groups)), np.array([each.shape[1] for each in groups], dtype=int))
        return cls(
            weighted.T @ whole,
            weighted.T @ amounts,
            float(amounts @ (weights * amounts)),
            fixed.shape[1],
            group,
            len(amounts),
            float(np.log(weights).sum()),
        )

    def _solved(self, ratios: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
        """Give the scaled system, its solution and the penalised sum of squares."""
        scale = np.concatenate([np.ones(self.columns), ratios[self.group]])
        system = self.cross * np.outer(scale, scale)
        system[self.columns :, self.columns :] += np.eye(len(self.group))
        solution = np.linalg.solve(system, self.toward * scale)
        return system, solution, max(self.square - float(solution @ (self.toward * scale)), 1e-300)

    def deviance(self, ratios: np.ndarray) -> float:
        """Restricted deviance, profiled over everything but the ratios."""
        system, _, left = self._solved(ratios)
        free = self.rows - self.columns
        # log |random part| + log |fixed part given it| is the log determinant of the whole.
        return float(np.linalg.slogdet(system)[1] + free * (1 + np.log(2 * np.pi * left / free)) - self.log_weights)

    def fit(self, ratios: np.ndarray) -> MixedFit:
        """Turn the scaled solution back."""
        system, solution, left = self._solved(ratios)
        scale = np.concatenate([np.ones(self.columns), ratios[self.group]])
        variance = left / (self.rows - self.columns)
        covariance = variance * np.linalg.inv(system) * np.outer(scale, scale)
        parts, root = solution * scale, float(np.sqrt(variance))
        return MixedFit(
            parts[: self.columns], parts[self.columns :], ratios * root, root, covariance, self.deviance(ratios)
        )
