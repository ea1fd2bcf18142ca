"""Two arms made alike by weights, or by weights and a model together."""

from __future__ import annotations

import numpy as np

from analysis.stats.influence import model_influence, predicted_and_slope
from analysis.stats.two_arms import TwoArms, arms_from_influence

STABILISED, OVERLAP = "stabilised", "overlap"


def balancing_weights(chance: np.ndarray, treated: np.ndarray, *, kind: str) -> np.ndarray:
    """Weigh each row so that both arms come to look alike.

    Parameters
    ----------
    chance : numpy.ndarray, shape (n,)
        Each row's chance of being treated, given its case mix; above 0 and below 1.
    treated : numpy.ndarray of bool, shape (n,)
    kind : {"stabilised", "overlap"}
        Stabilised: the arm's overall share over the row's own chance of its arm;
        both arms come to look like all rows. Overlap: the row's chance of the
        other arm; both come to look like the rows that might well have been in
        either, and no weight can run away.

    Returns
    -------
    numpy.ndarray of float, shape (n,)

    Notes
    -----
    Stabilised weights: Robins, Hernan and Brumback (2000), Epidemiology 11,
    550-560. Overlap weights: Li, Morgan and Zaslavsky (2018), Journal of the
    American Statistical Association 113, 390-400.

    Examples
    --------
    >>> chance, treated = np.array([0.5, 0.5, 0.25, 0.25]), np.array([True, False, True, False])
    >>> balancing_weights(chance, treated, kind="stabilised").round(2).tolist()
    [1.0, 1.0, 2.0, 0.67]
    >>> balancing_weights(chance, treated, kind="overlap").tolist()
    [0.5, 0.5, 0.75, 0.25]
    """
    treated = np.asarray(treated, dtype=bool)
    if kind == OVERLAP:
        return np.where(treated, 1 - chance, chance)
    share = treated.mean()
    return np.where(treated, share / chance, (1 - share) / (1 - chance))


def effective_rows(weights: np.ndarray) -> float:
    """Say how many equally weighted rows the weighted ones are worth (Kish 1965, Survey Sampling).

    Examples
    --------
    >>> effective_rows(np.array([1.0, 1, 1, 1])), effective_rows(np.array([2.0, 0, 0, 2]))
    (4.0, 2.0)
    """
    return float(weights.sum() ** 2 / (weights**2).sum())


def weighted_means(
    coefficients: np.ndarray,
    design: np.ndarray,
    treated: np.ndarray,
    outcome: np.ndarray,
    clusters: np.ndarray,
    *,
    kind: str,
) -> TwoArms:
    """Mean outcome of each arm, its rows weighted to look like the other arm's.

    Parameters
    ----------
    coefficients : numpy.ndarray, shape (k,)
        A logistic model of being treated, fitted on ``design``.
    design : numpy.ndarray, shape (n, k)
        The case mix, of full rank, without the treatment.
    treated : numpy.ndarray of bool, shape (n,)
    outcome, clusters : numpy.ndarray, shape (n,)
        The outcome, and whose row it is.
    kind : {"stabilised", "overlap"}
        See ``balancing_weights``.

    Returns
    -------
    TwoArms

    Notes
    -----
    Weights are made to sum to one in each arm (Hajek), which leaves stabilising
    without influence on the means: it only keeps the weights themselves readable.
    The covariance stacks the equations of the model of being treated on those of
    the means [1]_ and sums over patients, so that the weights count as estimated.

    References
    ----------
    .. [1] Lunceford and Davidian (2004), Statistics in Medicine 23, 2937-2960.

    Examples
    --------
    With nothing to adjust for, the weighted means are the plain ones.

    >>> treated = np.array([True, True, True, False, False, False])
    >>> outcome = np.array([1, 1, 0, 1, 0, 0])
    >>> arms = weighted_means(np.zeros(1), np.ones((6, 1)), treated, outcome, np.arange(6), kind="overlap")
    >>> round(arms.treated, 3), round(arms.untreated, 3), round(float(arms.covariance[0, 0]) * 27, 6)
    (0.667, 0.333, 2.0)
    """
    treated, outcome = np.asarray(treated, dtype=bool), np.asarray(outcome, dtype=float)
    chance, slope = predicted_and_slope(design @ coefficients, shares=True)
    weights = balancing_weights(chance, treated, kind=kind)
    if kind == OVERLAP:  # how each weight moves with the linear predictor
        change = np.where(treated, -slope, slope)
    else:
        change = np.where(treated, -weights * (1 - chance), weights * chance)
    by_row = model_influence(coefficients, design, treated, shares=True)
    means, influences = [], []
    for arm in (treated, ~treated):
        total = (weights * arm).sum()
        mean = (weights * arm * outcome).sum() / total
        gap = arm * (outcome - mean)
        gradient = design.T @ (change * gap)
        means.append(mean)
        influences.append((weights * gap + by_row @ gradient) / total)
    method = f"{kind} weights from a logistic model of who is softened, patients clustered"
    return arms_from_influence(np.array(means), np.column_stack(influences), clusters, treated, method)


def doubly_robust_means(
    chance_coefficients: np.ndarray,
    outcome_coefficients: np.ndarray,
    design: np.ndarray,
    treated: np.ndarray,
    outcome: np.ndarray,
    clusters: np.ndarray,
    *,
    shares: bool,
) -> TwoArms:
    """Mean outcome of each arm from a model of the outcome, mended by one of being treated.

    Right on average if either model is right.

    Parameters
    ----------
    chance_coefficients : numpy.ndarray, shape (k,)
        A logistic model of being treated, fitted on ``design``.
    outcome_coefficients : numpy.ndarray, shape (k + 1,)
        A model of the outcome, fitted on ``design`` and the treatment as last column.
    design : numpy.ndarray, shape (n, k)
        The case mix, without the treatment.
    treated : numpy.ndarray of bool, shape (n,)
    outcome, clusters : numpy.ndarray, shape (n,)
        The outcome, and whose row it is.
    shares : bool
        True where the model of the outcome is logistic, False where it is linear.

    Returns
    -------
    TwoArms

    Notes
    -----
    Augmented inverse-probability weighting [1]_; the covariance stacks both
    models' equations on those of the means and sums over patients.

    References
    ----------
    .. [1] Robins, Rotnitzky and Zhao (1994), Journal of the American Statistical Association 89, 846-866.
    """
    treated, outcome = np.asarray(treated, dtype=bool), np.asarray(outcome, dtype=float)
    chance, _ = predicted_and_slope(design @ chance_coefficients, shares=True)
    full = np.column_stack([design, treated])
    of_chance = model_influence(chance_coefficients, design, treated, shares=True)
    of_outcome = model_influence(outcome_coefficients, full, outcome, shares=shares)
    means, influences = [], []
    for arm, value in ((treated, 1.0), (~treated, 0.0)):
        set_to = np.column_stack([design, np.full(len(design), value)])
        predicted, slope = predicted_and_slope(set_to @ outcome_coefficients, shares=shares)
        inverse = arm / np.where(arm, np.where(treated, chance, 1 - chance), 1.0)
        mended = predicted + inverse * (outcome - predicted)
        sign = np.where(treated, -(1 - chance), chance)
        from_chance = design.T @ (inverse * sign * (outcome - predicted)) / len(design)
        from_outcome = set_to.T @ (slope * (1 - inverse)) / len(design)
        means.append(mended.mean())
        influences.append((mended - mended.mean()) / len(design) + of_chance @ from_chance + of_outcome @ from_outcome)
    method = "doubly robust: a model of the outcome and one of who is softened, patients clustered"
    return arms_from_influence(np.array(means), np.column_stack(influences), clusters, treated, method)
