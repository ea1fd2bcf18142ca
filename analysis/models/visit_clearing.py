"""Time until all occluding ears are clear, kept apart from time in the chair."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.visit_ears import cleared, sample_ears
from analysis.problems import NotEnough
from analysis.stats.censored import NoMaximum, weibull_regression
from analysis.stats.log_normal import log_normal_regression

FEWEST_IN_GROUP = 50
"""Visits a group needs to be shown (a rule of caution, no source)."""
FEWEST_CLEARED = 30
SHARES = (0.5, 0.8)
CURVES: dict[str, Callable[..., Any]] = {"log_normal": log_normal_regression, "weibull": weibull_regression}
COLUMNS = [
    *("ears", "fullest", "share", "clear", "clear_low", "clear_high"),
    *("chair", "chair_low", "chair_high", "visits", "stopped"),
]
OCCLUDING = ("partly_occluding", "fully_occluding")


@dataclass(frozen=True, eq=False)
class Clearing:
    """How long visits take to clear all occluding ears, and how long they are in the chair.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a group and share: occluding ``ears`` worked on (1 or 2), ``fullest`` grade,
        ``share``, then minutes to clear (``clear``, ``clear_low``, ``clear_high``) and in
        the chair (``chair``, ``chair_low``, ``chair_high``), ``visits``, ``stopped`` (visits that ended before).
    curve : str
        ``log_normal`` or ``weibull``: the likelier for the time to clear.
    likelier_by : float
        By how much its log-likelihood is greater.
    visits, stopped : int
        Visits used, and those that ended before all of them were clear.
    unknown : int
        Visits left out because such an ear's outcome is not recorded, or their group is small.
    """

    table: pd.DataFrame
    curve: str
    likelier_by: float
    visits: int
    stopped: int
    unknown: int


def time_to_clear(fitted: FittedVisitTime, ears: pd.DataFrame) -> Clearing:
    """Fit the time until all occluding ears are clear, and the time in the chair, on the same visits.

    Parameters
    ----------
    fitted : FittedVisitTime
    ears : pandas.DataFrame
        The table ``EAR_ROWS``.

    Returns
    -------
    Clearing

    Raises
    ------
    NotEnough
        If no group has 50 visits, or fewer than 30 visits cleared their ears.

    Notes
    -----
    A visit is clear when every occluding ear worked on ended clear or with a non-occluding
    remnant. A visit that ended before is right-censored: clearing takes longer than it
    lasted. In the chair every visit is complete. Both times are on a log scale with a term for each
    group and one spread for all; log-normal and Weibull curves are both fitted and
    the likelier is kept. Censoring by difficulty makes the true time longer than shown.
    """
    visits, unknown = _visits(fitted, sample_ears(fitted.sample, ears))
    done = visits["cleared"].to_numpy(dtype=bool)
    if done.sum() < FEWEST_CLEARED:
        raise NotEnough(
            f"Only {done.sum():,} visits have their occluding ears recorded as cleared; {FEWEST_CLEARED} are needed.",
            "Record the outcome of each worked ear.",
        )
    groups = visits["group"].to_numpy()
    names, which = np.unique(groups, return_inverse=True)
    design, minutes = np.eye(len(names))[which], visits["minutes"].to_numpy(dtype=float)
    patients = visits["patient"].to_numpy()
    try:
        fits = {
            name: fit(minutes, np.where(done, minutes, np.inf), design, clusters=patients, level=fitted.level)
            for name, fit in CURVES.items()
        }
        likelier = max(fits, key=lambda name: fits[name].log_likelihood)
        chair = CURVES[likelier](minutes, minutes, design, clusters=patients, level=fitted.level)
    except NoMaximum:
        raise NotEnough(
            "The visits' minutes do not settle a curve of time to clear.",
            "Record each visit's end and outcome for longer.",
        ) from None
    rows = []
    for place, name in enumerate(names):
        mine, row = which == place, np.eye(len(names))[place]
        many, fullest = str(name).split("|")
        for share in SHARES:
            until, seated = fits[likelier].time_until(share, row), chair.time_until(share, row)
            figures = [until.value, until.low, until.high, seated.value, seated.low, seated.high]
            rows.append([int(many), fullest, share, *figures, int(mine.sum()), int((mine & ~done).sum())])
    by = fits[likelier].log_likelihood - min(fit.log_likelihood for fit in fits.values())
    return Clearing(pd.DataFrame(rows, columns=COLUMNS), likelier, by, len(visits), int((~done).sum()), unknown)


def _visits(fitted: FittedVisitTime, worked: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """List visits whose occluding ears all have an outcome, by their number and fullest grade; count those left out."""
    ears = worked[worked["grade"].isin(OCCLUDING)]
    ears = ears.assign(cleared=cleared(ears), known=ears["outcome"].notna(), full=ears["grade"] == OCCLUDING[1])
    by_visit = ears.groupby("visit").agg(
        ears=("cleared", "size"), cleared=("cleared", "all"), known=("known", "all"), full=("full", "any")
    )
    fullest = by_visit["full"].astype(bool).map({True: OCCLUDING[1], False: OCCLUDING[0]})
    by_visit["group"] = by_visit["ears"].astype(str) + "|" + fullest.astype(str)
    known = by_visit[by_visit["known"].astype(bool)]
    sizes = known["group"].value_counts()
    kept = known[known["group"].isin(sizes.index[sizes >= FEWEST_IN_GROUP])]
    if kept.empty:
        raise NotEnough(
            f"No {FEWEST_IN_GROUP} visits with as many occluding ears of one grade have their outcomes recorded.",
            "Record the grade and the outcome of each worked ear.",
        )
    place = kept.index.to_numpy(dtype=int)
    return kept.assign(minutes=fitted.minutes[place], patient=fitted.patients[place]), len(by_visit) - len(kept)
