"""Two arms made alike: fit the outcome on the treatment and the case mix, then standardise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.case_mix import independent_columns
from analysis.models.case_mix_fit import fitted_coefficients
from analysis.models.case_mix_pairs import with_pairs
from analysis.problems import NotEnough
from analysis.stats.redrawn_arms import FittedArms
from analysis.stats.two_arms import TwoArms, plain_means, standardised_means
from analysis.stats.weighted_arms import OVERLAP, STABILISED, doubly_robust_means, weighted_means


def adjusted_arms(
    columns: pd.DataFrame, *, treated: np.ndarray, outcome: np.ndarray, clusters: np.ndarray, shares: bool
) -> TwoArms:
    """Mean outcome with and without treatment, the case mix made the same in both arms.

    Parameters
    ----------
    columns : pandas.DataFrame
        The case mix as numbers (levels as 0 and 1, or counts); may be empty of columns.
    treated : numpy.ndarray of bool, shape (n,)
    outcome : numpy.ndarray, shape (n,)
        0 and 1 where ``shares``, else a measure such as minutes.
    clusters : numpy.ndarray, shape (n,)
        Whose row it is.
    shares : bool
        Logistic regression for shares, least squares for a measure.

    Returns
    -------
    TwoArms

    Raises
    ------
    NotEnough
        If the treatment cannot be told apart from the case mix, or the fit
        finds a mixture of facts under which the outcome is certain.

    Examples
    --------
    Softened ears are the harder ones, so they only seem to do no better.

    >>> hard = np.repeat([1, 1, 0, 0], [40, 10, 10, 40])
    >>> treated = np.repeat([True, False, True, False], [40, 10, 10, 40])
    >>> success = np.concatenate([np.arange(40) < 24, np.arange(10) < 4, np.arange(10) < 9, np.arange(40) < 32])
    >>> arms = adjusted_arms(pd.DataFrame({"hard": hard}), treated=treated, outcome=success,
    ...                      clusters=np.arange(100), shares=True)
    >>> bool(success[treated].mean() < success[~treated].mean()), bool(arms.treated > arms.untreated + 0.1)
    (True, True)
    """
    full = np.column_stack([_with_pairs(columns, treated, outcome, shares=shares), treated])
    return standardised_means(
        fitted_coefficients(full, outcome, shares=shares), full, full.shape[1] - 1, outcome, clusters, shares=shares
    )


@dataclass(frozen=True, eq=False)
class Compared:
    """Two arms compared in every way, and the two models it rests on.

    Attributes
    ----------
    arms : dict of str to TwoArms
        By estimator: ``unadjusted``, ``standardised``, ``weighted`` (stabilised
        inverse-probability weights), ``overlap_weighted``, ``doubly_robust``.
    fitted : FittedArms
    """

    arms: dict[str, TwoArms]
    fitted: FittedArms


def compared_arms(
    columns: pd.DataFrame, *, treated: np.ndarray, outcome: np.ndarray, clusters: np.ndarray, shares: bool
) -> Compared:
    """Compare two arms as they are, standardised, weighted in two ways, and doubly robustly.

    Parameters
    ----------
    columns : pandas.DataFrame
        The case mix as numbers; may be empty of columns.
    treated : numpy.ndarray of bool, shape (n,)
    outcome : numpy.ndarray, shape (n,)
    clusters : numpy.ndarray, shape (n,)
        Whose row it is.
    shares : bool
        Logistic regression of the outcome for shares, least squares for a measure.

    Returns
    -------
    Compared

    Raises
    ------
    NotEnough
        As ``adjusted_arms``, and where some mixture of facts decides who is treated.

    Examples
    --------
    Softened ears are the harder ones; with one fact of two levels all ways of comparing like with like agree.

    >>> hard = np.repeat([1, 1, 0, 0], [40, 10, 10, 40])
    >>> treated = np.repeat([True, False, True, False], [40, 10, 10, 40])
    >>> success = np.concatenate([np.arange(40) < 24, np.arange(10) < 4, np.arange(10) < 8, np.arange(40) < 24])
    >>> arms = compared_arms(pd.DataFrame({"hard": hard}), treated=treated, outcome=success,
    ...                      clusters=np.arange(100), shares=True).arms
    >>> {name: round(pair.treated - pair.untreated, 2) for name, pair in arms.items()}
    {'unadjusted': 0.08, 'standardised': 0.2, 'weighted': 0.2, 'overlap_weighted': 0.2, 'doubly_robust': 0.2}
    """
    design = _with_pairs(columns, treated, outcome, shares=shares)
    full = np.column_stack([design, treated])
    of_chance = fitted_coefficients(design, treated, shares=True)
    of_outcome = fitted_coefficients(full, outcome, shares=shares)
    basis = (treated, outcome, clusters)
    arms = {
        "unadjusted": plain_means(outcome, treated, clusters),
        "standardised": standardised_means(of_outcome, full, full.shape[1] - 1, outcome, clusters, shares=shares),
        "weighted": weighted_means(of_chance, design, *basis, kind=STABILISED),
        "overlap_weighted": weighted_means(of_chance, design, *basis, kind=OVERLAP),
        "doubly_robust": doubly_robust_means(of_chance, of_outcome, design, *basis, shares=shares),
    }
    fitted = FittedArms(
        design,
        np.asarray(treated, dtype=bool),
        np.asarray(outcome, dtype=float),
        clusters,
        shares,
        of_chance,
        of_outcome,
    )
    return Compared(arms, fitted)


def _with_pairs(columns: pd.DataFrame, treated: np.ndarray, outcome: np.ndarray, *, shares: bool) -> np.ndarray:
    """Lay out the case mix, and pairs of its facts that go with who is treated."""
    return with_pairs(case_mix_design(columns, treated), treated=treated, outcome=outcome if shares else None)


def case_mix_design(columns: pd.DataFrame, treated: np.ndarray) -> np.ndarray:
    """Give a model's case-mix columns, a constant first, each saying something new.

    Parameters
    ----------
    columns : pandas.DataFrame
        The case mix as numbers; may be empty of columns.
    treated : numpy.ndarray, shape (n,) or (n, m)
        What is compared; must say something that the case mix does not.

    Returns
    -------
    numpy.ndarray, shape (n, k)

    Raises
    ------
    NotEnough
        If the treatment cannot be told apart from the case mix.
    """
    others = np.column_stack([np.ones(len(columns)), columns.to_numpy(dtype=float)])
    both = np.column_stack([others, treated])
    kept = independent_columns(both)
    case_mix_kept = [position for position in kept if position < others.shape[1]]
    if len(kept) - len(case_mix_kept) < both.shape[1] - others.shape[1]:
        raise NotEnough(
            "The treatment goes exactly with another fact recorded, so their effects cannot be told apart.",
            "Record both for all patients, and let advice differ between like patients.",
        )
    return others[:, case_mix_kept]
