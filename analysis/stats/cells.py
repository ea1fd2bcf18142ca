"""Rows alike in every column, put together: what a fit costs then goes with the cells, not with the rows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

MOST_NUMBERS = 2**62
"""As many cells as whole numbers can tell apart."""


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Which rows are alike.

    Attributes
    ----------
    first : numpy.ndarray, shape (cells,)
        Place of each cell's first row; cells stand in the order of these.
    of_row : numpy.ndarray, shape (n,)
        The cell of each row.
    size : numpy.ndarray, shape (cells,)
        Rows of each cell.
    """

    first: np.ndarray
    of_row: np.ndarray
    size: np.ndarray

    def sums(self, amounts: np.ndarray) -> np.ndarray:
        """Add up an amount of each row by cell.

        Parameters
        ----------
        amounts : numpy.ndarray, shape (n,) or (n, k)

        Returns
        -------
        numpy.ndarray, shape (cells,) or (cells, k)
        """
        if amounts.ndim == 1:
            return np.bincount(self.of_row, amounts, minlength=len(self.size))
        return np.column_stack([self.sums(column) for column in amounts.T])


def cells_of(*columns: np.ndarray) -> Cells:
    """Put rows together that are alike in every column.

    Parameters
    ----------
    *columns : numpy.ndarray, shape (n,) or (n, k)
        Numbers or labels; a blank is alike to a blank.

    Returns
    -------
    Cells

    Notes
    -----
    Each column's different values are numbered, noughts and ones by themselves,
    and the numbers of all columns are joined into one: no sorting.

    Examples
    --------
    >>> found = cells_of(np.array([[1.0, 0.0], [1.0, 1.0], [1.0, 0.0]]))
    >>> found.first.tolist(), found.of_row.tolist(), found.size.tolist()
    ([0, 1], [0, 1, 0], [2, 1])
    """
    flat = [part for column in columns for part in (column.T if column.ndim == 2 else (column,))]
    of_row, known = pd.factorize(flat[0] if len(flat) == 1 else _joined(flat), use_na_sentinel=False)
    first = np.empty(len(known), dtype=np.int64)
    first[of_row[::-1]] = np.arange(len(of_row))[::-1]
    return Cells(first, of_row, np.bincount(of_row, minlength=len(known)))


def _joined(columns: list[np.ndarray]) -> np.ndarray:
    """Give each row one number for its values in all columns."""
    of_row, so_far = np.zeros(len(columns[0]), dtype=np.int64), 1
    for column in columns:
        numbers, different = _numbered(column)
        if so_far * different > MOST_NUMBERS:
            of_row, known = pd.factorize(of_row)
            so_far = len(known)
        of_row *= different
        of_row += numbers
        so_far *= different
    return of_row


def _numbered(column: np.ndarray) -> tuple[np.ndarray, int]:
    """Give each row a number for its value, and how many numbers that takes."""
    if column.dtype.kind in "bif" and ((column == 0) | (column == 1)).all():
        return column.astype(np.int64), 2
    numbers, different = pd.factorize(column, use_na_sentinel=False)
    return numbers, max(len(different), 1)
