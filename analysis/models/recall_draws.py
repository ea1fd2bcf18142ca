"""Recall curves drawn as uncertain as they are."""

from __future__ import annotations

import numpy as np

from analysis.models.recall import DAYS_A_MONTH, RecallCurve

TINY_MONTHS = 1e-9


def share_draws(curve: RecallCurve, months: np.ndarray, many: int, rng: np.random.Generator) -> np.ndarray:
    """Draw a group's curve, shape and scale together.

    Parameters
    ----------
    curve : RecallCurve
    months : numpy.ndarray
        Months since clearance, from 0.
    many : int
        Rows wanted.
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray, shape (many, len(months))
        Share of ears occluding again; the first row is the best curve, the others are drawn around it.
    """
    fit = curve.fit
    best = np.append(fit.coefficients, fit.log_sigma)
    drawn = np.vstack([best, rng.multivariate_normal(best, fit.covariance, size=many - 1, method="eigh")])
    z = (np.log(np.maximum(months, TINY_MONTHS) * DAYS_A_MONTH) - (drawn[:, :-1] @ curve.row)[:, None]) / np.exp(
        drawn[:, -1]
    )[:, None]
    return np.where(months > 0, fit.family.share(z), 0.0)
