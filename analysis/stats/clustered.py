"""Uncertainty where several rows belong to one patient."""

from __future__ import annotations

import numpy as np

from analysis.stats.cells import cells_of


def clustered_covariance(bread: np.ndarray, scores: np.ndarray, clusters: np.ndarray) -> np.ndarray:
    """Covariance of estimates that lets rows of one patient go together.

    Parameters
    ----------
    bread : numpy.ndarray, shape (k, k)
        Inverse of the summed (expected or observed) information.
    scores : numpy.ndarray, shape (n, k)
        Each row's score (derivative of its log-likelihood) at the estimates.
    clusters : numpy.ndarray, shape (n,)
        Whose row it is: any hashable labels.

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
    sums = cells_of(np.asarray(clusters)).sums(scores)
    return bread @ (sums.T @ sums) @ bread
