"""Minutes ears add, facts add and practitioners differ by, sparse ones drawn towards their like."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.case_mix import independent_columns, level_columns
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.visit_ears import found_facts, sample_ears
from analysis.problems import NotEnough
from analysis.schema import GRADES
from analysis.stats.mixed import MixedFit, NotPooled, fit_mixed

FEWEST_WITH_FACT = 20
"""Visits with a fact, and without it, before minutes are told of it (a rule of caution, no source)."""
FEWEST_OF_PRACTITIONER = 30
"""Visits below which nothing is shown of a practitioner."""
EAR_FACTS = ("impacted", "dead_skin", "narrow_or_tortuous")
TINY = 1e-12
SOFTENED = "softened_before"
"""Stands beside the facts, not among them: what softening saves is a question of its own."""
CELLS, PEOPLE, SEPARATOR = "cells", "people", "|"


@dataclass(frozen=True, eq=False)
class PooledMinutes:
    """What the log says of minutes when sparse figures are drawn towards their like.

    Attributes
    ----------
    added : pandas.DataFrame
        One row a grade and first method: ``grade``, ``first_method`` (text, empty where not
        recorded), ``minutes``, ``low``, ``high``, ``ears``, ``visits``.
        Without rows where ears are not graded.
    effects : pandas.DataFrame
        One row a fact: ``fact``, ``of`` (ear or visit), ``minutes``, ``low``, ``high``, ``visits``.
    practitioners : pandas.DataFrame
        ``practitioner``, ``minutes`` more than the log's average for the same
        ears, ``low``, ``high``, ``visits``; by name, never by size. Those of
        fewer than 30 visits are counted in the fit and not listed.
    method_spread, practitioner_spread : float
        Standard deviations the drawing rests on, in minutes.
    has_overhead : bool
        False where every visit has equally many worked ears: then ``added`` holds whole visits.
    """

    added: pd.DataFrame
    effects: pd.DataFrame
    practitioners: pd.DataFrame
    method_spread: float
    practitioner_spread: float
    has_overhead: bool


@dataclass(frozen=True, eq=False)
class PooledDesign:
    """Columns of a pooled fit: fixed ones by name, and the members of each group that varies at random."""

    names: list[str]
    fixed: np.ndarray
    groups: list[np.ndarray]
    members: dict[str, list[str]]

    def row(
        self, fixed: dict[str, float], effects: dict[tuple[str, str], float], further: Sequence[float] = ()
    ) -> np.ndarray:
        """Give the row of a sum: fixed columns by name, further ones in order, effects by group and member."""
        weights = [effects.get((group, name), 0.0) for group, names in self.members.items() for name in names]
        return np.array([*(fixed.get(name, 0.0) for name in self.names), *further, *weights])


def fit_pooled_minutes(fitted: FittedVisitTime, ears: pd.DataFrame) -> PooledMinutes:
    """Draw the minutes of sparse grades and methods, and of practitioners, towards their like.

    Parameters
    ----------
    fitted : FittedVisitTime
        For its visits, means (which say how far minutes scatter) and ranges.
    ears : pandas.DataFrame
        The table ``EAR_ROWS``.

    Returns
    -------
    PooledMinutes

    Raises
    ------
    NotEnough
        If the columns cannot be told apart.

    Notes
    -----
    Linear mixed model of a visit's minutes with variances in proportion to the
    square of the gamma model's means. Grades and kinds of booking have free
    parameters; a first method's departure from its grade, and a practitioner's
    from the clinic, come from normal distributions whose spreads are estimated (REML; see
    ``stats.mixed``). A cell of few visits is so drawn to its grade. Facts found in the
    ears enter a second fit, with softening beforehand beside them since harder ears
    are softened more; so ``added`` stays that of the log's usual ears. All variances
    are multiplied by how much wider the plain fit's ranges are for letting a patient's visits go together.
    """
    worked = sample_ears(fitted.sample, ears)
    usual, wider = pooled_design(fitted, worked), inflation(fitted)
    fit = fit_design(fitted, usual)
    spreads = dict(zip(usual.members, fit.spreads.tolist(), strict=True))
    return PooledMinutes(
        added=_added(fitted, usual, fit, worked, wider),
        effects=_effects(fitted, usual, worked, wider),
        practitioners=_practitioners(fitted, usual, fit, wider),
        method_spread=spreads.get(CELLS, 0.0),
        practitioner_spread=spreads.get(PEOPLE, 0.0),
        has_overhead="overhead" in usual.names,
    )


def pooled_design(fitted: FittedVisitTime, worked: pd.DataFrame, cells: pd.Series | None = None) -> PooledDesign:
    """Lay out the columns; ``cells`` names each ear's random cell, its grade and first method without it."""
    visits = len(fitted.means)
    grades = _counts(worked["visit"], worked["grade"].astype(str), visits)
    kinds = level_columns(fitted.design.levels[["booking_kind"]])
    # The overhead stands behind the grades: where every visit has equally many ears it is the one to go.
    columns = [grades.add_prefix("grade="), pd.DataFrame({"overhead": np.ones(visits)}), kinds - kinds.mean()]
    fixed = pd.concat(columns, axis=1)
    kept = independent_columns(fixed.to_numpy(dtype=float))
    own = worked["grade"].astype(str) + SEPARATOR + worked["first_method"] if cells is None else cells
    named = fitted.sample.visits["practitioner"]
    people = pd.get_dummies(named.astype("object").where(named.fillna("") != "")).astype(float)
    blocks = {CELLS: _counts(worked["visit"], own, visits), PEOPLE: people}
    blocks = {name: block for name, block in blocks.items() if block.shape[1] > 1}
    return PooledDesign(
        names=[str(fixed.columns[place]) for place in kept],
        fixed=fixed.to_numpy(dtype=float)[:, kept],
        groups=[block.to_numpy(dtype=float) for block in blocks.values()],
        members={name: [str(each) for each in block.columns] for name, block in blocks.items()},
    )


def _counts(visit: pd.Series, name: pd.Series, visits: int) -> pd.DataFrame:
    """Count each visit's ears by name."""
    which, names = pd.factorize(name.astype(str), sort=True)
    counts = np.zeros((visits, len(names)))
    np.add.at(counts, (visit.to_numpy(dtype=int), which), 1.0)
    return pd.DataFrame(counts, columns=list(names))


def fit_design(fitted: FittedVisitTime, design: PooledDesign, extra: np.ndarray | None = None) -> MixedFit:
    """Fit the minutes, with further fixed columns after the others."""
    fixed = design.fixed if extra is None else np.column_stack([design.fixed, extra])
    try:
        return fit_mixed(fixed, design.groups, fitted.minutes, 1 / fitted.means**2)
    except NotPooled:
        raise NotEnough(
            "The minutes could not be split by what the log holds of visits and ears.",
            "Record each worked ear's grade and first method, for visits of different kinds.",
        ) from None


def inflation(fitted: FittedVisitTime) -> float:
    """How much wider variances are for letting a patient's visits go together; at least 1."""
    rows, means = fitted.design.fit_rows, fitted.design.fit_rows @ fitted.params
    residuals = (fitted.design.fit_minutes - means) / means
    weighted = rows / means[:, None]
    plain = np.linalg.inv(weighted.T @ weighted) * (residuals @ residuals) / max(len(rows) - rows.shape[1], 1)
    own = np.diag(plain)
    # Minutes met exactly do not scatter, so there is nothing to widen.
    return max(1.0, float(np.median(np.diag(fitted.covariance) / own))) if own.min() > TINY else 1.0


def _added(
    fitted: FittedVisitTime, design: PooledDesign, fit: MixedFit, worked: pd.DataFrame, wider: float
) -> pd.DataFrame:
    """List the minutes of each grade and first method."""
    columns = ["grade", "first_method", "minutes", "low", "high", "ears", "visits"]
    if worked.empty:
        return pd.DataFrame(columns=columns)
    rows = []
    for (grade, method), mine in worked.astype({"grade": str}).groupby(["grade", "first_method"]):
        row = design.row({f"grade={grade}": 1.0}, {(CELLS, f"{grade}{SEPARATOR}{method}"): 1.0})
        figure = fit.estimate(row, level=fitted.level, n=len(mine), inflation=wider)
        rows.append([grade, method, figure.value, figure.low, figure.high, len(mine), mine["visit"].nunique()])
    table = pd.DataFrame(rows, columns=columns)
    order = list(GRADES)
    return table.sort_values(
        ["grade", "first_method"],
        key=lambda each: each.map(order.index) if each.name == "grade" else each,
        ignore_index=True,
    )


def _effects(fitted: FittedVisitTime, design: PooledDesign, worked: pd.DataFrame, wider: float) -> pd.DataFrame:
    """List the minutes of each fact common enough, all of them in one fit."""
    columns = ["fact", "of", "minutes", "low", "high", "visits"]
    facts = {name: each for name, each in _facts(fitted, worked).items() if _common(each > 0)}
    extra = np.column_stack(list(facts.values())) if facts else np.zeros((len(fitted.means), 0))
    kept = independent_columns(np.column_stack([design.fixed, extra]))
    names = [name for place, name in enumerate(facts, start=len(design.names)) if place in kept]
    if not names:
        return pd.DataFrame(columns=columns)
    fit = fit_design(fitted, design, np.column_stack([facts[name] for name in names]))
    rows = []
    for place, name in enumerate(names):
        if name.startswith(SOFTENED):
            continue
        further = np.eye(len(names))[place].tolist()
        many = int((facts[name] > 0).sum())
        figure = fit.estimate(design.row({}, {}, further), level=fitted.level, n=many, inflation=wider)
        of = "ear" if name in EAR_FACTS else "visit"
        rows.append([name, of, figure.value, figure.low, figure.high, many])
    return pd.DataFrame(rows, columns=columns)


def _common(with_it: np.ndarray) -> bool:
    """Say whether visits with a fact and without it are both many enough."""
    return bool(min(with_it.sum(), (~with_it).sum()) >= FEWEST_WITH_FACT)


def _facts(fitted: FittedVisitTime, worked: pd.DataFrame) -> dict[str, np.ndarray]:
    """Count each visit's ears with a fact, and mark visits with one."""
    visits = fitted.sample.visits
    facts: dict[str, np.ndarray] = {}
    for name, found in found_facts(worked).items():
        facts[name] = np.bincount(worked["visit"].to_numpy(dtype=int), found.astype(float), len(visits))
    if visits["softener"].notna().any():
        softened = (visits["softener"].notna() & (visits["softener"] != "none")).to_numpy(dtype=float)
        by_grade = _counts(worked["visit"], worked["grade"], len(visits)).to_dict("series")
        facts |= {f"{SOFTENED}={grade}": counts.to_numpy() * softened for grade, counts in by_grade.items()}
    if visits["in_chair_softener"].notna().any():
        facts["in_chair_softening"] = visits["in_chair_softener"].astype("float64").fillna(0.0).to_numpy()
    stopped = worked.loc[(worked["outcome"] == "stopped").fillna(False), "visit"].unique()
    if visits["adverse_event"].notna().any() and len(stopped):
        dizzy = (visits["adverse_event"] == "dizziness").fillna(False).to_numpy(dtype=bool)
        facts["dizziness_stop"] = (dizzy & visits.index.isin(stopped)).astype(float)
    return facts


def _practitioners(fitted: FittedVisitTime, design: PooledDesign, fit: MixedFit, wider: float) -> pd.DataFrame:
    """List how far practitioners lie from the log's average, for the same ears; by name."""
    columns = ["practitioner", "minutes", "low", "high", "visits"]
    if PEOPLE not in design.members:
        return pd.DataFrame(columns=columns)
    counts = fitted.sample.visits["practitioner"].value_counts()
    share = {name: int(counts[name]) for name in design.members[PEOPLE]}
    total, rows = sum(share.values()), []
    for name, many in sorted(share.items()):
        weights = {(PEOPLE, who): (who == name) - each / total for who, each in share.items()}
        figure = fit.estimate(design.row({}, weights), level=fitted.level, n=many, inflation=wider)
        if many >= FEWEST_OF_PRACTITIONER:
            rows.append([name, figure.value, figure.low, figure.high, many])
    return pd.DataFrame(rows, columns=columns)
