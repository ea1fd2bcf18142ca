"""Whether softening does more for some ears than for others: its effect by group, and how the effects differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.adjusted import case_mix_design
from analysis.models.case_mix import FEWEST_IN_LEVEL
from analysis.models.case_mix_fit import fitted_coefficients
from analysis.models.softening_material import Material
from analysis.problems import NotEnough
from analysis.stats.effects import contrast_estimate
from analysis.stats.estimate import Estimate
from analysis.stats.influence import Target, averaged_predictions

GROUP_LABELS = {"grade": ("partly_occluding", "fully_occluding"), "impacted": ("no", "yes")}


@dataclass(frozen=True, eq=False)
class GroupEffects:
    """Softening's effect in two groups of ears, and by how much they differ.

    Attributes
    ----------
    fact : str
        ``grade`` or ``impacted``.
    effects : dict of str to Estimate
        By group: success share softened less not, over the group's own ears.
    interaction : Estimate
        The second group's effect less the first's.
    """

    fact: str
    effects: dict[str, Estimate]
    interaction: Estimate


def effects_by_group(material: Material, fact: str, *, level: float) -> GroupEffects:
    """Softening's effect in either group, like with like, and the difference of both effects.

    Parameters
    ----------
    material : Material
        Ears and their success.
    fact : {"grade", "impacted"}
    level : float
        How sure ranges should be.

    Returns
    -------
    GroupEffects

    Raises
    ------
    NotEnough
        If an arm of a group has fewer than 5 successes or failures.

    Notes
    -----
    One logistic regression in which softening's coefficient may differ between
    the groups, standardised over each group's own ears. Ears without the fact
    are left out. The range of the difference of differences lets ears of one
    patient go together even where they are in different groups.
    """
    said = _said(material.sample.rows[fact])
    known = said.isin(GROUP_LABELS[fact]).to_numpy()
    first = (said == GROUP_LABELS[fact][0]).to_numpy()[known]
    treated, outcome = material.treated[known], np.asarray(material.outcome[known], dtype=bool)
    _refuse_thin(fact, first, treated, outcome)
    of_treatment = np.column_stack([treated, treated & ~first]).astype(float)
    design = case_mix_design(material.columns[known], of_treatment)
    full = np.column_stack([design, of_treatment])
    coefficients = fitted_coefficients(full, outcome, shares=True)
    targets = []
    for rows in (first, ~first):
        for value in (1.0, 0.0):
            set_to = np.column_stack([np.full(len(first), value), value * ~first])
            targets.append(Target(np.column_stack([design, set_to]), rows))
    clusters = material.sample.whose[known]
    averages = averaged_predictions(coefficients, full, outcome, clusters, targets, shares=True)
    weights = {GROUP_LABELS[fact][0]: [1, -1, 0, 0], GROUP_LABELS[fact][1]: [0, 0, 1, -1]}
    sizes = {GROUP_LABELS[fact][0]: int(first.sum()), GROUP_LABELS[fact][1]: int((~first).sum())}
    method = "logistic regression with softening by group, standardised over each group, patients clustered"
    effects = {
        name: contrast_estimate(averages, np.array(weight), level=level, n=sizes[name], method=method)
        for name, weight in weights.items()
    }
    between = contrast_estimate(averages, np.array([-1, 1, 1, -1]), level=level, n=len(first), method=method)
    return GroupEffects(fact, effects, between)


def _said(values: pd.Series) -> pd.Series:
    """Turn grades and yes/no into text."""
    return (
        values.map({True: "yes", False: "no"}).astype("object")
        if values.dtype == "boolean"
        else values.astype("object")
    )


def _refuse_thin(fact: str, first: np.ndarray, treated: np.ndarray, outcome: np.ndarray) -> None:
    """Refuse a group with nearly no success or failure in an arm."""
    for name, group in zip(GROUP_LABELS[fact], (first, ~first), strict=True):
        for arm in (treated, ~treated):
            least = min(int((outcome & group & arm).sum()), int((~outcome & group & arm).sum()))
            if least < FEWEST_IN_LEVEL:
                raise NotEnough(
                    f"Too few ears to tell by {fact}: in {name.replace('_', ' ')} an arm has fewer than "
                    f"{FEWEST_IN_LEVEL} successes or failures.",
                    f"Record {fact} for every ear, and wait until the log is larger.",
                )
