"""How full an ear is found, by the months since it was cleared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit
from statsmodels.miscmodels.ordinal_model import OrderedModel

from analysis.problems import NotEnough
from analysis.schema import GRADES
from analysis.stats.clustered import clustered_covariance

DAYS_A_MONTH = 30.4375
EARLIEST_MONTHS = 0.25
"""Months; an ear seen sooner counts as seen then, so that the logarithm stays within reason."""
FEWEST_PER_GRADE = 10
"""Ears found in each of at least two grades that the curves need (our choice, no source)."""


@dataclass(frozen=True, eq=False)
class GradesOfOneKind:
    """Chances of each grade at returns of one kind.

    Attributes
    ----------
    grades : tuple of str
        Grades seen, from clear to fully occluding.
    params : numpy.ndarray
        On logarithm of months, then the first threshold and the logarithms of the further steps.
    covariance : numpy.ndarray
        Of ``params``; a patient's ears go together.
    """

    grades: tuple[str, ...]
    params: np.ndarray
    covariance: np.ndarray

    def chances(self, months: np.ndarray, params: np.ndarray | None = None) -> np.ndarray:
        """Chance of every grade of ``GRADES``; shape (months, 4), rows adding up to 1.

        Parameters
        ----------
        months : numpy.ndarray
            Months since the ear was cleared.
        params : numpy.ndarray, optional
            One draw of the parameters; without it, the best.
        """
        params = self.params if params is None else params
        move = params[0] * np.log(np.maximum(months, EARLIEST_MONTHS))
        cuts = params[1] + np.append(0.0, np.cumsum(np.exp(params[2:])))
        below = np.column_stack([np.zeros_like(move), expit(cuts - move[:, None]), np.ones_like(move)])
        found = np.zeros((len(move), len(GRADES)))
        found[:, [list(GRADES).index(grade) for grade in self.grades]] = np.diff(below, axis=1)
        return found

    def draws(self, many: int, rng: np.random.Generator) -> np.ndarray:
        """Draw parameters as uncertain as they are; shape (many, params), the best ones first."""
        drawn = rng.multivariate_normal(self.params, self.covariance, size=many - 1, method="eigh")
        return np.vstack([self.params, drawn])


@dataclass(frozen=True, eq=False)
class GradesAtReturn:
    """Chances of each grade by months since clearance, for returns with symptoms and for others.

    Attributes
    ----------
    kinds : dict of bool to GradesOfOneKind
        By whether the patient came because of symptoms; a kind seen too rarely is not there.
    seen : pandas.DataFrame
        One row an ear found: ``months``, ``symptoms``, ``grade``, ``patient_key``, ``day``.
    """

    kinds: dict[bool, GradesOfOneKind]
    seen: pd.DataFrame

    def of(self, *, symptoms: bool) -> GradesOfOneKind:
        """Give the chances of a kind of return; of the other kind where its own are not known."""
        return self.kinds.get(symptoms) or next(iter(self.kinds.values()))


def fit_grades_at_return(gaps: pd.DataFrame, fewest_ears: int) -> GradesAtReturn:
    """Estimate the chance of each grade by months since clearance.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``.
    fewest_ears : int
        Ears graded at a return that this needs.

    Returns
    -------
    GradesAtReturn

    Raises
    ------
    NotEnough
        If nobody came back, or too few ears were graded at a return, or nearly
        all were found in one grade.

    Notes
    -----
    A proportional-odds model [1]_ for each kind of return: the odds of an ear
    being fuller than a grade move with the logarithm of the months. It says what is found on those who come, when they come;
    whoever has symptoms chose the day.

    References
    ----------
    .. [1] McCullagh (1980), J. R. Stat. Soc. B 42, 109-142.
    """
    seen = ears_found(gaps)
    _refuse_too_few(gaps, seen, fewest_ears)
    parts = {kind: seen[seen["symptoms"] == kind] for kind in (False, True)}
    kinds = {kind: _fit(part) for kind, part in parts.items() if len(part) >= fewest_ears and _tells(part)}
    if not kinds:
        raise NotEnough(
            "Nearly all ears were found in the same state at return, or too few at returns of one kind.",
            "Record each ear's grade at every visit, also where nothing was removed.",
        )
    return GradesAtReturn(kinds, seen)


def _tells(seen: pd.DataFrame) -> bool:
    """Say whether ears of at least two grades, seen at different months, are enough for a curve."""
    return bool((seen["grade"].value_counts() >= FEWEST_PER_GRADE).sum() >= 2 and seen["months"].std() > 0)


def _fit(seen: pd.DataFrame) -> GradesOfOneKind:
    """Fit one kind of return."""
    grades = tuple(grade for grade in GRADES if (seen["grade"] == grade).any())
    codes = pd.Categorical(seen["grade"], list(grades), ordered=True).codes.astype(int)
    months = np.log(np.maximum(seen["months"].to_numpy(), EARLIEST_MONTHS))
    params, bread, scores = proportional_odds(codes, months[:, None])
    return GradesOfOneKind(grades, params, clustered_covariance(bread, scores, seen["patient_key"].to_numpy()))


def proportional_odds(codes: np.ndarray, columns: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Fit proportional odds.

    Parameters
    ----------
    codes : numpy.ndarray of int, shape (n,)
        Ordered states from 0, each of them there.
    columns : numpy.ndarray, shape (n, k)
        Covariates, without a constant.

    Returns
    -------
    (numpy.ndarray, numpy.ndarray, numpy.ndarray)
        Parameters (the covariates', the first threshold, the logarithms of the
        further steps), the inverse of the observed information, and the scores by row.
    """
    model = OrderedModel(codes, columns, distr="logit")
    params = np.asarray(model.fit(method="bfgs", disp=False, maxiter=500).params)
    bread = np.linalg.pinv(-np.asarray(model.hessian(params)))
    return params, bread, np.asarray(model.score_obs(params))


def ears_found(gaps: pd.DataFrame) -> pd.DataFrame:
    """List the ears seen again after a clearance, each with months, grade and why the patient came.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``.

    Returns
    -------
    pandas.DataFrame
        ``months``, ``symptoms``, ``grade``, ``patient_key``, ``day``; where an ear was
        seen several times before its gap ended, the last one. Second attempts are no returns.
    """
    days = gaps["occluding_by_days"].fillna(gaps["open_until_days"])
    known = (days > 0) & gaps["grade_at_return"].notna() & (gaps["return_kind"] != "second_attempt").fillna(True)
    rows = gaps[known]
    return pd.DataFrame(
        {
            "months": days[known] / DAYS_A_MONTH,
            "symptoms": (rows["return_kind"] == "symptoms_return").fillna(False).astype(bool),
            "grade": rows["grade_at_return"].astype("str"),
            "patient_key": rows["patient_key"],
            "day": rows["cleared_on"] + pd.to_timedelta(days[known], unit="D"),
        }
    ).reset_index(drop=True)


def _refuse_too_few(gaps: pd.DataFrame, seen: pd.DataFrame, fewest_ears: int) -> None:
    """Say in plain words what the log lacks."""
    if not len(gaps) or not gaps["returned"].fillna(False).any():
        raise NotEnough(
            "No patient has come back after an ear was cleared.", "Keep logging visits under the same patient number."
        )
    if len(seen) < fewest_ears:
        raise NotEnough(
            f"Only {len(seen):,} cleared ears were graded at a return, of the {fewest_ears:,} this needs.",
            "Record each ear's grade at every visit, also where nothing was removed.",
        )
