"""What follows a first method: how often another comes after it, and the minutes of each path."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.visit_candidates import clustered_mean
from analysis.models.visit_ears import later_methods, sample_ears
from analysis.models.visit_pooling import CELLS, SEPARATOR, fit_design, inflation, pooled_design
from analysis.models.visit_sample import NO_METHOD
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate
from analysis.stats.proportions import wilson_share

FEWEST_STARTS = 50
"""Ears begun with a method before what follows it is told (a rule of caution, no source)."""
FEWEST_ON_PATH = 20
"""Ears on a path before its minutes are told (a rule of caution, no source)."""
ALONE = ""
"""Stands for no second method."""


@dataclass(frozen=True, eq=False)
class Sequence:
    """Ears begun with one method, by what came second.

    Attributes
    ----------
    first : str
        The first method.
    paths : pandas.DataFrame
        One row a path, commonest first: ``then`` (empty: nothing else), ``ears``, ``share``,
        ``share_low``, ``share_high``, ``minutes`` an ear of that path adds, ``low``, ``high``; without
        minutes where fewer than 20 ears took the path.
    by_grade : pandas.DataFrame
        ``grade``, ``ears`` begun, ``then`` and ``share`` that went on to it, ``low``, ``high``.
    has_overhead : bool
        False where the minutes are those of whole visits.
    """

    first: str
    paths: pd.DataFrame
    by_grade: pd.DataFrame
    has_overhead: bool


def what_follows(fitted: FittedVisitTime, ears: pd.DataFrame, first: str, then: str) -> Sequence:
    """Follow the ears begun with a method.

    Parameters
    ----------
    fitted : FittedVisitTime
    ears : pandas.DataFrame
        The table ``EAR_ROWS``.
    first : str
        The first method.
    then : str
        The second method told by grade.

    Returns
    -------
    Sequence

    Raises
    ------
    NotEnough
        If fewer than 50 graded ears were begun with it, or the log never lists a second method.

    Notes
    -----
    A path's minutes are those of the grades its first method was begun on, all paths on the same
    mix, plus what the path itself adds: its departure is drawn in as in
    ``fit_pooled_minutes``. The second method came because the first did not do; so the
    minutes are those of a harder ear, not of a method.
    """
    worked = sample_ears(fitted.sample, ears)
    second = later_methods(worked)
    begun = (worked["first_method"] == first).to_numpy()
    if begun.sum() < FEWEST_STARTS:
        raise NotEnough(
            f"The log holds {begun.sum():,} graded ears begun with this method; {FEWEST_STARTS} are needed.",
            "Record the methods used on each ear, in order.",
        )
    if (second == ALONE).all():
        raise NotEnough(
            "The log never lists a second method for an ear.", "Record every method used on each ear, in order."
        )
    shares = _shares(fitted, worked, second, begun)
    minutes = _minutes(fitted, worked, second, first)
    known = [
        minutes[name] if ears >= FEWEST_ON_PATH else None
        for name, ears in shares[["then", "ears"]].itertuples(index=False)
    ]
    for name in ("value", "low", "high"):
        shares["minutes" if name == "value" else name] = [
            np.nan if each is None else getattr(each, name) for each in known
        ]
    overhead = "overhead" in pooled_design(fitted, worked).names
    return Sequence(first, shares, _by_grade(fitted, worked[begun], second[begun] == then, then), overhead)


def _shares(fitted: FittedVisitTime, worked: pd.DataFrame, second: pd.Series, begun: np.ndarray) -> pd.DataFrame:
    """Count the paths; two ears of a patient go together in the ranges."""
    patients = fitted.patients[worked.loc[begun, "visit"].to_numpy(dtype=int)]
    rows = []
    for name, many in second[begun].value_counts().items():
        share = clustered_mean((second[begun] == name).to_numpy(dtype=float), patients, fitted.level)
        rows.append([name, int(many), share.value, max(share.low, 0.0), min(share.high, 1.0)])
    return pd.DataFrame(rows, columns=["then", "ears", "share", "share_low", "share_high"])


def _minutes(fitted: FittedVisitTime, worked: pd.DataFrame, second: pd.Series, first: str) -> dict[str, Estimate]:
    """Work out each path's minutes on the mix of grades its first method was begun on."""
    cells = worked["first_method"].replace(NO_METHOD, "none") + SEPARATOR + second
    design = pooled_design(fitted, worked, cells)
    fit, wider = fit_design(fitted, design), inflation(fitted)
    begun = worked[worked["first_method"] == first]
    mix = {
        f"grade={grade}": float(share)
        for grade, share in begun["grade"].astype(str).value_counts(normalize=True).items()
    }
    found = {}
    for name, many in second[begun.index].value_counts().items():
        row = design.row(mix, {(CELLS, f"{first}{SEPARATOR}{name}"): 1.0})
        found[str(name)] = fit.estimate(row, level=fitted.level, n=int(many), inflation=wider)
    return found


def _by_grade(fitted: FittedVisitTime, begun: pd.DataFrame, went_on: pd.Series, then: str) -> pd.DataFrame:
    """Say of each grade which share went on to a method."""
    rows = []
    for grade, mine in went_on.groupby(begun["grade"], observed=True):
        if len(mine) >= FEWEST_ON_PATH:
            share = wilson_share(int(mine.sum()), len(mine), fitted.level)
            rows.append([str(grade), len(mine), then, share.value, share.low, share.high])
    return pd.DataFrame(rows, columns=["grade", "ears", "then", "share", "low", "high"])
