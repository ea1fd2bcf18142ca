"""A smooth curve that a regression can bend: restricted cubic splines."""

from __future__ import annotations

import numpy as np


def restricted_cubic(x: np.ndarray, knots: np.ndarray) -> np.ndarray:
    """Give the columns of a curve that is cubic between knots and straight beyond the outer ones.

    Parameters
    ----------
    x : numpy.ndarray, shape (n,)
    knots : numpy.ndarray, shape (k,)
        At least 3, rising.

    Returns
    -------
    numpy.ndarray, shape (n, k - 1)
        ``x`` itself first, then the bends.

    References
    ----------
    .. [1] Stone and Koo (1985), ASA Proceedings of the Statistical Computing Section, 45-48.

    Examples
    --------
    >>> restricted_cubic(np.array([0.0, 1.0, 2.0]), np.array([0.0, 1.0, 2.0])).round(3).tolist()
    [[0.0, 0.0], [1.0, 0.25], [2.0, 1.5]]
    """
    last, before = knots[-1], knots[-2]

    def cubed(knot: float) -> np.ndarray:
        return np.clip(x - knot, 0, None) ** 3

    scale = (last - knots[0]) ** 2
    bends = [
        (
            cubed(knot)
            - cubed(before) * (last - knot) / (last - before)
            + cubed(last) * (before - knot) / (last - before)
        )
        / scale
        for knot in knots[:-2]
    ]
    return np.column_stack([x, *bends])
