"""Means that add up, of positive amounts that scatter in proportion: gamma with identity link."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import statsmodels.api as sm
from statsmodels.tools.sm_exceptions import ConvergenceWarning, DomainWarning, PerfectSeparationWarning

from analysis.stats.cells import cells_of

TOLERANCE, MOST_STEPS = 1e-10, 100


class NotSettled(Exception):
    """The fit could not be brought to an end: dependent columns, no convergence, or means that are not positive."""


@dataclass(frozen=True, slots=True, eq=False)
class GammaIdentityFit:
    """What a gamma fit with identity link found.

    Attributes
    ----------
    params : numpy.ndarray, shape (k,)
        What each column adds to the mean.
    bread : numpy.ndarray, shape (k, k)
        Inverse of the summed information, without the dispersion; times
        ``dispersion`` it is the covariance where the model's variance holds.
    scores : numpy.ndarray, shape (n, k)
        Each row's score, without the dispersion; they add up to nought.
    means : numpy.ndarray, shape (n,)
        Each row's fitted mean; all positive.
    dispersion : float
        Pearson's: the squared coefficient of variation about the means.
    cells : int
        Distinct rows of the design; the fit's cost goes with these.
    leverages : numpy.ndarray, shape (n,)
        How far each row pulls its own mean, 0 to 1; they add up to k.
    """

    params: np.ndarray
    bread: np.ndarray
    scores: np.ndarray
    means: np.ndarray
    dispersion: float
    cells: int
    leverages: np.ndarray


def fit_gamma_identity(design: np.ndarray, amounts: np.ndarray) -> GammaIdentityFit:
    """Fit a gamma model whose mean is a plain sum of parts.

    Parameters
    ----------
    design : numpy.ndarray, shape (n, k)
        One row an observation; its columns must not depend on each other.
    amounts : numpy.ndarray, shape (n,)
        Positive.

    Returns
    -------
    GammaIdentityFit

    Raises
    ------
    NotSettled
        If columns depend on each other, the iterations do not converge, or a
        fitted mean is not positive. Never returned half-done.

    Notes
    -----
    Generalized linear model [1]_. Rows with the same design are fitted on their
    mean with their number as frequency weight, which leaves estimates and
    information exactly as on all rows, since the estimating equations are
    linear in the amounts; dispersion and scores are taken over all rows.

    References
    ----------
    .. [1] McCullagh and Nelder (1989), Generalized Linear Models, chapter 8.

    Examples
    --------
    Two visits without an ear took 8 and 10 minutes, two with one ear 18 and 22.

    >>> design = np.array([[1.0, 0.0], [1.0, 0.0], [1.0, 1.0], [1.0, 1.0]])
    >>> fit_gamma_identity(design, np.array([8.0, 10.0, 18.0, 22.0])).params.round(6).tolist()
    [9.0, 11.0]
    """
    alike = cells_of(design)
    cells, size = design[alike.first], alike.size
    if np.linalg.matrix_rank(cells) < design.shape[1]:
        raise NotSettled("columns depend on each other")
    params = _iterate(cells, alike.sums(amounts) / size, size)
    cell_means = cells @ params
    if cell_means.min() <= 0:
        raise NotSettled("a mean is not positive")
    means = cell_means[alike.of_row]
    residuals = amounts - means
    dispersion = float(((residuals / means) ** 2).sum() / max(len(amounts) - design.shape[1], 1))
    weighted = cells / cell_means[:, None] ** 2
    bread = np.linalg.inv(cells.T @ (weighted * size[:, None]))
    scores = (weighted.T[:, alike.of_row] * residuals).T  # summed a column at a time
    leverages = np.einsum("ij,jk,ik->i", weighted, bread, cells)[alike.of_row]
    return GammaIdentityFit(params, bread, scores, means, dispersion, len(cells), leverages)


def _iterate(cells: np.ndarray, cell_means: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Fit from relative least squares; where that goes astray, from the overall mean."""
    weights = np.sqrt(size) / cell_means
    overall = np.full(len(cells), np.average(cell_means, weights=size))
    starts = [
        np.linalg.lstsq(cells * weights[:, None], cell_means * weights, rcond=None)[0],
        np.linalg.lstsq(cells, overall, rcond=None)[0],
    ]
    for start in starts:
        params = None if (cells @ start).min() <= 0 else _fit_from(start, cells, cell_means, size)
        if params is not None:
            return params
    raise NotSettled("no convergence")


def _fit_from(start: np.ndarray, cells: np.ndarray, cell_means: np.ndarray, size: np.ndarray) -> np.ndarray | None:
    """Run statsmodels' iterations from a start; None where they stray or do not converge."""
    with warnings.catch_warnings():
        warnings.simplefilter("error", ConvergenceWarning)
        # The link allows means below nought: that is looked at below.
        warnings.simplefilter("ignore", DomainWarning)
        # Means of cells may be met exactly, which is no fault; the scale, not used here, is then divided by nought.
        warnings.simplefilter("ignore", PerfectSeparationWarning)
        warnings.simplefilter("ignore", RuntimeWarning)
        family = sm.families.Gamma(link=sm.families.links.Identity())
        model = sm.GLM(cell_means, cells, family=family, freq_weights=size.astype(float))
        try:
            fit = model.fit(
                start_params=start, maxiter=MOST_STEPS, tol=TOLERANCE, rtol=TOLERANCE, tol_criterion="params", scale=1.0
            )
        except (ConvergenceWarning, ValueError, np.linalg.LinAlgError):
            return None
    settled = fit.converged and np.isfinite(fit.params).all() and (cells @ fit.params).min() > 0
    return np.asarray(fit.params) if settled else None
