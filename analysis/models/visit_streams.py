"""Visits without an earlier one in the log: new patients, and patients last seen before it begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.counts import count_draws
from analysis.models.new_patients import MonthlyModel, fit_monthly, fit_recent
from analysis.models.opening_days import Months, month_of_days
from analysis.models.visit_history import KINDS, NEW, History
from analysis.problems import NotEnough

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
    seen_first = history.keyed & ~history.linked
    which: dict[tuple[int, bool | None], np.ndarray] = {(NEW, None): history.kind == NEW}
    for kind in range(len(KINDS)):
        if kind != NEW:
            which[kind, True] = (history.kind == kind) & seen_first
            which[kind, False] = (history.kind == kind) & ~history.keyed
    streams = []
    for (kind, keyed), visits in which.items():
        counts = monthly_counts(history, months.whole, visits)[:, kind]
        try:
            model = _fitted(kind, keyed, counts, months)
        except NotEnough:
            continue  # a kind the months looked at do not hold is no stream
        point = model.means(months.walked, months.open_walked)
        drawn = model.mean_draws(months.walked, months.open_walked, sets, rng)
        followed = float(history.keyed[visits].mean())
        streams.append(Stream(kind, followed, model, np.concatenate([point[None], drawn])))
    if not streams:
        raise NotEnough("The months looked at hold no new patient.", "Record for each booking its kind and date.")
    return streams


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
    place = month_of_days(history.day[which]).asi8 - months.asi8[0]
    inside = (place >= 0) & (place < len(months))
    counts = np.zeros((len(months), len(KINDS)), dtype=np.int64)
    np.add.at(counts, (place[inside], history.kind[which][inside]), 1)
    return counts
