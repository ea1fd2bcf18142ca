"""Ears counted by grade and first method; those seen too rarely for a figure are pooled."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

POOLED = "pooled"
"""Stands in a cell's name for all rare first methods of its grade."""


@dataclass(frozen=True, eq=False)
class EarCells:
    """How many ears of each grade and first method each visit had.

    Attributes
    ----------
    counts : numpy.ndarray, shape (visits, cells)
        0, 1 or 2 ears.
    cells : list of (str, str)
        Grade and first method of each column; ``pooled`` stands for the rare
        methods of a grade together.
    seen : pandas.DataFrame
        One row a grade and first method in the log: ``grade``,
        ``first_method``, ``ears``, ``visits`` and ``column``: which of
        ``cells`` it is counted in, -1 where its visits are left out.
    column_of_ear : numpy.ndarray, shape (ears,)
        Each ear's column, -1 where its visit is left out.
    """

    counts: np.ndarray
    cells: list[tuple[str, str]]
    seen: pd.DataFrame
    column_of_ear: np.ndarray

    @property
    def has_own_figure(self) -> pd.Series:
        """Whether each row of ``seen`` has a column to itself."""
        own = {cell: column for column, cell in enumerate(self.cells)}
        pairs = zip(self.seen["grade"], self.seen["first_method"], self.seen["column"], strict=True)
        return pd.Series([own.get((grade, method)) == column for grade, method, column in pairs], dtype=bool)


def ear_cells(ears: pd.DataFrame, *, visits: int, fewest_visits: int) -> EarCells:
    """Count each visit's worked ears by grade and first method.

    Parameters
    ----------
    ears : pandas.DataFrame
        ``visit`` (0 to ``visits`` - 1), ``grade`` and ``first_method``.
    visits : int
        How many visits there are, those without a worked ear included.
    fewest_visits : int
        Visits a grade and first method needs for a figure of its own.

    Returns
    -------
    EarCells

    Notes
    -----
    The rule for rare cells: a grade's rare first methods are pooled with each
    other; where they are too few even so, they count with the grade's
    commonest first method. Either way they show no figure. A grade without
    any common first method, and too few in all, is left out with its visits.

    Examples
    --------
    >>> ears = pd.DataFrame({"visit": [0, 0, 1, 2], "grade": ["clear"] * 4,
    ...     "first_method": ["forceps", "fine_suction", "fine_suction", "fine_suction"]})
    >>> cells = ear_cells(ears, visits=4, fewest_visits=2)
    >>> cells.cells, cells.counts.ravel().tolist()
    ([('clear', 'fine_suction')], [2.0, 1.0, 1.0, 0.0])
    """
    if ears.empty:
        nothing = pd.DataFrame(columns=["grade", "first_method", "ears", "visits", "column"])
        return EarCells(np.zeros((visits, 0)), [], nothing, np.array([], dtype=int))
    grade, grades = pd.factorize(ears["grade"].astype("str"), sort=True)
    method, methods = pd.factorize(ears["first_method"].astype("str"), sort=True)
    which, pairs = pd.factorize(grade * len(methods) + method, sort=True)
    own = pd.DataFrame({"pair": which, "visit": ears["visit"].to_numpy()})
    seen = pd.DataFrame(
        {"grade": grades[pairs // len(methods)], "first_method": methods[pairs % len(methods)]}, dtype="object"
    )
    seen["ears"] = np.bincount(which, minlength=len(pairs)).astype(int)
    seen["visits"] = own.groupby("pair")["visit"].nunique().to_numpy(dtype=int)
    names = _names(seen, own, fewest_visits)
    cells = sorted({name for name in names if name is not None})
    seen["column"] = [-1 if name is None else cells.index(name) for name in names]
    column_of_ear = seen["column"].to_numpy()[which]
    counts = np.zeros((visits, len(cells)))
    inside = column_of_ear >= 0
    np.add.at(counts, (ears["visit"].to_numpy()[inside], column_of_ear[inside]), 1.0)
    return EarCells(counts, cells, seen, column_of_ear)


def _names(seen: pd.DataFrame, own: pd.DataFrame, fewest: int) -> list[tuple[str, str] | None]:
    """Name the cell each grade and first method is counted in; None where it is in none."""
    names: list[tuple[str, str] | None] = list(zip(seen["grade"], seen["first_method"], strict=True))
    ears, too_few = seen["ears"].to_numpy(), seen["visits"].to_numpy() < fewest
    for grade in seen["grade"].unique():
        rare = np.flatnonzero((seen["grade"] == grade) & too_few)
        common = np.flatnonzero((seen["grade"] == grade) & ~too_few)
        together = own.loc[own["pair"].isin(rare), "visit"].nunique()
        if together >= fewest:
            name: tuple[str, str] | None = (str(grade), POOLED)
        else:
            name = names[common[ears[common].argmax()]] if len(common) else None
        for row in rare:
            names[row] = name
    return names
