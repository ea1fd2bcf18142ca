"""Curves fitted to what is known of groups' ears: one shape, a scale a group."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.models.recall_choice import Material, chosen_family
from analysis.models.recall_entry import entry_columns
from analysis.models.recall_evidence import ear_evidence
from analysis.models.recall_groups import Group
from analysis.models.recall_returns import calls_uncertain
from analysis.problems import NotEnough
from analysis.settings import RecallPart
from analysis.stats.averaged_times import AveragedTimes
from analysis.stats.censored import NoMaximum, TimeRegression, time_regression
from analysis.stats.time_families import WEIBULL, Family


def groups_family(groups: list[Group], settings: RecallPart) -> Family:
    """Choose the curve by how it foretells patients held out; the Weibull where that cannot be told."""
    shares = [[each.never for each in group.returns] for group in groups]
    try:
        return chosen_family(groups_material(groups, shares, settings))
    except NoMaximum:
        return WEIBULL


def fit_groups(
    groups: list[Group], settings: RecallPart, level: float, *, family: Family, never: bool
) -> list[AveragedTimes]:
    """Fit one shape and a scale a group; widen the covariance for the uncertain shares who never return.

    Parameters
    ----------
    groups : list of Group
    settings : RecallPart
    level : float
    family : Family
    never : bool
        False: nobody is gone for good.

    Returns
    -------
    list of AveragedTimes
        Of each group, averaged over its ears, whenever they entered the log.

    Raises
    ------
    NotEnough
        If the ears settle no curve.
    """
    groups = groups if never else [_all_open(group) for group in groups]
    shares = [[each.never if never else 0.0 for each in group.returns] for group in groups]
    fit = _fit_with(groups, shares, settings, level, family)
    covariance = fit.covariance.copy()
    at = np.append(fit.coefficients, fit.log_sigma)
    moves = [(g, stage) for g, group in enumerate(groups) for stage, each in enumerate(group.returns) if each.error > 0]
    for g, stage in moves if never else []:
        moved = [list(each) for each in shares]
        moved[g][stage] += groups[g].returns[stage].error
        covariance += _apart(at, _fit_with(groups, moved, settings, level, family))
    if never and any(calls_uncertain(group.returns) for group in groups):
        covariance += _apart(at, _fit_with(groups, shares, settings, level, family, silent_errors=1))
    widened = replace(fit, covariance=covariance)
    return [AveragedTimes.over(widened, each) for each in _designs(groups, settings)]


def _all_open(group: Group) -> Group:
    """Take whoever stays away to have open ears: nobody to be gone, and nobody to come at recalls only."""
    calls = [None if each.calls is None else replace(each.calls, silent=0.0) for each in group.returns]
    return replace(group, returns=[replace(each, calls=its) for each, its in zip(group.returns, calls, strict=True)])


def _apart(at: np.ndarray, other: TimeRegression) -> np.ndarray:
    """Give what another fit's distance from one adds to the covariance."""
    shift = np.append(other.coefficients, other.log_sigma) - at
    return np.outer(shift, shift)


def _fit_with(
    groups: list[Group],
    never: list[list[float]],
    settings: RecallPart,
    level: float,
    family: Family,
    *,
    silent_errors: float = 0.0,
) -> TimeRegression:
    """Fit with given shares who never return, and shares who never call moved by some of their errors."""
    of = groups_material(groups, never, settings, silent_errors=silent_errors)
    try:
        return time_regression(
            of.low, of.high, of.design, family=family, counts=of.weight, clusters=of.patient, level=level
        )
    except NoMaximum:
        raise NotEnough(
            "The ears seen again do not settle a curve: nearly all were found in the same state.",
            "Record each ear's grade at every visit, also where nothing was removed.",
        ) from None


def groups_material(
    groups: list[Group], never: list[list[float]], settings: RecallPart, *, silent_errors: float = 0.0
) -> Material:
    """Lay out the likelihood's rows."""
    parts = [
        ear_evidence(group.first, group.returns, shares, settings.symptom_window_days, silent_errors=silent_errors)
        for group, shares in zip(groups, never, strict=True)
    ]
    designs = _designs(groups, settings)
    patients = [group.first["patient_key"].to_numpy()[part.row] for group, part in zip(groups, parts, strict=True)]
    return Material.of(
        low=np.concatenate([part.low for part in parts]),
        high=np.concatenate([part.high for part in parts]),
        weight=np.concatenate([part.weight for part in parts]),
        design=np.concatenate([each[part.row] for each, part in zip(designs, parts, strict=True)]),
        keys=np.concatenate(patients),
    )


def _designs(groups: list[Group], settings: RecallPart) -> list[np.ndarray]:
    """Give each group's ears a column for each group, and those for entry into the log."""
    entry = entry_columns([group.first for group in groups], settings.fewest_ears)
    return [
        np.column_stack([np.tile(own, (len(each), 1)), each])
        for own, each in zip(np.eye(len(groups)), entry, strict=True)
    ]
