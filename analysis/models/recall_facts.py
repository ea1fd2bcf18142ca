"""What goes with ears occluding sooner: facts of patients and ears known when an ear was cleared."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.models.recall_choice import Material, chosen_family
from analysis.models.recall_enough import refuse_too_little
from analysis.models.recall_evidence import absence_tells, ear_evidence
from analysis.models.recall_fact_table import EARLIER, FACTS, NOT_RECORDED, OF_FIRST, FactDesign, fact_design
from analysis.models.recall_groups import told_returns
from analysis.models.recall_returns import Returns, calls_uncertain, patient_returns
from analysis.problems import NotEnough
from analysis.settings import RecallPart
from analysis.stats.censored import NoMaximum, TimeRegression, time_regression
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import Family

CALLS = 2
"""Marks the share who never call, beside the stages after a clearance and after a return."""
PACES, FEWEST_OF_A_PACE = 4, 100
"""Groups of patients with a curve of returns each, and the patients each needs (our choice, no source)."""


@dataclass(frozen=True, eq=False)
class FactTimes:
    """How much longer or shorter ears stay open by each fact, the other facts alike.

    Attributes
    ----------
    times : dict of (str, str) to Estimate
        Factor on the time until an ear is occluding again, by fact and value;
        values not recorded are left out. ``n`` is the clearances with that value.
    beside : dict of str to str
        What the value of each fact is set beside.
    fit : TimeRegression
        On first clearances, a patient's ears going together.
    ears, clearances : int
        First clearances, and all of them.
    first_day, last_day : pandas.Timestamp
        First and last clearance.
    """

    times: dict[tuple[str, str], Estimate]
    beside: dict[str, str]
    fit: TimeRegression
    ears: int
    clearances: int
    first_day: pd.Timestamp
    last_day: pd.Timestamp

    @property
    def family(self) -> Family:
        """The curve."""
        return self.fit.family


@dataclass(frozen=True, eq=False)
class FactEvidence:
    """Clearances with facts, and who may be gone for good, by how fast ears like theirs fill.

    Attributes
    ----------
    every : pandas.DataFrame
        From ``with_facts``, or some of its rows.
    pace : numpy.ndarray of int
        Which of ``returns`` holds for each row.
    returns : list of list of Returns
        From ``patient_returns``, for patients of a like pace.
    window_days : int
        The symptom window.
    """

    every: pd.DataFrame
    pace: np.ndarray
    returns: list[list[Returns]]
    window_days: int

    @classmethod
    def of(cls, every: pd.DataFrame, gaps: pd.DataFrame, settings: RecallPart) -> FactEvidence:
        """Take a log's, all patients returning alike; refuse one too thin."""
        refuse_too_little(every, settings.fewest_ears)
        returns = told_returns(patient_returns(gaps, settings.symptom_window_days), telling=absence_tells(gaps))
        return cls(every, np.zeros(len(every), dtype=int), [returns], settings.symptom_window_days)

    def by_pace(self, gaps: pd.DataFrame, eta: np.ndarray) -> FactEvidence:
        """Give patients whose ears are expected to fill at a like pace a curve of returns of their own.

        Whoever fills fast comes back soon: away for as long, such a patient is the likelier gone.
        """
        if not absence_tells(gaps):
            return self
        mean = pd.Series(eta).groupby(self.every["patient_key"].to_numpy()).mean()
        many = max(1, min(PACES, len(mean) // FEWEST_OF_A_PACE))
        pace = (mean.rank(method="first") * many // (len(mean) + 1)).astype(int)
        of_gaps = gaps["patient_key"].map(pace)
        whole = self.returns[0]
        returns = [
            patient_returns(gaps[of_gaps == each], self.window_days, whole=whole, loosest=0.0) for each in range(many)
        ]
        place = self.every["patient_key"].map(pace).to_numpy(dtype=int)
        return replace(self, pace=place, returns=returns)

    def material(self, design: np.ndarray, moved: int | None = None) -> Material:
        """Lay out the rows, with one share who never return, or the one who never call, moved by its error."""
        parts, rows = [], []
        for place, returns in enumerate(self.returns):
            mine = np.flatnonzero(self.pace == place)
            never = [each.never + (each.error if stage == moved else 0.0) for stage, each in enumerate(returns)]
            parts.append(
                ear_evidence(self.every.iloc[mine], returns, never, self.window_days, silent_errors=moved == CALLS)
            )
            rows.append(mine[parts[-1].row])
        row = np.concatenate(rows)
        low, high, weight = (
            np.concatenate([getattr(part, name) for part in parts]) for name in ("low", "high", "weight")
        )
        return Material.of(low, high, weight, design[row], self.every["patient_key"].to_numpy()[row])


def fit_facts(every: pd.DataFrame, gaps: pd.DataFrame, settings: RecallPart, *, level: float = 0.95) -> FactTimes:
    """Estimate how much longer or shorter ears stay open by each fact.

    Parameters
    ----------
    every : pandas.DataFrame
        From ``with_facts``.
    gaps : pandas.DataFrame
        The table ``GAPS``.
    settings : RecallPart
    level : float, optional
        How sure ranges should be.

    Returns
    -------
    FactTimes

    Raises
    ------
    NotEnough
        As ``fit_recall`` for logs too thin; and if no fact has two values with enough ears.

    Notes
    -----
    An accelerated failure time regression [1]_: each fact multiplies every time
    by a factor. The curve is that of ``chosen_family``. Ranges let a
    patient's ears go together, and widen for the uncertain share who never
    return. Facts go together in people; a factor is what goes with a fact among
    people alike in the other facts recorded, not what it does.

    Every ear counts once, from its first clearance. Earlier clearances can only
    be told from later ones, so their factors come from all clearances with all
    facts. They are left out beside the other facts: an ear is cleared often
    because it fills fast, and with that held alike whatever makes it fill fast
    would seem to do less.

    References
    ----------
    .. [1] Wei (1992), Statistics in Medicine 11, 1871-1879.
    """
    first = every[every[EARLIER] == "none"].reset_index(drop=True)
    design = fact_design(first, OF_FIRST, settings.fewest_ears)
    fit = _fit(FactEvidence.of(first, gaps, settings), gaps, design, level)
    times, beside = _factors(design, fit, OF_FIRST), design.beside
    later = fact_design(every, FACTS, settings.fewest_ears)
    if EARLIER in later.beside:
        times |= _factors(later, _fit(FactEvidence.of(every, gaps, settings), gaps, later, level), (EARLIER,))
        beside = beside | {EARLIER: later.beside[EARLIER]}
    if not times:
        raise NotEnough(
            "No fact of patients or ears was recorded with two values of enough ears each.",
            "Record hearing aid, cotton buds, age, canal, debris and impaction at each visit.",
        )
    days = first["cleared_on"]
    return FactTimes(times, beside, fit, len(first), len(every), days.min(), days.max())


def _factors(design: FactDesign, fit: TimeRegression, facts: tuple[str, ...]) -> dict[tuple[str, str], Estimate]:
    """Read the factors of some facts off a fit."""
    times = {}
    for place, (fact, value) in enumerate(design.columns, start=1):
        if fact in facts and value != NOT_RECORDED:
            row = np.eye(design.matrix.shape[1])[place]
            times[fact, value] = replace(fit.times_as_long(row), n=int(design.matrix[:, place].sum()))
    return times


def _fit(evidence: FactEvidence, gaps: pd.DataFrame, design: FactDesign, level: float) -> TimeRegression:
    """Fit all facts together; widen the covariance for the uncertain shares who never return."""
    plain = evidence.material(design.matrix)
    try:
        family = chosen_family(plain)
        rough = _fitted(plain, family, level)
        evidence = evidence.by_pace(gaps, design.matrix @ rough.coefficients)
        fit = _fitted(evidence.material(design.matrix), family, level)
        covariance, at = fit.covariance.copy(), np.append(fit.coefficients, fit.log_sigma)
        moves = [stage for stage, returns in enumerate(evidence.returns[0]) if returns.error > 0]
        for moved in [*moves, CALLS] if calls_uncertain(evidence.returns[0]) else moves:
            other = _fitted(evidence.material(design.matrix, moved), family, level)
            shift = np.append(other.coefficients, other.log_sigma) - at
            covariance += np.outer(shift, shift)
    except NoMaximum:
        raise unsettled() from None
    return replace(fit, covariance=covariance)


def _fitted(of: Material, family: Family, level: float) -> TimeRegression:
    """Fit one regression."""
    return time_regression(
        of.low, of.high, of.design, family=family, counts=of.weight, clusters=of.patient, level=level
    )


def unsettled() -> NotEnough:
    """Say that the ears do not settle curves by their facts."""
    return NotEnough(
        "The ears seen again do not settle curves by their facts.",
        "Record each ear's grade at every visit, and wait until more patients have come back.",
    )
