"""Which curve foretells best the ears of patients it has not seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from analysis.stats.cells import cells_of
from analysis.stats.censored import log_scores, time_regression
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import FAMILIES, Family

FOLDS = 5
"""Parts into which patients are dealt; each part is foretold from the others (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Material:
    """Rows of a likelihood: limits in days, covariates, what each row counts for, and whose it is.

    Attributes
    ----------
    low, high, weight : numpy.ndarray, shape (n,)
    design : numpy.ndarray, shape (n, k)
    patient : numpy.ndarray of int, shape (n,)
        Number of the patient, in the order of the patients' keys; patients whose ears tell nothing come last.
    """

    low: np.ndarray
    high: np.ndarray
    weight: np.ndarray
    design: np.ndarray
    patient: np.ndarray

    @classmethod
    def of(
        cls, low: np.ndarray, high: np.ndarray, weight: np.ndarray, design: np.ndarray, keys: np.ndarray
    ) -> Material:
        """Give patients their numbers; those whose ears tell nothing come last, so that they move nobody's part."""
        telling = (weight > 0) & ((low > 0) | np.isfinite(high))
        whose, names = pd.factorize(pd.Series(keys), use_na_sentinel=False)
        tells = np.bincount(whose[telling], minlength=len(names)) > 0
        first = np.lexsort((np.argsort(names.argsort()), ~tells))
        return cls(low, high, weight, design, np.argsort(first)[whose])

    @property
    def ears(self) -> float:
        """How many ears the rows stand for."""
        return float(self.weight.sum())


def held_out_scores(material: Material, family: Family) -> np.ndarray:
    """Score a curve on patients it was not fitted to.

    Parameters
    ----------
    material : Material
    family : Family

    Returns
    -------
    numpy.ndarray, shape (patients,)
        Sum of each patient's log scores; the higher, the better foretold.

    Raises
    ------
    NoMaximum
        If the others settle no curve for some part of the patients.

    Notes
    -----
    Patients are dealt into five parts by their place among the sorted keys,
    which say nothing of the ears: keys are pseudonyms. Both ears and all
    clearances of a patient are held out together, so that nobody foretells
    himself. Rows alike are put together, as in the fit. How likely those who
    stay away are gone for good is taken from all patients, for every curve alike.
    """
    alike = cells_of(material.low, material.high, material.design)
    low, high, design = (each[alike.first] for each in (material.low, material.high, material.design))
    fold = material.patient % FOLDS
    counts = np.array([alike.sums(np.where(fold == part, material.weight, 0.0)) for part in range(FOLDS)])
    scores = np.zeros_like(counts)
    for part in range(FOLDS):
        fit = time_regression(low, high, design, counts=counts.sum(axis=0) - counts[part], family=family)
        scores[part] = log_scores(fit, low, high, design)
    return np.bincount(material.patient, material.weight * scores[fold, alike.of_row])


def score_difference(scores: np.ndarray, best: np.ndarray, ears: float, level: float) -> Estimate:
    """Say by how much one curve foretells worse than another, an ear, with its range over patients.

    Parameters
    ----------
    scores, best : numpy.ndarray, shape (patients,)
        Log scores of the same patients' ears.
    ears : float
        How many ears they are.
    level : float

    Returns
    -------
    Estimate
        Below nought: worse than ``best``.

    Examples
    --------
    >>> round(score_difference(np.array([-2.0, -4.0]), np.array([-1.0, -3.0]), 4.0, 0.95).value, 2)
    -0.5
    """
    apart = scores - best
    error = float(np.sqrt(len(apart)) * apart.std()) / ears
    value, reach = float(apart.sum()) / ears, float(norm.ppf(0.5 + level / 2)) * error
    return Estimate(value, value - reach, value + reach, level, round(ears), "log score on patients held out")


def chosen_family(material: Material) -> Family:
    """Choose the curve that best foretells patients held out; the Weibull where two do so alike.

    Parameters
    ----------
    material : Material

    Returns
    -------
    Family

    Raises
    ------
    NoMaximum
        As ``held_out_scores``.

    Notes
    -----
    The three are one curve with patients' rates alike, differing with a
    variance of a half, and of one, both ears of a patient going together.
    Holding on to the Weibull until another is better beyond chance would hold
    on to an error: on simulated clinics whose patients differ it makes the
    months of the group that fills sooner 5 to 8 % late
    (``shared/recall_study.md``).
    """
    scores = {name: float(held_out_scores(material, family).sum()) for name, family in FAMILIES.items()}
    return FAMILIES[max(scores, key=lambda name: scores[name])]
