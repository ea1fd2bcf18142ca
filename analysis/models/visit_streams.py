"""Visits without an earlier one in the log: new patients, and patients last seen before it begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.counts import count_draws
from analysis.models.new_patients import MonthlyModel, fit_monthly, fit_recent
from analysis.models.opening_days import Months, month_edges, month_of_days
from analysis.models.visit_history import KINDS, NEW, History
from analysis.problems import NotEnough

UNKEYED = 2
"""Sort of a visit without a patient number; 0 is a patient's first in the log, 1 a later one."""
MOSTLY_KEYED = 0.5
"""Below this share of visits with a patient number, every kind is forecast from its counts alone."""


@dataclass(frozen=True, eq=False)
class Stream:
    """One kind of visit forecast from its monthly counts.

    Attributes
    ----------
    kind : int
        Place of the kind in ``KINDS``.
    keyed : float
        Share of these visits that carry a patient number and can be followed on.
    model : MonthlyModel
    means : numpy.ndarray, shape (1 + sets, months walked)
        Expected visits: likeliest first, then as uncertain as the model is.
    """

    kind: int
    keyed: float
    model: MonthlyModel
    means: np.ndarray

    def futures(self, futures: int, rng: np.random.Generator) -> np.ndarray:
        """Draw visits of each month, shape (futures, months walked)."""
        sets = 1 + np.arange(futures) % (len(self.means) - 1)
        return count_draws(self.means[sets], self.model.fit.corrected_dispersion, rng)


def mostly_keyed(history: History) -> bool:
    """Say whether enough visits carry a patient number to follow patients by.

    Parameters
    ----------
    history : History

    Returns
    -------
    bool
    """
    return bool(history.keyed.mean() >= MOSTLY_KEYED)


def count_streams(history: History, months: Months, *, sets: int, rng: np.random.Generator) -> list[Stream]:
    """Forecast each kind's visits that have no earlier one in the log.

    Parameters
    ----------
    history : History
    months : Months
    sets : int
        Sets of coefficients to draw.
    rng : numpy.random.Generator

    Returns
    -------
    list of Stream
        A kind without such visits is left out.

    Raises
    ------
    NotEnough
        If no visit at all is of this sort.

    Notes
    -----
    New patients have a level, a trend and a season. Other visits are of
    patients last seen before the log begins, which can only fade, or carry no
    patient number; these have the level and trend of the last year.
    """
    sort = np.where(history.keyed, history.linked, UNKEYED)
    by_sort = np.bincount(sort * len(KINDS) + history.kind, minlength=3 * len(KINDS)).reshape(3, -1)
    counts = np.stack([monthly_counts(history, months.whole, sort == each) for each in range(3)])
    streams = []
    for kind, keyed in _sorts():
        sorts = [0, 1, UNKEYED] if keyed is None else [0 if keyed else UNKEYED]
        try:
            model = _fitted(kind, keyed, counts[sorts, :, kind].sum(axis=0), months)
        except NotEnough:
            continue  # a kind the months looked at do not hold is no stream
        point = model.means(months.walked, months.open_walked)
        drawn = model.mean_draws(months.walked, months.open_walked, sets, rng)
        followed = 1 - by_sort[UNKEYED, kind] / by_sort[:, kind].sum() if keyed is None else float(keyed)
        streams.append(Stream(kind, followed, model, np.concatenate([point[None], drawn])))
    if not streams:
        raise NotEnough("The months looked at hold no new patient.", "Record for each booking its kind and date.")
    return streams


def _sorts() -> list[tuple[int, bool | None]]:
    """List the kinds with whether their visits carry a patient number; new patients' are taken together."""
    others = [kind for kind in range(len(KINDS)) if kind != NEW]
    return [(NEW, None), *((kind, keyed) for kind in others for keyed in (True, False))]


def _fitted(kind: int, keyed: bool | None, counts: np.ndarray, months: Months) -> MonthlyModel:
    """Fit a kind's counts as their sort allows."""
    if kind == NEW:
        return fit_monthly(counts, months.whole, months.open_whole)
    return fit_recent(counts, months.whole, months.open_whole, fading=bool(keyed))


def monthly_counts(history: History, months: pd.PeriodIndex, which: np.ndarray) -> np.ndarray:
    """Count visits by month and kind.

    Parameters
    ----------
    history : History
    months : pandas.PeriodIndex
        Months in order, without a gap.
    which : numpy.ndarray of bool
        Visits to count.

    Returns
    -------
    numpy.ndarray of int, shape (months, kinds)
    """
    first, last = month_edges(months[:1])[0].item(), month_edges(months[-1:])[1].item()
    day, kind = history.day[which], history.kind[which]
    inside = (day >= first) & (day < last)
    place = month_of_days(np.arange(first, last)).asi8 - months.asi8[0]
    cell = place[day[inside] - first] * len(KINDS) + kind[inside]
    return np.bincount(cell, minlength=len(months) * len(KINDS)).reshape(len(months), len(KINDS))
