"""Pairs of facts that move who is treated together, beyond what each does by itself."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from scipy.special import expit

from analysis.models.case_mix import FEWEST_IN_LEVEL
from analysis.models.case_mix_fit import fitted_coefficients
from analysis.problems import NotEnough
from analysis.stats.cells import Cells, cells_of

FEWEST_OF_A_PAIR = 25
"""Rows of either arm in which both facts hold, for the pair to be tried (our choice, no source)."""
MOST_PAIRS = 10
"""Pairs added at most, the clearest first: in a log of a million visits ever smaller ones are certain (our choice)."""
NEW = 1e-6
"""Share of a pair's spread that the facts by themselves must leave unsaid."""


def with_pairs(design: np.ndarray, *, treated: np.ndarray, outcome: np.ndarray | None) -> np.ndarray:
    """Add the pairs of case-mix columns that say more of who is treated than chance would.

    Parameters
    ----------
    design : numpy.ndarray, shape (n, k)
        The case mix, a constant first.
    treated : numpy.ndarray of bool, shape (n,)
    outcome : numpy.ndarray of bool, shape (n,) or None
        A yes or no, of which a pair must hold enough of either; None for a measure.

    Returns
    -------
    numpy.ndarray, shape (n, k + pairs)

    Raises
    ------
    NotEnough
        If some fact decides who is treated.

    Notes
    -----
    Hard wax in a full ear may bring advice that neither brings alone. A model of who is treated without the pair then
    leaves the arms unlike, which the largest log does not heal: on simulated clinics of 100,000 visits the weighted
    difference was a third of a success in 100 too low. So the model grows with the log [1]_: the pair with the largest
    score test [2]_ is added, up to ten times, while the test exceeds the logarithm of the rows and twice that of the pairs
    tried (the extended Bayes criterion [3]_). A small log adds none.

    References
    ----------
    .. [1] Hirano, Imbens and Ridder (2003), Econometrica 71, 1161-1189.
    .. [2] Rao (1948), Proc. Camb. Phil. Soc. 44, 50-57.
    .. [3] Chen and Chen (2008), Biometrika 95, 759-771.

    Examples
    --------
    Advice goes with hard wax in full ears, and with neither alone.

    >>> hard, full = np.tile([0, 0, 1, 1], 500), np.tile([0, 1, 0, 1], 500)
    >>> advised = (np.arange(2000) // 4) % 10 < np.where(hard & full, 9, 2)
    >>> with_pairs(np.column_stack([np.ones(2000), hard, full]), treated=advised, outcome=None).shape
    (2000, 4)
    """
    alike = cells_of(design, treated) if outcome is None else cells_of(design, treated, outcome)
    cells, arm = design[alike.first], np.asarray(treated, dtype=bool)[alike.first]
    marks = [arm, ~arm] if outcome is None else [arm, ~arm, outcome[alike.first], ~outcome[alike.first]]
    fewest = [FEWEST_OF_A_PAIR] * 2 + [FEWEST_IN_LEVEL] * 2
    pairs = _enough_pairs(cells, alike, marks, fewest)
    least = np.log(len(design)) + 2 * np.log(max(len(pairs), 1))
    taken: list[tuple[int, int]] = []
    while len(taken) < min(len(pairs), MOST_PAIRS):
        try:
            tests = _score_tests(cells, taken, arm, alike.size)
        except NotEnough:
            if not taken:
                raise
            taken.pop()  # with this pair some mixture of facts is certain
            break
        best = max(pairs, key=lambda pair: float(tests[pair]))
        if tests[best] <= least:
            break
        taken.append(best)
    return _with(design, taken)


def _with(design: np.ndarray, pairs: list[tuple[int, int]]) -> np.ndarray:
    """Add products of columns."""
    return np.column_stack([design, *(design[:, i] * design[:, j] for i, j in pairs)])


def _enough_pairs(cells: np.ndarray, alike: Cells, marks: list[np.ndarray], fewest: list[int]) -> list[tuple[int, int]]:
    """List the pairs of columns that hold together in enough rows of either arm and outcome."""
    holds = cells != 0
    together = [holds.T @ (holds * (alike.size * mark)[:, None]) for mark in marks]
    return [
        (i, j)
        for i, j in combinations(range(1, cells.shape[1]), 2)
        if all(count[i, j] >= least for count, least in zip(together, fewest, strict=False))
    ]


def _score_tests(facts: np.ndarray, taken: list[tuple[int, int]], treated: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Test each pair's absence from the model of who is treated, shape (facts, facts): chi-square, one degree of freedom."""
    design = _with(facts, taken)
    chance = expit(design @ fitted_coefficients(design, treated, shares=True, counts=size))
    slope, score = size * chance * (1 - chance), size * (treated - chance)
    information = (design * slope[:, None]).T @ design
    tests = np.zeros((facts.shape[1], facts.shape[1]))
    for place, fact in enumerate(facts.T):  # all pairs of one fact at once
        within = (design * (slope * fact)[:, None]).T @ facts
        spread = (slope * fact**2) @ facts**2
        left = spread - (within * np.linalg.lstsq(information, within, rcond=None)[0]).sum(axis=0)
        new = left > NEW * spread
        tests[place, new] = ((score * fact) @ facts)[new] ** 2 / left[new]
    return tests
