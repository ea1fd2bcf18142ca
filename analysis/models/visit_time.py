"""How long visits take: an overhead and a part for each ear, from minutes kept per visit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.models.ear_cells import EarCells, ear_cells
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.visit_design import visit_design
from analysis.models.visit_sample import VisitSample, visit_sample
from analysis.problems import NotEnough
from analysis.settings import VisitTimePart
from analysis.stats.clustered import clustered_covariance
from analysis.stats.gamma_identity import NotSettled, fit_gamma_identity

MOST_PULL = 0.5
"""A patient's pull on the fit is allowed for up to this, lest one who alone tells of a figure makes its range boundless."""


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
    (sandwich over per-visit scores, Liang and Zeger 1986), each patient's freed
    of his own pull on the fit, and follow Student's t with as many degrees as
    patients tell of a figure (Bell and McCaffrey 2002; Imbens and Kolesar 2016):
    without both, ranges of rarer ears held in 90 of 100. Grade is as first
    seen. A later method follows from difficulty, so only the first one counts,
    and that one was chosen for the ear: the parts describe, they do not compare.
    """
    return fit_sample(visit_sample(visits, worked, ears, settings), settings, level=level)


def fit_sample(sample: VisitSample, settings: VisitTimePart, *, level: float) -> FittedVisitTime:
    """Do as ``fit_visit_time`` on visits taken already."""
    sample, cells = _cells(sample, settings.fewest_visits)
    for with_terms in (True, False):
        fitted = _fitted(sample, cells, level, with_terms=with_terms)
        if fitted is not None:
            return fitted
    raise NotEnough(
        f"The minutes of {len(sample.visits):,} visits could not be split into a part for the visit and for each ear.",
        "Record each worked ear's grade and first method, and when each visit starts and ends.",
    )


def _fitted(sample: VisitSample, cells: EarCells, level: float, *, with_terms: bool) -> FittedVisitTime | None:
    """Fit with or without further terms; None where the fit does not settle or a mean is not positive."""
    design = visit_design(sample, cells, with_terms=with_terms)
    try:
        fit = fit_gamma_identity(design.fit_rows, design.fit_minutes)
    except NotSettled:
        return None
    means = design.visit_rows @ fit.params
    if means.min() <= 0:
        return None
    unclustered = FittedVisitTime(sample, cells, design, fit.params, fit.bread, fit.bread, means, level, not with_terms)
    whose = unclustered.patient_of_row
    pull = np.minimum(np.bincount(whose, fit.leverages), MOST_PULL)
    covariance = clustered_covariance(fit.bread, fit.scores / np.sqrt(1 - pull[whose])[:, None], whose)
    return replace(unclustered, covariance=covariance)


def _cells(sample: VisitSample, fewest_visits: int) -> tuple[VisitSample, EarCells]:
    """Count ears, and leave out visits with an ear of a grade seen too rarely."""
    while True:
        cells = ear_cells(sample.ears, visits=len(sample.visits), fewest_visits=fewest_visits)
        out = sample.visits.index.isin(sample.ears.loc[cells.column_of_ear < 0, "visit"])
        if not out.any():
            return sample, cells
        rare = sample.left_out.get("rare_grade", 0) + int(out.sum())
        sample = replace(sample.without(out), left_out={**sample.left_out, "rare_grade": rare})
