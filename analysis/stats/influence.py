"""Averages of what a fitted model foretells, and how sure they are together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import expit


@dataclass(frozen=True, eq=False)
class Shifts:
    """How far each patient moves some figures.

    Attributes
    ----------
    patients : numpy.ndarray of str, shape (p,)
        Each once, in order.
    sums : numpy.ndarray, shape (p, k)
        Influences of a patient's rows on each figure, added up.
    """

    patients: np.ndarray
    sums: np.ndarray

    @property
    def covariance(self) -> np.ndarray:
        """Multiply the patients' shifts out (CR0); shape (k, k)."""
        return self.sums.T @ self.sums


@dataclass(frozen=True, eq=False)
class Averages:
    """Several averages and their joint uncertainty.

    Attributes
    ----------
    means : numpy.ndarray, shape (k,)
    covariance : numpy.ndarray, shape (k, k)
        Rows of one patient going together.
    shifts : Shifts, optional
        How far each patient moves each average.
    """

    means: np.ndarray
    covariance: np.ndarray
    shifts: Shifts | None = None


@dataclass(frozen=True, eq=False)
class Target:
    """One average wanted: the model's columns as they are to be set, and the rows to average over.

    Attributes
    ----------
    design : numpy.ndarray, shape (n, k)
    rows : numpy.ndarray of bool, shape (n,), optional
        Without it, all rows.
    """

    design: np.ndarray
    rows: np.ndarray | None = None


def averaged_predictions(
    coefficients: np.ndarray,
    design: np.ndarray,
    outcome: np.ndarray,
    clusters: np.ndarray,
    targets: Sequence[Target],
    *,
    shares: bool,
) -> Averages:
    """Average what a fitted model foretells, had its columns been set otherwise.

    Parameters
    ----------
    coefficients : numpy.ndarray, shape (k,)
        A fitted logistic (``shares``) or least-squares model.
    design : numpy.ndarray, shape (n, k)
        The columns it was fitted on, of full rank.
    outcome, clusters : numpy.ndarray, shape (n,)
        The outcome fitted, and whose row it is.
    targets : sequence of Target
        One an average.
    shares : bool
        True where the model is logistic, False where it is linear.

    Returns
    -------
    Averages
        In the order of the targets.

    Notes
    -----
    G-computation [1]_. The covariance stacks the model's estimating equations on
    those of the averages [2]_, so that the rows averaged over count as a sample
    and not as fixed, and sums over patients first.

    References
    ----------
    .. [1] Robins (1986), Mathematical Modelling 7, 1393-1512.
    .. [2] Stefanski and Boos (2002), The American Statistician 56, 29-38.

    Examples
    --------
    >>> design = np.column_stack([np.ones(4), [1.0, 1, 0, 0]])
    >>> outcome = np.array([5.0, 7, 1, 3])
    >>> set_to_one = Target(np.ones((4, 2)))
    >>> averages = averaged_predictions(np.array([2.0, 4]), design, outcome, np.arange(4), [set_to_one], shares=False)
    >>> averages.means.tolist(), averages.covariance.tolist()
    ([6.0], [[0.5]])
    """
    by_row = model_influence(coefficients, design, outcome, shares=shares)
    means, influences = [], []
    for target in targets:
        rows = np.ones(len(design), dtype=bool) if target.rows is None else target.rows
        predicted, change = predicted_and_slope(target.design @ coefficients, shares=shares)
        mean = predicted[rows].mean()
        gradient = (target.design * (change * rows)[:, None]).sum(axis=0) / rows.sum()
        means.append(mean)
        influences.append(rows * (predicted - mean) / rows.sum() + by_row @ gradient)
    shifts = patient_shifts(np.column_stack(influences), clusters)
    return Averages(np.array(means), shifts.covariance, shifts)


def model_influence(coefficients: np.ndarray, design: np.ndarray, outcome: np.ndarray, *, shares: bool) -> np.ndarray:
    """Say how far each row moves each coefficient of a fitted logistic or least-squares model; shape (n, k)."""
    fitted, slope = predicted_and_slope(design @ coefficients, shares=shares)
    bread = np.linalg.inv(design.T @ (design * slope[:, None]))
    return (design * (np.asarray(outcome, dtype=float) - fitted)[:, None]) @ bread


def predicted_and_slope(linear: np.ndarray, *, shares: bool) -> tuple[np.ndarray, np.ndarray]:
    """Give the prediction and its slope on the linear predictor."""
    if not shares:
        return linear, np.ones_like(linear)
    chance = expit(linear)
    return chance, chance * (1 - chance)


def patient_shifts(influence: np.ndarray, clusters: np.ndarray) -> Shifts:
    """Sum influences patient by patient.

    Parameters
    ----------
    influence : numpy.ndarray, shape (n, k)
        How far each row moves each figure.
    clusters : numpy.ndarray, shape (n,)
        Whose row it is: any hashable labels.

    Returns
    -------
    Shifts

    Examples
    --------
    >>> shifts = patient_shifts(np.array([[1.0], [1.0], [-1.0]]), np.array(["a", "a", "b"]))
    >>> shifts.sums.ravel().tolist(), shifts.covariance.tolist()
    ([2.0, -1.0], [[5.0]])
    """
    patients, which = np.unique(np.asarray(clusters).astype(str), return_inverse=True)
    return Shifts(patients, np.column_stack([np.bincount(which, weights=column) for column in influence.T]))


def correlations(figures: Sequence[Shifts]) -> np.ndarray:
    """Say how far figures made from overlapping patients lean together.

    Parameters
    ----------
    figures : sequence of Shifts
        One figure each; rows used may differ, patients are matched by name.

    Returns
    -------
    numpy.ndarray, shape (k, k)
        Correlations of the figures' errors; a figure no patient moves goes with none.

    Examples
    --------
    >>> first = patient_shifts(np.array([[1.0], [-1.0]]), np.array(["a", "b"]))
    >>> second = patient_shifts(np.array([[2.0], [-2.0]]), np.array(["a", "c"]))
    >>> correlations([first, second]).round(2).tolist()
    [[1.0, 0.5], [0.5, 1.0]]
    """
    everyone = np.unique(np.concatenate([figure.patients for figure in figures]))
    matched = np.zeros((len(everyone), len(figures)))
    for column, figure in enumerate(figures):
        matched[np.searchsorted(everyone, figure.patients), column] = figure.sums[:, 0]
    sizes = np.linalg.norm(matched, axis=0)
    together = matched / np.where(sizes > 0, sizes, 1.0)
    found = together.T @ together
    np.fill_diagonal(found, 1.0)
    return found
