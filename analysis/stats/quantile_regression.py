"""Lines that a share of the amounts stays below: quantile regression, solved exactly."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog

from analysis.stats.cells import cells_of


class NoLine(ArithmeticError):
    """No line was found: the columns depend on each other, or the search did not end."""


def quantile_line(design: np.ndarray, amounts: np.ndarray, share: float) -> np.ndarray:
    """Parameters of the line that a share of the amounts stays below.

    Parameters
    ----------
    design : numpy.ndarray, shape (n, k)
        One row an observation; its columns must not depend on each other.
    amounts : numpy.ndarray, shape (n,)
    share : float
        Strictly between 0 and 1.

    Returns
    -------
    numpy.ndarray, shape (k,)

    Raises
    ------
    NoLine
        If the columns depend on each other or the search does not end.

    Notes
    -----
    Least pinball loss [1]_ as a linear programme, solved in its dual form:
    weights between 0 and how often a row is there, as many as the share asks
    for; the line's parameters are the prices of the dual's constraints. Rows
    alike in design and amount are put together first, which changes nothing.

    References
    ----------
    .. [1] Koenker and Bassett (1978), Econometrica 46, 33-50.

    Examples
    --------
    Half of 1, 2 and 9 stay within 2; nine in ten within 9.

    >>> ones, amounts = np.ones((3, 1)), np.array([1.0, 2.0, 9.0])
    >>> quantile_line(ones, amounts, 0.5).tolist(), quantile_line(ones, amounts, 0.9).tolist()
    ([2.0], [9.0])
    """
    alike = cells_of(design, amounts)
    cells, values, counts = design[alike.first], amounts[alike.first], alike.size.astype(float)
    if np.linalg.matrix_rank(cells) < design.shape[1]:
        raise NoLine("columns depend on each other")
    found = linprog(
        -values,
        A_eq=cells.T,
        b_eq=(1 - share) * (cells.T @ counts),
        bounds=np.column_stack([np.zeros(len(counts)), counts]),
        method="highs",
    )
    if found.status != 0:
        raise NoLine(found.message)
    return -np.asarray(found.eqlin.marginals)
