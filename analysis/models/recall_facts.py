"""What goes with ears occluding sooner: facts of patients and ears known when an ear was cleared."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.derive.gaps import attended_visits
from analysis.models.recall_choice import Material, chosen_family, held_out_scores, score_difference
from analysis.models.recall_evidence import (
    Returns,
    absence_tells,
    all_clearances,
    ear_evidence,
    patient_returns,
)
from analysis.models.recall_groups import enough, refuse_too_little, told_returns
from analysis.problems import NotEnough
from analysis.settings import RecallPart
from analysis.stats.censored import NoMaximum, TimeRegression, time_regression
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import FAMILIES, Family

EARLIER = "earlier_clearances"
OF_FIRST = ("hearing_aid", "cotton_bud", "age_band", "canal", "debris", "impacted")
FACTS = (*OF_FIRST, EARLIER)
ENTRY_FACTS = ["debris", "impacted"]
PLAIN = ("no", "ordinary", "none")
"""Values other values are set beside, where there are enough of them; otherwise the commonest."""
NOT_RECORDED = "not_recorded"
EAR = ["patient_key", "ear"]
NONE, GROUPS, ALL = "none", "hearing_aid", "all"
PACES, FEWEST_OF_A_PACE = 4, 100
"""Groups of patients with a curve of returns each, and the patients each needs (our choice, no source)."""
SETS = {NONE: (), GROUPS: ("hearing_aid",), ALL: FACTS}


@dataclass(frozen=True, eq=False)
class FactDesign:
    """Facts as columns: a constant, then one column a value that is set beside another.

    Attributes
    ----------
    columns : list of (str, str)
        Fact and value of each column after the constant.
    beside : dict of str to str
        The value of each fact that others are set beside.
    matrix : numpy.ndarray, shape (n, 1 + columns)
    """

    columns: list[tuple[str, str]]
    beside: dict[str, str]
    matrix: np.ndarray


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


@dataclass(frozen=True, slots=True)
class Candidate:
    """A curve and set of facts with its score on patients held out.

    Attributes
    ----------
    family, facts : str
        Names in ``FAMILIES`` and ``SETS``.
    score : float
        Mean log score an ear's clearance.
    behind : Estimate
        By how much that is less than the best candidate's; 0 for the best itself.
    """

    family: str
    facts: str
    score: float
    behind: Estimate


def with_facts(gaps: pd.DataFrame, visits: pd.DataFrame, ears: pd.DataFrame, last_day: pd.Timestamp) -> pd.DataFrame:
    """Put beside each clearance what was known of the patient and the ear before it.

    Parameters
    ----------
    gaps, visits, ears : pandas.DataFrame
        The tables ``GAPS``, ``VISITS`` and ``EAR_ROWS``.
    last_day : pandas.Timestamp
        Last day the log covers.

    Returns
    -------
    pandas.DataFrame
        ``all_clearances`` with the facts as text: yes or no, a code, or
        ``none``, ``one``, ``more`` earlier clearances; ``not_recorded`` where empty.
        Debris and impaction are as first noted since the clearance before.
    """
    every = all_clearances(gaps).merge(_entry(gaps, visits, ears, last_day), on=[*EAR, "cleared_on"], how="left")
    earlier = np.select([every["earlier_clearances"] == 0, every["earlier_clearances"] == 1], ["none", "one"], "more")
    told = {name: _as_text(every[name]) for name in FACTS if name != EARLIER}
    return every.assign(**{EARLIER: pd.Series(earlier, index=every.index, dtype="str")}, **told)


def _entry(gaps: pd.DataFrame, visits: pd.DataFrame, ears: pd.DataFrame, last_day: pd.Timestamp) -> pd.DataFrame:
    """Debris and impaction as first noted since the ear's clearance before."""
    came = attended_visits(visits, last_day)[["visit_id", "patient_key", "day", "moment"]]
    seen = ears[["visit_id", "ear", *ENTRY_FACTS]].merge(came, on="visit_id").dropna(subset=["ear", "day"])
    cleared = gaps[[*EAR, "cleared_on"]].assign(ear=gaps["ear"].astype("str"), day=gaps["cleared_on"])
    found = pd.merge_asof(
        seen.assign(ear=seen["ear"].astype("str")).sort_values("day"),
        cleared.sort_values("day"),
        on="day", by=EAR, direction="forward",
    ).dropna(subset=["cleared_on"])  # fmt: skip
    first = found.sort_values(["moment", "visit_id"]).groupby([*EAR, "cleared_on"])[ENTRY_FACTS].first().reset_index()
    return first.astype({"ear": gaps["ear"].dtype, "patient_key": gaps["patient_key"].dtype})


def _as_text(values: pd.Series) -> pd.Series:
    """Write a fact's values as words."""
    if isinstance(values.dtype, pd.CategoricalDtype):
        return values.astype("str").fillna(NOT_RECORDED)
    return values.map({True: "yes", False: "no"}).astype("str").fillna(NOT_RECORDED)


def fact_design(every: pd.DataFrame, facts: tuple[str, ...], fewest_ears: int) -> FactDesign:
    """Turn facts into columns; values too rare for a figure go with the one others are set beside.

    Parameters
    ----------
    every : pandas.DataFrame
        From ``with_facts``.
    facts : tuple of str
    fewest_ears : int
        Clearances graded later that a value needs, ten of them occluding.

    Returns
    -------
    FactDesign
        Without facts of which fewer than two values have enough ears, and
        without columns that follow from those before.
    """
    columns: list[tuple[str, str]] = []
    beside: dict[str, str] = {}
    parts = [np.ones(len(every))]
    for fact in facts:
        values = [each for each in every[fact].value_counts().index if enough(every[every[fact] == each], fewest_ears)]
        recorded = [each for each in values if each != NOT_RECORDED]
        if len(recorded) < 2:
            continue
        beside[fact] = next((each for each in recorded if each in PLAIN), recorded[0])
        for value in values:
            column = (every[fact] == value).to_numpy(dtype=float)
            if value != beside[fact] and np.linalg.matrix_rank(np.column_stack([*parts, column])) > len(parts):
                parts.append(column)
                columns.append((fact, value))
    return FactDesign(columns, beside, np.column_stack(parts))


@dataclass(frozen=True, eq=False)
class _Evidence:
    """Clearances with facts, and who may be gone for good, by how fast ears like theirs fill."""

    every: pd.DataFrame
    pace: np.ndarray
    returns: list[list[Returns]]
    window_days: int

    @classmethod
    def of(cls, every: pd.DataFrame, gaps: pd.DataFrame, settings: RecallPart) -> _Evidence:
        """Take a log's, all patients returning alike; refuse one too thin."""
        refuse_too_little(every, settings.fewest_ears)
        returns = told_returns(patient_returns(gaps), telling=absence_tells(gaps))
        return cls(every, np.zeros(len(every), dtype=int), [returns], settings.symptom_window_days)

    def by_pace(self, gaps: pd.DataFrame, eta: np.ndarray) -> _Evidence:
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
            [replace(each, never=all_.never, error=all_.error) for each, all_ in zip(own, whole, strict=True)]
            for own in (patient_returns(gaps[of_gaps == each]) for each in range(many))
        ]
        place = self.every["patient_key"].map(pace).to_numpy(dtype=int)
        return replace(self, pace=place, returns=returns)

    def material(self, design: np.ndarray, moved: int | None = None) -> Material:
        """Lay out the rows, with one share who never return moved by its error."""
        parts, rows = [], []
        for place, returns in enumerate(self.returns):
            mine = np.flatnonzero(self.pace == place)
            never = [each.never + (each.error if stage == moved else 0.0) for stage, each in enumerate(returns)]
            parts.append(ear_evidence(self.every.iloc[mine], returns, never, self.window_days))
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
    fit = _fit(_Evidence.of(first, gaps, settings), gaps, design, level)
    times, beside = _factors(design, fit, OF_FIRST), design.beside
    later = fact_design(every, FACTS, settings.fewest_ears)
    if EARLIER in later.beside:
        times |= _factors(later, _fit(_Evidence.of(every, gaps, settings), gaps, later, level), (EARLIER,))
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


def _fit(evidence: _Evidence, gaps: pd.DataFrame, design: FactDesign, level: float) -> TimeRegression:
    """Fit all facts together; widen the covariance for the uncertain shares who never return."""
    plain = evidence.material(design.matrix)
    try:
        family = chosen_family(plain)
        rough = _fitted(plain, family, level)
        evidence = evidence.by_pace(gaps, design.matrix @ rough.coefficients)
        fit = _fitted(evidence.material(design.matrix), family, level)
        covariance, at = fit.covariance.copy(), np.append(fit.coefficients, fit.log_sigma)
        for stage, returns in enumerate(evidence.returns[0]):
            if returns.error > 0:
                other = _fitted(evidence.material(design.matrix, stage), family, level)
                shift = np.append(other.coefficients, other.log_sigma) - at
                covariance += np.outer(shift, shift)
    except NoMaximum:
        raise _unsettled() from None
    return replace(fit, covariance=covariance)


def _fitted(of: Material, family: Family, level: float) -> TimeRegression:
    """Fit one regression."""
    return time_regression(
        of.low, of.high, of.design, family=family, counts=of.weight, clusters=of.patient, level=level
    )


def _unsettled() -> NotEnough:
    """Say that the ears do not settle the facts' curves."""
    return NotEnough(
        "The ears seen again do not settle curves by their facts.",
        "Record each ear's grade at every visit, and wait until more patients have come back.",
    )


def candidates(
    every: pd.DataFrame, gaps: pd.DataFrame, settings: RecallPart, *, level: float = 0.95
) -> list[Candidate]:
    """Score either curve with no facts, with hearing aids alone and with all facts, on patients held out.

    Parameters
    ----------
    every, gaps, settings, level
        As for ``fit_facts``.

    Returns
    -------
    list of Candidate
        The best first.

    Raises
    ------
    NotEnough
        As ``fit_recall`` for logs too thin, or if some part of the patients settles no curve.
    """
    evidence = _Evidence.of(every, gaps, settings)
    scores: dict[tuple[str, str], np.ndarray] = {}
    for name, facts in SETS.items():
        design = fact_design(every, facts, settings.fewest_ears)
        if name != NONE and not design.columns:
            continue
        of = evidence.material(design.matrix)
        try:
            scores |= {(family, name): held_out_scores(of, shape) for family, shape in FAMILIES.items()}
        except NoMaximum:
            raise _unsettled() from None
    best = max(scores, key=lambda each: float(scores[each].sum()))
    found = [
        Candidate(*each, float(mine.sum()) / of.ears, score_difference(mine, scores[best], of.ears, level))
        for each, mine in scores.items()
    ]
    return sorted(found, key=lambda each: -each.score)
