"""Uncertainty where several rows belong to one patient."""

from __future__ import annotations

import numpy as np

from analysis.stats.cells import cells_of


def clustered_covariance(
    bread: np.ndarray,
    scores: np.ndarray,
    clusters: np.ndarray,
    *,
    of_row: np.ndarray | None = None,
    counts: np.ndarray | None = None,
) -> np.ndarray:
    """Covariance of estimates that lets rows of one patient go together.

    Parameters
    ----------
    bread : numpy.ndarray, shape (k, k)
        Inverse of the summed (expected or observed) information.
    scores : numpy.ndarray, shape (n, k)
        Each row's score (derivative of its log-likelihood) at the estimates.
    clusters : numpy.ndarray, shape (n,)
        Whose row it is: any hashable labels.
    of_row : numpy.ndarray of int, shape (n,), optional
        Where each row's score stands in ``scores``, if rows alike share one.
    counts : numpy.ndarray, shape (n,), optional
        How many each row stands for; 1 without it.

    Returns
    -------
    numpy.ndarray, shape (k, k)

    Notes
    -----
    The sandwich of Liang and Zeger [1]_ without a small-sample factor (CR0).

    References
    ----------
    .. [1] Liang and Zeger (1986), Biometrika 73, 13-22.

    Examples
    --------
    The mean of four values, two from each patient; its score sums are +2 and -2.

    >>> scores = np.array([[1.0], [1.0], [-1.0], [-1.0]])
    >>> clustered_covariance(np.array([[1 / 4]]), scores, np.array(["a", "a", "b", "b"])).item()
    0.5
    """
    whose = cells_of(np.asarray(clusters))
    columns = scores.T if of_row is None else (np.ascontiguousarray(column)[of_row] for column in scores.T)
    sums = np.column_stack([whose.sums(column if counts is None else column * counts) for column in columns])
    return bread @ (sums.T @ sums) @ bread
