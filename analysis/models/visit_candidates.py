"""Ways of foretelling a visit's minutes, judged on later visits that they were not fitted on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from analysis.models.case_mix import independent_columns
from analysis.models.fitted_visit_time import FittedVisitTime
from analysis.models.visit_calibration import SHARES
from analysis.problems import NotEnough
from analysis.stats.estimate import Estimate
from analysis.stats.gamma import gamma_multipliers, gamma_shape
from analysis.stats.gamma_identity import NotSettled, fit_gamma_identity
from analysis.stats.quantile_regression import NoLine, quantile_line
from analysis.stats.quantiles import quantiles

HELD_OUT = 0.25
"""Part of the log, its latest, on which the ways are judged (a choice, no source)."""
FEWEST_HELD_OUT = 100
KIND_ALONE = "kind_alone"
FORMS = ("gamma_identity", "log_normal", "quantile_regression")
METHOD = "mean pinball loss on later visits, patients clustered"
SMALLEST = 0.5
"""Minutes; nothing shorter is foretold, whatever a line says."""

Lines = Callable[[np.ndarray, np.ndarray, np.ndarray], dict[float, np.ndarray]]


@dataclass(frozen=True, eq=False)
class CandidateLosses:
    """How far off each way of foretelling is.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a way, plainest first: ``form``, ``practitioners`` (whether they
        have terms), ``loss`` (mean of the three), ``loss_0.5``, ``loss_0.8``,
        ``loss_0.9`` in minutes, and ``worse``, ``worse_low``, ``worse_high``: how
        much more than the least loss, with its range.
    chosen : int
        Row of the plainest way whose loss cannot be told from the least.
    best : int
        Row of the least loss.
    fitted_on, judged_on : int
        Visits.
    failed : list of str
        Forms that did not settle on the earlier visits.
    """

    table: pd.DataFrame
    chosen: int
    best: int
    fitted_on: int
    judged_on: int
    failed: list[str]


def candidate_losses(fitted: FittedVisitTime) -> CandidateLosses:
    """Judge ways of foretelling minutes on the last quarter of the log.

    Parameters
    ----------
    fitted : FittedVisitTime
        For its visits and the columns of its design; nothing of its fit is used.

    Returns
    -------
    CandidateLosses

    Raises
    ------
    NotEnough
        If fewer than 100 visits are left to judge on.

    Notes
    -----
    Each way is fitted on the first three quarters and foretells, for every
    later visit, the minutes it stays within 5, 8 and 9 times in 10, from its
    kind of booking, the grades and first methods of its ears, and the
    practitioner where told to. Visits alike in these are put together for
    fitting.
    """
    minutes, visits = fitted.minutes, len(fitted.minutes)
    cut = int(visits * (1 - HELD_OUT))
    if visits - cut < FEWEST_HELD_OUT:
        raise NotEnough(
            f"Only {visits - cut:,} later visits would be left to judge on; {FEWEST_HELD_OUT} are needed.",
            "Record each visit's start and end for some more months.",
        )
    foretold, failed = {(KIND_ALONE, False): _by_kind(fitted, cut)}, []
    has_practitioners = any(name.startswith("practitioner=") for name in fitted.design.names)
    for practitioners in (False, True) if has_practitioners else (False,):
        rows = _rows(fitted, cut, practitioners=practitioners)
        for form, lines in zip(FORMS, (_gamma, _log_normal, _quantile), strict=True):
            try:
                foretold[form, practitioners] = lines(rows[:cut], minutes[:cut], rows[cut:])
            except (NotSettled, NoLine):
                failed.append(form)
    return _judged(foretold, minutes[cut:], fitted.patients[cut:], fitted.level, cut, failed)


def _by_kind(fitted: FittedVisitTime, cut: int) -> dict[float, np.ndarray]:
    """Foretell by the earlier quantiles of the same kind of booking."""
    kind = fitted.design.levels["booking_kind"].to_numpy(dtype=str)
    found = {share: np.full(len(kind) - cut, quantiles(fitted.minutes[:cut], [share])[0]) for share in SHARES}
    for each in np.unique(kind[:cut]):
        mine, later = fitted.minutes[:cut][kind[:cut] == each], kind[cut:] == each
        for share in SHARES:
            found[share][later] = quantiles(mine, [share])[0]
    return found


def _rows(fitted: FittedVisitTime, cut: int, *, practitioners: bool) -> np.ndarray:
    """Take the design's columns, those that the earlier visits tell apart."""
    names = fitted.design.names
    kept = [place for place, name in enumerate(names) if practitioners or not name.startswith("practitioner=")]
    rows = fitted.design.visit_rows[:, kept]
    return rows[:, independent_columns(rows[:cut])]


def _gamma(earlier: np.ndarray, minutes: np.ndarray, later: np.ndarray) -> dict[float, np.ndarray]:
    """Parts that add up, scatter in proportion."""
    fit = fit_gamma_identity(earlier, minutes)
    means = np.maximum(later @ fit.params, SMALLEST)
    wide = gamma_multipliers(np.array(SHARES), gamma_shape(minutes, fit.means))
    return {share: means * each for share, each in zip(SHARES, wide.tolist(), strict=True)}


def _log_normal(earlier: np.ndarray, minutes: np.ndarray, later: np.ndarray) -> dict[float, np.ndarray]:
    """Parts that multiply: least squares on the logarithm."""
    logs = np.log(minutes)
    params, *_ = np.linalg.lstsq(earlier, logs, rcond=None)
    spread = np.sqrt(((logs - earlier @ params) ** 2).sum() / max(len(logs) - earlier.shape[1], 1))
    return {share: np.exp(later @ params + norm.ppf(share) * spread) for share in SHARES}


def _quantile(earlier: np.ndarray, minutes: np.ndarray, later: np.ndarray) -> dict[float, np.ndarray]:
    """Give each share a line of its own."""
    return {share: np.maximum(later @ quantile_line(earlier, minutes, share), SMALLEST) for share in SHARES}


def _judged(
    foretold: dict[tuple[str, bool], dict[float, np.ndarray]],
    actual: np.ndarray,
    patients: np.ndarray,
    level: float,
    fitted_on: int,
    failed: list[str],
) -> CandidateLosses:
    """Lay the losses side by side, and choose the plainest that is as good as the best."""
    each_visit = {
        way: np.array([_losses(actual, lines[share], share) for share in SHARES]) for way, lines in foretold.items()
    }
    means = {way: losses.mean(axis=0) for way, losses in each_visit.items()}
    ways = sorted(foretold, key=lambda way: (way[1], (KIND_ALONE, *FORMS).index(way[0])))
    best = min(ways, key=lambda way: means[way].mean())
    rows = []
    for way in ways:
        worse = clustered_mean(means[way] - means[best], patients, level)
        by_share = each_visit[way].mean(axis=1).tolist()
        rows.append([*way, float(means[way].mean()), *by_share, worse.value, worse.low, worse.high])
    columns = ["form", "practitioners", "loss", *(f"loss_{share:g}" for share in SHARES)]
    table = pd.DataFrame(rows, columns=[*columns, "worse", "worse_low", "worse_high"])
    as_good = np.flatnonzero(table["worse_low"].to_numpy() <= 0)
    return CandidateLosses(table, int(as_good[0]), ways.index(best), fitted_on, len(actual), sorted(set(failed)))


def _losses(actual: np.ndarray, foretold: np.ndarray, share: float) -> np.ndarray:
    """Pinball loss of each visit."""
    short = actual - foretold
    return np.maximum(share * short, (share - 1) * short)


def clustered_mean(amounts: np.ndarray, patients: np.ndarray, level: float) -> Estimate:
    """Mean with a range that lets a patient's visits go together.

    Examples
    --------
    >>> found = clustered_mean(np.array([1.0, 3.0, 1.0, 3.0]), np.array(["a", "b", "c", "d"]), 0.95)
    >>> found.value, round(found.low, 2)
    (2.0, 1.02)
    """
    _, which = np.unique(patients, return_inverse=True)
    sums = np.bincount(which.ravel(), amounts - amounts.mean())
    half = float(norm.ppf(0.5 + level / 2) * np.sqrt((sums**2).sum()) / len(amounts))
    value = float(amounts.mean())
    return Estimate(value, value - half, value + half, level, len(amounts), METHOD)
