"""Drawing whole patients again, to see how much the figures hang on who came."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.stats.estimate import Estimate


def cluster_weights(clusters: np.ndarray, *, draws: int, rng: np.random.Generator) -> Iterator[np.ndarray]:
    """Draw clusters with replacement; give how often each row then counts.

    Parameters
    ----------
    clusters : numpy.ndarray, shape (n,)
        Whose row it is: any hashable labels.
    draws : int
        How many times.
    rng : numpy.random.Generator

    Yields
    ------
    numpy.ndarray of float, shape (n,)
        Whole numbers; rows of one cluster share theirs.

    Notes
    -----
    The clusters are taken in the order of their labels, so the order of the
    rows does not matter. Cluster bootstrap, Davison and Hinkley (1997),
    Bootstrap Methods and their Application, section 3.8.

    Examples
    --------
    >>> weights = next(cluster_weights(np.array(["a", "a", "b"]), draws=1, rng=np.random.default_rng(1)))
    >>> bool(weights[0] == weights[1]), float(weights[0] + weights[2])
    (True, 2.0)
    """
    labels, which = np.unique(np.asarray(clusters).astype(str), return_inverse=True)
    even = np.full(len(labels), 1 / len(labels))
    for _ in range(draws):
        yield rng.multinomial(len(labels), even).astype(float)[which]


def percentile_range(value: float, base: float, drawn: np.ndarray, *, level: float, n: int, method: str) -> Estimate:
    """Give a figure the range its redraws show around their own base.

    Parameters
    ----------
    value : float
        The figure itself.
    base : float
        The same figure computed as the redraws are (fewer sessions, coarser cells).
    drawn : numpy.ndarray, shape (draws,)
        The redrawn figures.
    level : float
        How sure the range should be.
    n : int
        What it rests on.
    method : str
        How it was computed.

    Returns
    -------
    Estimate

    Notes
    -----
    Of R redraws the ends are those at place p (R + 1), between which a further
    redraw falls as often as the level says (Davison and Hinkley 1997, section
    5.2). Quantiles as usually taken stand further in: of 100 redraws, ends meant
    for 95% would hold 93.

    Examples
    --------
    >>> percentile_range(10.0, 9.0, np.array([8.0, 9.0, 10.0]), level=0.5, n=3, method="").low
    9.0
    """
    low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2], method="weibull") - base
    return Estimate(value, value + float(low), value + float(high), level, n, method)
