"""Agents compared with each other, all pairs at once, rarely used ones hidden."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.adjusted import case_mix_design
from analysis.models.case_mix import FEWEST_IN_LEVEL, case_mix, level_columns
from analysis.models.case_mix_fit import fitted_coefficients
from analysis.models.softening_material import Material
from analysis.models.softening_sample import FACTS
from analysis.problems import NotEnough
from analysis.stats.effects import contrast_estimate
from analysis.stats.estimate import Estimate
from analysis.stats.influence import Target, averaged_predictions
from analysis.stats.simultaneous import all_pairs, simultaneous_ranges


@dataclass(frozen=True, eq=False)
class Agents:
    """Agents compared with each other, each as if all the ears compared had had it.

    Attributes
    ----------
    ears : dict of str to int
        By agent compared, commonest first.
    shares : dict of str to Estimate
        Standardised success share.
    pairs : dict of (str, str) to Estimate
        First less second; ranges hold for all pairs together.
    hidden : list of str
        Agents too rarely used to be compared.
    first_day, last_day : pandas.Timestamp
    patients : int
    """

    ears: dict[str, int]
    shares: dict[str, Estimate]
    pairs: dict[tuple[str, str], Estimate]
    hidden: list[str]
    first_day: pd.Timestamp
    last_day: pd.Timestamp
    patients: int


def compared_agents(material: Material, *, level: float, fewest_ears: int, rng: np.random.Generator) -> Agents:
    """Compare the agents that were used, pair by pair.

    Parameters
    ----------
    material : Material
        Ears and their success; contrast ``used``.
    level : float
        How sure all ranges together should be.
    fewest_ears : int
        Ears an agent needs to be shown.
    rng : numpy.random.Generator
        For the common quantile of the ranges.

    Returns
    -------
    Agents

    Raises
    ------
    NotEnough
        If fewer than two agents were used often enough.
    """
    rows, outcome = material.sample.rows, np.asarray(material.outcome, dtype=bool)
    agent = rows["softener"].astype("object").where(material.treated)
    counts = agent.value_counts().drop(labels=["none"], errors="ignore")
    shown = [name for name in counts.index if _is_common(agent == name, outcome, fewest_ears)]
    if len(shown) < 2:
        raise NotEnough(
            f"Fewer than two agents were used on at least {fewest_ears} ears each, with {FEWEST_IN_LEVEL} successes and failures.",
            "Ask at every visit which agent was used, and write it down by name.",
        )
    kept = agent.isin(shown).to_numpy()
    names, outcome, sample = agent[kept].to_numpy(), outcome[kept], rows[kept].reset_index(drop=True)
    which = np.column_stack([names == name for name in shown[1:]]).astype(float)
    mix = case_mix(sample, FACTS, treated=names == shown[0], outcome=outcome)
    design = case_mix_design(level_columns(mix.levels), which)
    full = np.column_stack([design, which])
    coefficients = fitted_coefficients(full, outcome, shares=True)
    all_set = [np.tile(np.arange(1, len(shown)) == place, (len(names), 1)) for place in range(len(shown))]
    targets = [Target(np.column_stack([design, set_to])) for set_to in all_set]
    whose = material.sample.whose[kept]
    averages = averaged_predictions(coefficients, full, outcome, whose, targets, shares=True)
    pairs = all_pairs(len(shown))
    contrasts = np.array([np.eye(len(shown))[later] - np.eye(len(shown))[earlier] for later, earlier in pairs])
    both = [int(counts[shown[later]] + counts[shown[earlier]]) for later, earlier in pairs]
    ranges = simultaneous_ranges(averages.means, averages.covariance, contrasts, level=level, n=both, rng=rng)
    method = "standardised over all ears compared, patients clustered"
    return Agents(
        {name: int(counts[name]) for name in shown},
        {
            name: contrast_estimate(
                averages, np.eye(len(shown))[place], level=level, n=int(counts[name]), method=method
            )
            for place, name in enumerate(shown)
        },
        {(shown[later], shown[earlier]): each for (later, earlier), each in zip(pairs, ranges, strict=True)},
        [name for name in counts.index if name not in shown],
        sample["day"].min(),
        sample["day"].max(),
        len(set(whose)),
    )


def _is_common(used: pd.Series, outcome: np.ndarray, fewest: int) -> bool:
    """Say whether an agent was used often enough, with successes and failures."""
    chosen = used.to_numpy(dtype=bool)
    least = min(int(outcome[chosen].sum()), int((~outcome[chosen]).sum()))
    return bool(chosen.sum() >= fewest and least >= FEWEST_IN_LEVEL)
