"""Softening compared in every way side by side, with patients drawn anew beside the formulas."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.models.adjusted import Compared, compared_arms
from analysis.models.softening_material import Material
from analysis.stats.redrawn_arms import redrawn_means

ESTIMATORS = ("unadjusted", "standardised", "weighted", "overlap_weighted", "doubly_robust")


@dataclass(frozen=True, eq=False)
class SideBySide:
    """One outcome and contrast compared in every way.

    Attributes
    ----------
    material : Material
        What it was fitted on.
    compared : Compared
        Both arms by estimator.
    level : float
        How sure ranges are.
    redrawn_error_ratio : dict of str to float
        By estimator: the spread of the difference over patients drawn anew,
        over the standard error of the formula; near 1 where both agree. Empty
        where nothing was drawn.
    """

    material: Material
    compared: Compared
    level: float
    redrawn_error_ratio: dict[str, float]


def side_by_side(
    material: Material, *, level: float, draws: int = 0, rng: np.random.Generator | None = None
) -> SideBySide:
    """Compare two arms in five ways.

    Parameters
    ----------
    material : Material
    level : float
        How sure ranges should be.
    draws : int, optional
        How often patients are drawn anew, to hold against the formulas.
    rng : numpy.random.Generator, optional
        Needed where patients are drawn.

    Returns
    -------
    SideBySide

    Raises
    ------
    NotEnough
        If the arms cannot be told apart from the case mix.
    """
    compared = compared_arms(
        material.columns,
        treated=material.treated,
        outcome=material.outcome,
        clusters=material.sample.whose,
        shares=material.shares,
    )
    ratios: dict[str, float] = {}
    if draws and rng is not None:
        for name, pairs in redrawn_means(compared.fitted, draws=draws, rng=rng).items():
            spread = float((pairs[:, 0] - pairs[:, 1]).std(ddof=1))
            ratios[name] = spread / standard_error(compared, name)
    return SideBySide(material, compared, level, ratios)


def standard_error(compared: Compared, estimator: str) -> float:
    """Give the standard error of one estimator's difference."""
    gap = np.array([1.0, -1.0])
    return float(np.sqrt(gap @ compared.arms[estimator].covariance @ gap))


def design_effect(compared: Compared) -> float:
    """How many times as large the plain difference's variance is as that of independent ears."""
    arms = compared.arms["unadjusted"]
    independent = arms.treated * (1 - arms.treated) / arms.n_treated
    independent += arms.untreated * (1 - arms.untreated) / arms.n_untreated
    return standard_error(compared, "unadjusted") ** 2 / independent
