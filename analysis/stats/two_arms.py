"""Two arms compared: their means, plain or standardised, and how sure both are together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.stats.influence import Averages, Shifts, Target, averaged_predictions, patient_shifts

TREATED, UNTREATED = 0, 1


@dataclass(frozen=True, eq=False)
class TwoArms:
    """Mean outcome with and without a treatment, and their joint uncertainty.

    Attributes
    ----------
    treated, untreated : float
        Mean outcome of the arms: a share, or minutes.
    covariance : numpy.ndarray, shape (2, 2)
        Of (treated, untreated).
    n_treated, n_untreated : int
        Rows of each arm.
    method : str
        How the means were computed, in a few plain words.
    shifts : Shifts, optional
        How far each patient moves (treated, untreated), so that figures of the
        same patients can be weighed together.
    """

    treated: float
    untreated: float
    covariance: np.ndarray
    n_treated: int
    n_untreated: int
    method: str
    shifts: Shifts | None = None

    @property
    def difference_shifts(self) -> Shifts:
        """Say how far each patient moves the difference; without a record of it, nobody does."""
        if self.shifts is None:
            return Shifts(np.array([], dtype=str), np.zeros((0, 1)))
        return Shifts(self.shifts.patients, self.shifts.sums @ np.array([[1.0], [-1.0]]))

    def swapped(self) -> TwoArms:
        """Give the comparison the other way round."""
        turned = self.covariance[::-1, ::-1]
        shifts = None if self.shifts is None else Shifts(self.shifts.patients, self.shifts.sums[:, ::-1])
        return TwoArms(self.untreated, self.treated, turned, self.n_untreated, self.n_treated, self.method, shifts)


def plain_means(outcome: np.ndarray, treated: np.ndarray, clusters: np.ndarray) -> TwoArms:
    """Mean outcome of each arm as it stands, rows of one patient going together.

    Parameters
    ----------
    outcome : numpy.ndarray, shape (n,)
        0 or 1, or a measure such as minutes.
    treated : numpy.ndarray of bool, shape (n,)
        Each arm needs at least one row.
    clusters : numpy.ndarray, shape (n,)
        Whose row it is: any hashable labels.

    Returns
    -------
    TwoArms

    Notes
    -----
    Each row's influence on its arm's mean is (outcome - mean) / rows of the arm;
    the covariance sums these over patients and then their products (CR0). With
    one row a patient this is the usual variance p (1 - p) / n.

    Examples
    --------
    >>> arms = plain_means(np.array([1, 1, 0, 0, 1, 0]), np.array([1, 1, 1, 0, 0, 0], bool), np.arange(6))
    >>> round(arms.treated, 3), round(arms.untreated, 3), round(float(arms.covariance[0, 0]) * 27, 6)
    (0.667, 0.333, 2.0)
    """
    outcome = np.asarray(outcome, dtype=float)
    arms = np.column_stack([treated, ~np.asarray(treated, dtype=bool)]).astype(float)
    sizes = arms.sum(axis=0)
    means = (arms * outcome[:, None]).sum(axis=0) / sizes
    influence = arms * (outcome[:, None] - means) / sizes
    return arms_from_influence(means, influence, clusters, arms[:, 0] == 1, "plain shares or means, patients clustered")


def standardised_means(
    coefficients: np.ndarray,
    design: np.ndarray,
    treatment: int,
    outcome: np.ndarray,
    clusters: np.ndarray,
    *,
    shares: bool,
) -> TwoArms:
    """Mean outcome had everyone been treated, and had no one, over the case mix at hand.

    Parameters
    ----------
    coefficients : numpy.ndarray, shape (k,)
        A fitted logistic (``shares``) or least-squares model.
    design : numpy.ndarray, shape (n, k)
        The model's columns, of full rank.
    treatment : int
        Which column is the treatment, 0 or 1. It must enter by itself alone.
    outcome, clusters : numpy.ndarray, shape (n,)
        The outcome fitted, and whose row it is.
    shares : bool
        True where the model is logistic, False where it is linear.

    Returns
    -------
    TwoArms

    Notes
    -----
    G-computation [1]_: each row's outcome is predicted with the treatment set
    to 1 and to 0, and the predictions are averaged. The covariance stacks the
    model's estimating equations on those of the two averages [2]_, so that the
    case mix counts as a sample and not as fixed, and sums over patients first.
    It holds even where two ears of a patient succeed or fail together.

    References
    ----------
    .. [1] Robins (1986), Mathematical Modelling 7, 1393-1512.
    .. [2] Stefanski and Boos (2002), The American Statistician 56, 29-38.

    Examples
    --------
    With nothing to adjust for, the standardised means are the plain ones.

    >>> treated = np.array([1, 1, 1, 0, 0, 0], dtype=float)
    >>> outcome = np.array([5.0, 7.0, 9.0, 1.0, 2.0, 3.0])
    >>> design = np.column_stack([np.ones(6), treated])
    >>> arms = standardised_means(np.array([2.0, 5.0]), design, 1, outcome, np.arange(6), shares=False)
    >>> plain = plain_means(outcome, treated == 1, np.arange(6))
    >>> bool(np.allclose(arms.covariance, plain.covariance)), arms.treated, arms.untreated
    (True, 7.0, 2.0)
    """
    targets = []
    for value in (1.0, 0.0):
        set_to = design.copy()
        set_to[:, treatment] = value
        targets.append(Target(set_to))
    averages = averaged_predictions(coefficients, design, outcome, clusters, targets, shares=shares)
    sizes = np.array([design[:, treatment].sum(), (1 - design[:, treatment]).sum()])
    method = "standardised over the clinic's own case mix, patients clustered"
    return _of_sizes(averages, sizes, method)


def arms_from_influence(
    means: np.ndarray, influence: np.ndarray, clusters: np.ndarray, treated: np.ndarray, method: str
) -> TwoArms:
    """Put two means (treated, untreated) and each row's influence on them together, patients clustered."""
    sizes = np.array([np.sum(treated), np.sum(~np.asarray(treated, dtype=bool))])
    shifts = patient_shifts(influence, clusters)
    return _of_sizes(Averages(means, shifts.covariance, shifts), sizes, method)


def _of_sizes(both: Averages, sizes: np.ndarray, method: str) -> TwoArms:
    """Name the two means and their rows."""
    treated, untreated = (float(mean) for mean in both.means)
    return TwoArms(treated, untreated, both.covariance, int(sizes[0]), int(sizes[1]), method, both.shifts)
