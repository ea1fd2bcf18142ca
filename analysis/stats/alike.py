"""How alike rows of the same cluster end, in clusters within clusters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd


@dataclass(frozen=True, slots=True)
class Alike:
    """Correlations of two rows, and what clusters do to a variance.

    Attributes
    ----------
    inner : float
        Correlation of two rows of the same inner cluster (a patient's two ears).
    outer : float
        Correlation of rows of different inner clusters in the same outer one (different
        patients in the same week). Both between -1 and 1, below 0 by chance alone.
    inner_size, outer_size : float
        Rows that share a cluster with a row, itself included, on average over rows.
    """

    inner: float
    outer: float
    inner_size: float
    outer_size: float

    def design_effect(self, least_outer: float = 0.0) -> float:
        """How many times independent rows are needed where chance decides by outer cluster.

        Negative correlations count as nought, the outer one as at least ``least_outer``.
        """
        outer = max(self.outer, least_outer)
        return 1 + (self.inner_size - 1) * max(self.inner, outer) + (self.outer_size - self.inner_size) * outer


def alike(residuals: np.ndarray, inner: np.ndarray, outer: np.ndarray) -> Alike:
    """Correlate rows of the same inner and of the same outer cluster.

    Parameters
    ----------
    residuals : numpy.ndarray, shape (n,)
        What is left of each row after its group's mean; not all nought.
    inner, outer : numpy.ndarray, shape (n,)
        Names of both clusters; rows of an inner cluster in two outer ones count
        as two inner clusters.

    Returns
    -------
    Alike

    Notes
    -----
    Moments: the mean product of all pairs over the mean square. Every pair
    counts the same, so that large weeks count for more, as they do in a trial.

    References
    ----------
    .. [1] Donner and Klar (2000), Design and Analysis of Cluster Randomization Trials, chapter 1.

    Examples
    --------
    Two ears of a patient always end alike; patients of a week have nothing in common.

    >>> found = alike(np.array([1.0, 1, -1, -1] * 2), np.repeat([1, 2, 3, 4], 2), np.repeat([1, 2], 4))
    >>> found.inner, found.outer, found.inner_size, found.outer_size
    (1.0, -1.0, 2.0, 4.0)
    """
    rows = pd.DataFrame({"r": residuals, "square": residuals**2, "inner": inner, "outer": outer, "rows": 1.0})
    by_inner = rows.groupby(["outer", "inner"], observed=True)[["r", "square", "rows"]].sum()
    by_outer = by_inner.groupby(level="outer").sum()
    variance = float(rows["square"].mean())
    inner_sum = float((by_inner["r"] ** 2 - by_inner["square"]).sum())
    inner_pairs = float((by_inner["rows"] * (by_inner["rows"] - 1)).sum())
    outer_sum = float((by_outer["r"] ** 2).sum() - (by_inner["r"] ** 2).sum())
    outer_pairs = float((by_outer["rows"] ** 2).sum() - (by_inner["rows"] ** 2).sum())
    return Alike(
        inner_sum / inner_pairs / variance if inner_pairs else 0.0,
        outer_sum / outer_pairs / variance if outer_pairs else 0.0,
        float((by_inner["rows"] ** 2).sum() / len(rows)),
        float((by_outer["rows"] ** 2).sum() / len(rows)),
    )
