"""What the log says of a visit's minutes: its overhead, what ears add, and what to expect of given ears."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.stats import t as student

from analysis.models.ear_cells import POOLED, EarCells
from analysis.models.visit_design import VisitDesign
from analysis.models.visit_sample import VisitSample
from analysis.schema import GRADES, METHODS
from analysis.stats.cells import Cells, cells_of
from analysis.stats.estimate import Estimate
from analysis.stats.gamma import gamma_shape, mixture_quantile

METHOD = "gamma model with identity link, patients clustered"
SMALLEST_MEAN = 0.5
"""Minutes; a redrawn mean below this would be a slip of the single step taken."""


@dataclass(frozen=True, eq=False)
class FittedVisitTime:
    """The minutes of visits, split into an overhead and a part for each ear.

    Attributes
    ----------
    sample : VisitSample
        The visits and ears it rests on, and what was left out.
    level : float
        How sure ranges are.
    without_terms : bool
        True where the fit settled only without practitioner and kind.
    means : numpy.ndarray, shape (visits,)
        Each visit's fitted mean minutes, by the index of ``sample.visits``.
    cells, design, params, covariance, bread
        The fit itself: ears by cell, columns, parameters, their covariance, and the inverse of the information.
    """

    sample: VisitSample
    cells: EarCells
    design: VisitDesign
    params: np.ndarray
    covariance: np.ndarray
    bread: np.ndarray
    means: np.ndarray
    level: float
    without_terms: bool

    @cached_property
    def overhead(self) -> Estimate | None:
        """Minutes before any ear is worked on, for the log's average practitioner and kind of booking.

        None where every visit has equally many worked ears: then the visit's
        own minutes cannot be told from the ears', and ``added`` holds whole visits.
        """
        return self._estimate(self.design.row({}, {}), len(self.means)) if self.design.has_overhead else None

    @cached_property
    def added(self) -> pd.DataFrame:
        """Minutes one ear adds, by grade and first method.

        One row a grade and first method in the log, in order: ``grade``,
        ``first_method`` (empty where not recorded), ``minutes``, ``low``,
        ``high``, ``ears``, ``visits``. Without a figure where too few visits had one.
        """
        rows = []
        for seen, own in zip(self.cells.seen.to_dict("records"), self.cells.has_own_figure, strict=True):
            known = own and f"ear {seen['column']}" in self.design.names and seen["first_method"] != POOLED
            figure = self._estimate(self.design.row({seen["column"]: 1.0}, {}) - self.design.row({}, {}), seen["ears"])
            minutes = [figure.value, figure.low, figure.high] if known else [np.nan] * 3
            rows.append([seen["grade"], seen["first_method"], *minutes, seen["ears"], seen["visits"]])
        table = pd.DataFrame(rows, columns=["grade", "first_method", "minutes", "low", "high", "ears", "visits"])
        method = table["first_method"].where(table["first_method"].isin(list(METHODS)))
        table["grade"] = pd.Categorical(table["grade"], list(GRADES), ordered=True)
        table["first_method"] = pd.Categorical(method, list(METHODS))
        return table.sort_values(["grade", "first_method"], ignore_index=True)

    @cached_property
    def practitioners(self) -> pd.DataFrame:
        """How far each practitioner's visits lie from the log's average, ears being equal.

        ``practitioner``, ``minutes``, ``low``, ``high``, ``visits``; those with
        fewer than 30 visits together as ``other``. Empty with fewer than two.
        """
        return self._term_table("practitioner")

    @cached_property
    def kinds(self) -> pd.DataFrame:
        """How far each kind of booking lies from the log's average, ears being equal; as ``practitioners``."""
        return self._term_table("booking_kind")

    @cached_property
    def minutes(self) -> np.ndarray:
        """Each visit's actual minutes, shape (visits,)."""
        return self.sample.visits["minutes"].to_numpy(dtype=float)

    @cached_property
    def shape(self) -> float:
        """Gamma shape of a visit's minutes around its mean."""
        return gamma_shape(self.minutes, self.means)

    @cached_property
    def ear_means(self) -> np.ndarray:
        """How many of each visit's mean minutes its ears take, shape (visits,)."""
        is_ear = np.array([name.startswith("ear ") for name in self.design.names])
        return self.design.visit_rows[:, is_ear] @ self.params[is_ear]

    @cached_property
    def patients(self) -> np.ndarray:
        """Whose visit each is; without a patient number, a patient's only one."""
        key = self.sample.visits["patient_key"]
        return (("patient " + key).where(key.notna(), "visit " + self.sample.visits["visit_id"])).to_numpy(dtype=str)

    @cached_property
    def patient_of_row(self) -> np.ndarray:
        """Whose each row of the fit is, numbered."""
        return pd.factorize(self.patients)[0][self.design.fit_visit]

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
            If the log has no figure for such an ear, kind or practitioner.
        """
        counts: dict[int, float] = {}
        for ear in ears:
            if ear not in self.cells.cells:
                raise KeyError(ear)
            column = self.cells.cells.index(ear)
            counts[column] = counts.get(column, 0.0) + 1.0
        given = {"booking_kind": booking_kind, "practitioner": practitioner}
        levels = {term: level for term, level in given.items() if level is not None}
        for term, level in levels.items():
            if not (self.design.levels[term] == level).any():
                raise KeyError(level)
        return self._estimate(self.design.row(counts, levels), len(self.means))

    def minutes_within(self, share: float, ears: Sequence[tuple[str, str]] = (), **known: str) -> float:
        """Minutes that a share of visits with the given ears stays within; ``known`` as for the mean."""
        return mixture_quantile(share, np.array([self.expected_minutes(ears, **known).value]), np.ones(1), self.shape)

    def redrawn(self, visit_weights: np.ndarray) -> tuple[np.ndarray, float]:
        """Give each visit's mean and the shape, had each visit counted so often: one step of the fit from here."""
        moved = self._moved(visit_weights)[self.alike_visits.of_row]
        return moved, gamma_shape(self.minutes, moved, visit_weights)

    @cached_property
    def alike_visits(self) -> Cells:
        """Visits with the same ears, practitioner and kind, whose means are the same."""
        return cells_of(self.design.visit_rows)

    @cached_property
    def _alike_rows(self) -> Cells:
        """Rows of the fit with the same design."""
        return cells_of(self.design.fit_rows)

    def _moved(self, visit_weights: np.ndarray) -> np.ndarray:
        """Take the step on rows put together; give the mean of each kind of visit."""
        design, alike = self.design, self._alike_rows
        weights = visit_weights[design.fit_visit]
        rows = design.fit_rows[alike.first]
        means, counts = rows @ self.params, alike.sums(weights)
        weighted = rows * (counts / means**2)[:, None]
        step = rows.T @ ((alike.sums(weights * design.fit_minutes) - counts * means) / means**2)
        step = np.linalg.pinv(rows.T @ weighted, hermitian=True) @ step
        return np.maximum(design.visit_rows[self.alike_visits.first] @ (self.params + step), SMALLEST_MEAN)

    def _term_table(self, term: str) -> pd.DataFrame:
        """List how far each level of a term lies from the log's average."""
        columns = [term, "minutes", "low", "high", "visits"]
        if not any(name.startswith(f"{term}=") for name in self.design.names):
            return pd.DataFrame(columns=columns)
        levels, counts = np.unique(self.design.levels[term].to_numpy(dtype=str), return_counts=True)
        rows = []
        for name, many in zip(levels.tolist(), counts.tolist(), strict=True):
            figure = self._estimate(self.design.term_row(term, name), many)
            rows.append([name, figure.value, figure.low, figure.high, many])
        return pd.DataFrame(rows, columns=columns)

    def _estimate(self, row: np.ndarray, n: int) -> Estimate:
        """Give a sum of parameters with its range."""
        value = float(row @ self.params)
        times = float(student.ppf(0.5 + self.level / 2, self._degrees(row)))
        half = times * float(np.sqrt(row @ self.covariance @ row))
        return Estimate(value, value - half, value + half, self.level, n, METHOD)

    def _degrees(self, row: np.ndarray) -> float:
        """Degrees of freedom of a sum of parameters: one less than as many patients alike as would tell as much."""
        alike = self._alike_rows
        rows = self.design.fit_rows[alike.first]
        told = ((rows @ self.bread @ row) / (rows @ self.params)) ** 2
        by_patient = np.bincount(self.patient_of_row, told[alike.of_row])
        if not by_patient.any():
            return np.inf
        return max(float(by_patient.sum() ** 2 / (by_patient**2).sum()) - 1, 1.0)
