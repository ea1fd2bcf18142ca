"""Success by days of softening: a smooth curve with its range."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.adjusted import case_mix_design
from analysis.models.case_mix_fit import fitted_coefficients
from analysis.models.softening_material import Material
from analysis.problems import NotEnough
from analysis.stats.effects import contrast_estimate
from analysis.stats.estimate import Estimate
from analysis.stats.influence import Target, averaged_predictions
from analysis.stats.splines import restricted_cubic

KNOTS_AT = (0.10, 0.50, 0.90)
"""Quantiles of the days at which the curve may bend (Harrell 2015, Regression Modeling Strategies, section 2.4)."""


@dataclass(frozen=True, eq=False)
class DaysCurve:
    """Success by days of softening, as if all ears compared had been softened so long.

    Attributes
    ----------
    days : numpy.ndarray of int
    shares : list of Estimate
        One a day.
    unsoftened : Estimate
        The same ears, not softened.
    longer_less_shorter : Estimate
        The share at ``long_days`` less that at ``short_days``.
    short_days, long_days : int
        Days that one in four stayed below, and that one in four went beyond.
    ears : int
        Softened ears with days recorded.
    ears_by_day : dict of int to int
    first_day, last_day : pandas.Timestamp
    """

    days: np.ndarray
    shares: list[Estimate]
    unsoftened: Estimate
    longer_less_shorter: Estimate
    short_days: int
    long_days: int
    ears: int
    ears_by_day: dict[int, int]
    first_day: pd.Timestamp
    last_day: pd.Timestamp


def days_curve(material: Material, *, level: float, fewest_ears: int) -> DaysCurve:
    """Draw success over the days of softening as a smooth curve.

    Parameters
    ----------
    material : Material
        Ears and their success; contrast ``used``.
    level : float
        How sure the range at each day should be.
    fewest_ears : int
        Softened ears with days recorded that are needed.

    Returns
    -------
    DaysCurve
        Over the days between which the middle nine in ten of softened ears lie.

    Raises
    ------
    NotEnough
        If too few ears have days, or nearly all have the same.

    Notes
    -----
    Logistic regression on the case mix, softened or not, and a restricted cubic
    spline of the days among the softened, standardised over all ears compared.
    Softened ears without days are left out.
    """
    rows, treated = material.sample.rows, material.treated
    days = rows["softening_days"].to_numpy(dtype=float)
    dosed = treated & (days > 0)
    if dosed.sum() < fewest_ears:
        raise NotEnough(
            f"Not enough ears yet: {fewest_ears - int(dosed.sum()):,} more softened ears with days recorded are needed.",
            "Ask at every visit for how many days the ear was softened.",
        )
    knots = np.quantile(days[dosed], KNOTS_AT)
    if len(set(knots)) < len(knots):
        raise NotEnough(
            "Nearly all ears were softened for the same number of days.",
            "Nothing: days that never differ cannot be compared.",
        )
    kept = dosed | ~treated
    outcome = np.asarray(material.outcome[kept], dtype=bool)
    bend = _dose_columns(np.where(dosed, days, 0.0)[kept], dosed[kept], knots)
    design = case_mix_design(material.columns[kept], bend)
    full = np.column_stack([design, bend])
    coefficients = fitted_coefficients(full, outcome, shares=True)
    low, high = (round(float(each)) for each in np.quantile(days[dosed], (0.05, 0.95)))
    grid = np.arange(low, high + 1)
    everyone = np.ones(len(full), dtype=bool)
    set_to = [_dose_columns(np.full(len(full), float(day)), everyone, knots) for day in grid]
    targets = [Target(np.column_stack([design, each])) for each in (*set_to, np.zeros_like(bend))]
    averages = averaged_predictions(coefficients, full, outcome, material.sample.whose[kept], targets, shares=True)
    short, long = (round(float(each)) for each in np.quantile(days[dosed], (0.25, 0.75)))
    places = np.eye(len(targets))
    method = "logistic regression with a spline of days, standardised over all ears compared, patients clustered"

    def told(weights: np.ndarray) -> Estimate:
        return contrast_estimate(averages, weights, level=level, n=int(dosed.sum()), method=method)

    said, many = np.unique(days[dosed].round().astype(int), return_counts=True)
    return DaysCurve(
        grid,
        [told(places[place]) for place in range(len(grid))],
        told(places[-1]),
        told(places[long - low] - places[short - low]),
        short,
        long,
        int(dosed.sum()),
        dict(zip(said.tolist(), many.tolist(), strict=True)),
        rows["day"][kept].min(),
        rows["day"][kept].max(),
    )


def _dose_columns(days: np.ndarray, softened: np.ndarray, knots: np.ndarray) -> np.ndarray:
    """Give softened or not, and the bending days of the softened; nought for the others."""
    return np.column_stack([np.ones(len(days)), restricted_cubic(days, knots)]) * softened[:, None]
