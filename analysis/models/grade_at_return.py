"""How full an ear is found, by the months since it was cleared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from statsmodels.miscmodels.ordinal_model import OrderedModel

from analysis.models.recall_enough import DAYS_A_MONTH
from analysis.problems import NotEnough
from analysis.schema import GRADES
from analysis.stats.clustered import clustered_covariance
from analysis.stats.continuation_ratio import ContinuationRatio, continuation_ratio
from analysis.stats.splines import restricted_cubic

EARLIEST_MONTHS = 0.25
"""Months; an ear seen sooner counts as seen then, so that the logarithm stays within reason."""
KNOTS_AT = (0.05, 0.5, 0.95)
CLOSEST_KNOTS = 0.2
"""Logarithm of months; shares of the ears at which curves bend, and how far apart these must lie (our choice, no source)."""
FEWEST_PER_GRADE = 10
"""Ears found in each of at least two grades that the curves need (our choice, no source)."""


@dataclass(frozen=True, eq=False)
class GradesOfOneKind:
    """Chances of each grade at returns of one kind.

    Attributes
    ----------
    grades : tuple of str
        Grades seen, from clear to fully occluding.
    steps : ContinuationRatio
        From each grade to a fuller one; a patient's ears go together.
    knots : numpy.ndarray
        On the logarithm of months, where the curves bend; empty where they are straight.
    earliest, latest : float
        Months seen, but for 1 in 100 at either end; beyond, chances are held at those.
    slope, slope_error : float
        How the odds of being fuller move with the logarithm of months, were it alike
        for every grade (proportional odds): the trend in one number.
    """

    grades: tuple[str, ...]
    steps: ContinuationRatio
    knots: np.ndarray
    earliest: float
    latest: float
    slope: float
    slope_error: float

    def chances(self, months: np.ndarray, params: np.ndarray | None = None) -> np.ndarray:
        """Chance of every grade of ``GRADES``; shape (months, 4), rows adding up to 1.

        Parameters
        ----------
        months : numpy.ndarray
            Months since the ear was cleared.
        params : numpy.ndarray, optional
            One draw of the steps' parameters; without it, the best.
        """
        columns = _columns(np.clip(months, self.earliest, self.latest), self.knots)
        found = np.zeros((len(months), len(GRADES)))
        found[:, [list(GRADES).index(grade) for grade in self.grades]] = self.steps.chances(columns, params)
        return found

    def draws(self, many: int, rng: np.random.Generator) -> np.ndarray:
        """Draw the steps' parameters as uncertain as they are, for ``chances``; the best ones first."""
        return self.steps.draws(many, rng)

    def slope_draws(self, many: int, rng: np.random.Generator) -> np.ndarray:
        """Draw the trend; shape (many,), the best first."""
        return self.slope + self.slope_error * np.append(0.0, rng.standard_normal(many - 1))


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
    A continuation-ratio model [1]_ for each kind of return: of ears at least as
    full as a grade, the share that is fuller, by the logarithm of months with a
    bend. One slope for every grade (proportional odds [2]_) does not hold: as
    months go by, clear ears give way to such with some wax, while the share fully
    occluding hardly moves; its slope is kept as the trend in one number. The
    bend is needed at recalls: ears called back early are those that fill fast.

    It says what is found on those who come, when they come; whoever has
    symptoms chose the day.

    References
    ----------
    .. [1] Agresti (2010), Analysis of Ordinal Categorical Data, 2nd edition, section 4.2.
    .. [2] McCullagh (1980), J. R. Stat. Soc. B 42, 109-142.
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
    months, patients = np.maximum(seen["months"].to_numpy(), EARLIEST_MONTHS), seen["patient_key"].to_numpy()
    knots = _knots(months)
    steps = continuation_ratio(codes, _columns(months, knots), patients)
    params, bread, scores = proportional_odds(codes, np.log(months)[:, None])
    error = float(np.sqrt(clustered_covariance(bread, scores, patients)[0, 0]))
    earliest, latest = np.quantile(months, [0.01, 0.99])
    return GradesOfOneKind(grades, steps, knots, float(earliest), float(latest), float(params[0]), error)


def _knots(months: np.ndarray) -> np.ndarray:
    """Place the bends; none where months lie too close together to tell a bend."""
    knots = np.quantile(np.log(months), KNOTS_AT)
    return knots if np.diff(knots).min() >= CLOSEST_KNOTS else np.array([])


def _columns(months: np.ndarray, knots: np.ndarray) -> np.ndarray:
    """Give a constant and the curve's columns."""
    logs = np.log(months)
    return np.column_stack([np.ones_like(logs), restricted_cubic(logs, knots) if len(knots) else logs])


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
