"""How long visits take: an overhead and a part for each ear, from minutes kept per visit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.stats import norm

from analysis.models.ear_cells import POOLED, EarCells, ear_cells
from analysis.models.visit_design import TERMS, VisitDesign, visit_design
from analysis.models.visit_sample import VisitSample, visit_sample
from analysis.problems import NotEnough
from analysis.schema import GRADES, METHODS
from analysis.settings import VisitTimePart
from analysis.stats.clustered import clustered_covariance
from analysis.stats.estimate import Estimate
from analysis.stats.gamma import gamma_shape, mixture_quantile
from analysis.stats.gamma_identity import NotSettled, fit_gamma_identity

METHOD = "gamma model with identity link, patients clustered"
SMALLEST_MEAN = 0.5


@dataclass(frozen=True, eq=False)
class FittedVisitTime:
    """What the log says of a visit's minutes.

    Attributes
    ----------
    overhead : Estimate or None
        Minutes before any ear is worked on, for the log's average practitioner
        and kind of booking; None where every visit has equally many worked
        ears, so that ``added`` holds whole visits.
    added : pandas.DataFrame
        One row a grade and first method, in order: ``grade``,
        ``first_method`` (empty where not recorded), ``minutes``, ``low``,
        ``high``, ``ears``, ``visits``. Minutes one such ear adds; without a
        figure where too few visits had one.
    practitioners, kinds : pandas.DataFrame
        ``practitioner`` or ``booking_kind``, ``minutes`` (more than the log's
        average), ``low``, ``high``, ``visits``. Empty with fewer than two levels.
    shape : float
        Gamma shape of a visit's minutes around its mean.
    level : float
        How sure ranges are.
    sample : VisitSample
        The visits and ears it rests on, and what was left out.
    means : numpy.ndarray, shape (visits,)
        Each visit's fitted mean minutes, by the index of ``sample.visits``.
    ear_means : numpy.ndarray, shape (visits,)
        How much of that its ears take.
    without_terms : bool
        True where the fit settled only without practitioner and kind.
    """

    overhead: Estimate | None
    added: pd.DataFrame
    practitioners: pd.DataFrame
    kinds: pd.DataFrame
    shape: float
    level: float
    sample: VisitSample
    means: np.ndarray
    ear_means: np.ndarray
    without_terms: bool
    cells: EarCells
    design: VisitDesign
    params: np.ndarray
    covariance: np.ndarray

    def expected_minutes(
        self, ears: Sequence[tuple[str, str]] = (), *, booking_kind: str | None = None, practitioner: str | None = None
    ) -> Estimate:
        """Mean minutes of visits with the given ears.

        Parameters
        ----------
        ears : sequence of (str, str)
            Grade and first method of each worked ear.
        booking_kind, practitioner : str, optional
            Without them, the log's average.

        Returns
        -------
        Estimate

        Raises
        ------
        KeyError
            If the log has no figure for such an ear.
        """
        columns = [self.cells.cells.index(ear) if ear in self.cells.cells else None for ear in ears]
        if None in columns:
            raise KeyError(ears[columns.index(None)])
        counts = {column: float(columns.count(column)) for column in columns if column is not None}
        given = {"booking_kind": booking_kind, "practitioner": practitioner}
        levels = {term: level for term, level in given.items() if level is not None}
        return self._estimate(self.design.row(counts, levels), len(self.means))

    def minutes_within(self, share: float, ears: Sequence[tuple[str, str]] = (), **known: str) -> float:
        """Minutes that a share of visits with the given ears stays within."""
        mean = self.expected_minutes(ears, **known).value
        return mixture_quantile(share, np.array([mean]), np.ones(1), self.shape)

    @property
    def patients(self) -> np.ndarray:
        """Whose visit each is; without a patient number, a patient's only one."""
        return _patients(self.sample)

    def redrawn(self, visit_weights: np.ndarray) -> tuple[np.ndarray, float]:
        """Each visit's mean and the shape, had each visit counted so often: one step of the fit from here."""
        design = self.design
        weights = visit_weights[design.fit_visit]
        means = design.fit_rows @ self.params
        weighted = design.fit_rows * (weights / means**2)[:, None]
        step = np.linalg.pinv(design.fit_rows.T @ weighted, hermitian=True) @ (
            weighted.T @ (design.fit_minutes - means)
        )
        moved = np.maximum(design.visit_rows @ (self.params + step), SMALLEST_MEAN)
        return moved, gamma_shape(self.sample.visits["minutes"].to_numpy(), moved, visit_weights)

    def _estimate(self, row: np.ndarray, n: int) -> Estimate:
        """Give the figure of a sum of parameters."""
        return _estimate(row, self.params, self.covariance, self.level, n)


def fit_visit_time(
    visits: pd.DataFrame, worked: pd.DataFrame, ears: pd.DataFrame, settings: VisitTimePart, *, level: float = 0.95
) -> FittedVisitTime:
    """Split the minutes of visits into an overhead and a part for each ear.

    Parameters
    ----------
    visits : pandas.DataFrame
        The table ``VISITS``.
    worked : pandas.DataFrame
        The table ``ATTEMPTS``: the ears worked on.
    ears : pandas.DataFrame
        The table ``EAR_ROWS``; its minutes are used where the log times each ear.
    settings : VisitTimePart
        Which minutes are plausible, and how many visits a figure needs.
    level : float, optional
        How sure ranges should be.

    Returns
    -------
    FittedVisitTime

    Raises
    ------
    NotEnough
        If too few visits have minutes of their own, or the minutes cannot be
        split (the fit does not settle even without further terms).

    Notes
    -----
    Minutes are kept per visit, grade and method per ear; so a visit's mean is
    *overhead + left ear's part + right ear's part*: a gamma model with identity
    link on counts of ears by grade and first method, practitioner and kind of
    booking as centred further terms. Ranges let a patient's visits go together
    (sandwich over per-visit scores, Liang and Zeger 1986). Grade is as first
    seen. A later method follows from difficulty, so only the first one counts,
    and that one was chosen for the ear: the parts describe, they do not compare.
    """
    sample = visit_sample(visits, worked, ears, settings)
    sample, cells = _cells(sample, settings.fewest_visits)
    for with_terms in (True, False):
        design = visit_design(sample, cells, with_terms=with_terms)
        try:
            fit = fit_gamma_identity(design.fit_rows, design.fit_minutes)
        except NotSettled:
            continue
        means = design.visit_rows @ fit.params
        if means.min() > 0:
            covariance = clustered_covariance(fit.bread, fit.scores, _patients(sample)[design.fit_visit])
            return _result(sample, cells, design, fit.params, covariance, means, level, not with_terms)
    raise NotEnough(
        f"The minutes of {len(sample.visits):,} visits could not be split into a part for the visit and for each ear.",
        "Record each worked ear's grade and first method, and when each visit starts and ends.",
    )


def _cells(sample: VisitSample, fewest_visits: int) -> tuple[VisitSample, EarCells]:
    """Count ears, and leave out visits with an ear of a grade seen too rarely."""
    while True:
        cells = ear_cells(sample.ears, visits=len(sample.visits), fewest_visits=fewest_visits)
        out = sample.visits.index.isin(sample.ears.loc[cells.column_of_ear < 0, "visit"])
        if not out.any():
            return sample, cells
        kept = sample.visits[~out]
        place = pd.Series(range(len(kept)), index=kept.index)
        mine = sample.ears[sample.ears["visit"].isin(kept.index)]
        rare = sample.left_out.get("rare_grade", 0) + int(out.sum())
        sample = replace(
            sample,
            visits=kept.reset_index(drop=True),
            ears=mine.assign(visit=mine["visit"].map(place)).reset_index(drop=True),
            left_out={**sample.left_out, "rare_grade": rare},
        )


def _patients(sample: VisitSample) -> np.ndarray:
    """Say whose visit each is; without a patient number it is a patient's only one."""
    key = sample.visits["patient_key"]
    return (("patient " + key).where(key.notna(), "visit " + sample.visits["visit_id"])).to_numpy(dtype=str)


def _result(
    sample: VisitSample,
    cells: EarCells,
    design: VisitDesign,
    params: np.ndarray,
    covariance: np.ndarray,
    means: np.ndarray,
    level: float,
    without_terms: bool,
) -> FittedVisitTime:
    """Put a fit into the words of a visit."""
    is_ear = np.array([name.startswith("ear ") for name in design.names])
    overhead = _estimate(design.row({}, {}), params, covariance, level, len(means)) if design.has_overhead else None
    terms = {term: _term_table(term, design, params, covariance, level) for term in TERMS}
    return FittedVisitTime(
        overhead=overhead,
        added=_added(cells, design, params, covariance, level),
        practitioners=terms["practitioner"],
        kinds=terms["booking_kind"],
        shape=gamma_shape(sample.visits["minutes"].to_numpy(), means),
        level=level,
        sample=sample,
        means=means,
        ear_means=design.visit_rows[:, is_ear] @ params[is_ear],
        without_terms=without_terms,
        cells=cells,
        design=design,
        params=params,
        covariance=covariance,
    )


def _estimate(row: np.ndarray, params: np.ndarray, covariance: np.ndarray, level: float, n: int) -> Estimate:
    """Give a sum of parameters and its range."""
    value, half = float(row @ params), float(norm.ppf(0.5 + level / 2) * np.sqrt(row @ covariance @ row))
    return Estimate(value, value - half, value + half, level, n, METHOD)


def _added(
    cells: EarCells, design: VisitDesign, params: np.ndarray, covariance: np.ndarray, level: float
) -> pd.DataFrame:
    """List what an ear of each grade and first method adds; no figure for pooled ones."""
    rows = []
    for seen, own in zip(cells.seen.itertuples(), cells.has_own_figure, strict=True):
        known = own and f"ear {seen.column}" in design.names and seen.first_method != POOLED
        row = np.array([float(name == f"ear {seen.column}") for name in design.names])
        figure = _estimate(row, params, covariance, level, int(seen.ears))
        figures = [figure.value, figure.low, figure.high] if known else [np.nan] * 3
        rows.append([seen.grade, seen.first_method, *figures, int(seen.ears), int(seen.visits)])
    table = pd.DataFrame(rows, columns=["grade", "first_method", "minutes", "low", "high", "ears", "visits"])
    table["grade"] = pd.Categorical(table["grade"], list(GRADES), ordered=True)
    table["first_method"] = pd.Categorical(table["first_method"], list(METHODS))
    return table.sort_values(["grade", "first_method"], ignore_index=True)


def _term_table(
    term: str, design: VisitDesign, params: np.ndarray, covariance: np.ndarray, level: float
) -> pd.DataFrame:
    """List how far each level of a term lies from the log's average."""
    columns = [term, "minutes", "low", "high", "visits"]
    if not any(name.startswith(f"{term}=") for name in design.names):
        return pd.DataFrame(columns=columns)
    rows = []
    for name, many in design.levels[term].value_counts().sort_index().items():
        figure = _estimate(design.term_row(term, str(name)), params, covariance, level, int(many))
        rows.append([name, figure.value, figure.low, figure.high, int(many)])
    return pd.DataFrame(rows, columns=columns)
