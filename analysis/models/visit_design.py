"""The columns a visit's mean minutes are the sum of: overhead, ears, practitioner, kind of booking."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.case_mix import independent_columns, level_columns
from analysis.models.ear_cells import EarCells
from analysis.models.visit_sample import VisitSample

FEWEST_IN_LEVEL = 30
"""Visits a practitioner or a kind of booking needs for a term of its own (a rule of caution, no source)."""
RARE = "other"
TERMS = ("practitioner", "booking_kind")


@dataclass(frozen=True, eq=False)
class VisitDesign:
    """The columns of the model of minutes.

    Attributes
    ----------
    names : list of str
        ``overhead``, ``ear 0`` and on, ``practitioner=...``, ``booking_kind=...``.
    visit_rows : numpy.ndarray, shape (visits, k)
        Times the parameters, each visit's mean minutes.
    fit_rows, fit_minutes, fit_visit : numpy.ndarray, shapes (n, k), (n,), (n,)
        What is fitted: the visits themselves; where each ear is timed, each
        ear and the rest of each visit. ``fit_visit`` says whose row it is.
    levels : pandas.DataFrame
        The terms' levels, one row a visit, rare ones joined.
    term_means : dict of str to float
        Mean of each level's column before it was centred.
    """

    names: list[str]
    visit_rows: np.ndarray
    fit_rows: np.ndarray
    fit_minutes: np.ndarray
    fit_visit: np.ndarray
    levels: pd.DataFrame
    term_means: dict[str, float]

    @property
    def has_overhead(self) -> bool:
        """Whether the visit's own minutes can be told from its ears'."""
        return "overhead" in self.names

    def row(self, ears: dict[int, float], levels: dict[str, str]) -> np.ndarray:
        """Give the design row of a visit; a term without a level is the log's average."""
        row = np.zeros(len(self.names))
        for place, name in enumerate(self.names):
            term, _, level = name.partition("=")
            if name == "overhead":
                row[place] = 1.0
            elif term in TERMS:
                row[place] = 0.0 if term not in levels else (levels[term] == level) - self.term_means[name]
            else:
                row[place] = ears.get(int(name.removeprefix("ear ")), 0.0)
        return row

    def term_row(self, term: str, level: str) -> np.ndarray:
        """Give the contrast of one level with the log's average."""
        return self.row({}, {term: level}) - self.row({}, {})


def visit_design(sample: VisitSample, cells: EarCells, *, with_terms: bool) -> VisitDesign:
    """Make the columns of the model of minutes.

    Parameters
    ----------
    sample : VisitSample
    cells : EarCells
        Without columns where ears are given no parts.
    with_terms : bool
        Whether practitioner and kind of booking have terms.

    Returns
    -------
    VisitDesign
        Terms are centred, so that the overhead is that of the log's average
        mix. Columns that are sums of earlier ones are left out, and the
        overhead is where every visit has equally many worked ears: then the
        visit's own minutes cannot be told from the ear's.
    """
    visits = len(sample.visits)
    levels = pd.DataFrame({term: _joined(sample.visits[term]) for term in TERMS}, dtype="object")
    terms = level_columns(levels) if with_terms else pd.DataFrame(index=levels.index)
    means = terms.mean()
    overhead = np.ones((visits, 1))
    ear_names = [f"ear {column}" for column in range(cells.counts.shape[1])]
    names = ["overhead", *ear_names, *terms.columns]
    rows = np.column_stack([overhead, cells.counts, (terms - means).to_numpy()])
    timed = sample.timed_by_ear
    if not timed and len(independent_columns(rows[:, : 1 + len(ear_names)])) < 1 + len(ear_names):
        names, rows = names[1:], rows[:, 1:]
    fit_rows, minutes, whose = _by_ear(sample, cells, rows) if timed else _by_visit(sample, rows)
    kept = independent_columns(fit_rows)
    return VisitDesign(
        names=[names[column] for column in kept],
        visit_rows=rows[:, kept],
        fit_rows=fit_rows[:, kept],
        fit_minutes=minutes,
        fit_visit=whose,
        levels=levels,
        term_means={str(name): float(mean) for name, mean in means.items()},
    )


def _joined(values: pd.Series) -> pd.Series:
    """Give a term's levels as text; rare and blank ones become one, or the commonest where few even so."""
    text = values.astype("object").where(values.notna(), RARE).astype("str")
    counts = text.value_counts()
    rare = text.isin(counts.index[counts < FEWEST_IN_LEVEL]) | (text == RARE)
    joined = text.mask(rare, RARE).astype("object")
    return joined.mask(rare, counts.index[0]) if rare.sum() < FEWEST_IN_LEVEL else joined


def _by_visit(sample: VisitSample, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Fit whole visits."""
    return rows, sample.visits["minutes"].to_numpy(dtype=float), np.arange(len(rows))


def _by_ear(sample: VisitSample, cells: EarCells, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Fit each ear's own minutes, and beside them the rest of each visit."""
    ears = np.zeros((len(cells.column_of_ear), rows.shape[1]))
    ears[np.arange(len(ears)), 1 + cells.column_of_ear] = 1.0
    rest = rows.copy()
    rest[:, 1 : 1 + cells.counts.shape[1]] = 0.0
    minutes = np.concatenate([sample.ears["minutes"].to_numpy(), sample.visits["rest_minutes"].to_numpy()])
    whose = np.concatenate([sample.ears["visit"].to_numpy(dtype=int), np.arange(len(rows))])
    return np.vstack([ears, rest]), minutes, whose
