"""Every way of comparing two arms, done again with patients drawn anew."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from analysis.stats.resampling import cluster_weights
from analysis.stats.weighted_arms import OVERLAP, STABILISED, balancing_weights

NEWTON_STEPS = 2
"""From the whole log's fit a redrawn one is near; two steps of Newton leave nothing visible."""


@dataclass(frozen=True, eq=False)
class FittedArms:
    """Two arms and the two models that make them alike.

    Attributes
    ----------
    design : numpy.ndarray, shape (n, k)
        The case mix as fitted: a constant first, without the treatment.
    treated : numpy.ndarray of bool, shape (n,)
    outcome, clusters : numpy.ndarray, shape (n,)
        The outcome, and whose row it is.
    shares : bool
        True where the model of the outcome is logistic, False where it is linear.
    of_chance : numpy.ndarray, shape (k,)
        Coefficients of the logistic model of being treated.
    of_outcome : numpy.ndarray, shape (k + 1,)
        Those of the model of the outcome; the treatment's last.
    """

    design: np.ndarray
    treated: np.ndarray
    outcome: np.ndarray
    clusters: np.ndarray
    shares: bool
    of_chance: np.ndarray
    of_outcome: np.ndarray

    @property
    def chance(self) -> np.ndarray:
        """Each row's chance of being treated, given its case mix."""
        return expit(self.design @ self.of_chance)


def redrawn_means(fitted: FittedArms, *, draws: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Both arms' means under every estimator, patients drawn anew again and again.

    Both models are fitted anew in every draw.

    Parameters
    ----------
    fitted : FittedArms
    draws : int
    rng : numpy.random.Generator

    Returns
    -------
    dict of str to numpy.ndarray, shape (draws, 2)
        By estimator (``unadjusted``, ``standardised``, ``weighted``,
        ``overlap_weighted``, ``doubly_robust``), (treated, untreated) of each draw.
    """
    drawn = []
    for counts in cluster_weights(fitted.clusters, draws=draws, rng=rng):
        chance = expit(fitted.design @ _refitted(fitted.design, fitted.treated, counts, fitted.of_chance, shares=True))
        full = np.column_stack([fitted.design, fitted.treated])
        model = _refitted(full, fitted.outcome, counts, fitted.of_outcome, shares=fitted.shares)
        drawn.append(_means(fitted, chance, model, counts))
    return {name: np.array([means[name] for means in drawn]) for name in drawn[0]}


def _refitted(
    design: np.ndarray, outcome: np.ndarray, counts: np.ndarray, start: np.ndarray, *, shares: bool
) -> np.ndarray:
    """Fit a model to rows that count so often, from a start that is near."""
    coefficients = start
    for _ in range(NEWTON_STEPS if shares else 1):
        linear = design @ coefficients
        fitted = expit(linear) if shares else linear
        slope = counts * (fitted * (1 - fitted) if shares else 1.0)
        information = design.T @ (design * slope[:, None])
        scores = design.T @ (counts * (outcome - fitted))
        coefficients = coefficients + np.linalg.lstsq(information, scores, rcond=None)[0]
    return coefficients


def _means(
    fitted: FittedArms, chance: np.ndarray, model: np.ndarray, counts: np.ndarray
) -> dict[str, tuple[float, float]]:
    """Give (treated, untreated) under every estimator, rows counting so often."""
    treated, outcome = fitted.treated, fitted.outcome
    linear = fitted.design @ model[:-1]
    foretold = [expit(linear + shift) if fitted.shares else linear + shift for shift in (model[-1], 0.0)]
    mended = [
        predicted + arm / own * (outcome - predicted)
        for predicted, arm, own in zip(foretold, (treated, ~treated), (chance, 1 - chance), strict=True)
    ]
    weights = {
        "unadjusted": np.ones(len(chance)),
        "weighted": balancing_weights(chance, treated, kind=STABILISED),
        "overlap_weighted": balancing_weights(chance, treated, kind=OVERLAP),
    }
    pairs = {"standardised": foretold, "doubly_robust": mended}
    return {name: _pair(pair, [counts, counts]) for name, pair in pairs.items()} | {
        name: _pair([outcome, outcome], [counts * weight * treated, counts * weight * ~treated])
        for name, weight in weights.items()
    }


def _pair(values: list[np.ndarray], weights: list[np.ndarray]) -> tuple[float, float]:
    """Average both arms' values under their weights."""
    first, second = (float(np.average(value, weights=weight)) for value, weight in zip(values, weights, strict=True))
    return first, second
