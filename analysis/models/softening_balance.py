"""Whether the two arms can be compared at all: balance, overlap, what weighting costs, and what should show nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.case_mix import case_mix, level_columns
from analysis.models.softening_estimates import SideBySide, design_effect, standard_error
from analysis.models.softening_material import Material, in_arm, refuse_few, refuse_one_sided
from analysis.models.softening_sample import FACTS, other_ears
from analysis.stats.balance import rows_needed, shared_ground, standardised_difference
from analysis.stats.weighted_arms import OVERLAP, STABILISED, balancing_weights, effective_rows

POINTS = (5, 10, 15)
POWER = 0.8
"""How often a difference is to be found if it is there (a usual choice)."""


@dataclass(frozen=True, eq=False)
class Balance:
    """How alike both arms are.

    Attributes
    ----------
    differences : pandas.DataFrame
        One row a fact: ``fact``, and the largest absolute standardised
        difference of its levels ``before``, ``weighted`` and ``overlap_weighted``.
    shared_ground_share : float
        How far the arms' spreads of chances lie over each other.
    least_chance, most_chance : float
        Chance of being softened: that of the lowest and highest 1 in 100 ears.
    effective_ears : dict of str to (float, float)
        By weighting: what the (softened, other) ears are worth.
    """

    differences: pd.DataFrame
    shared_ground_share: float
    least_chance: float
    most_chance: float
    effective_ears: dict[str, tuple[float, float]]


def balance(side: SideBySide) -> Balance:
    """Look at how alike the arms are before and after weighting.

    Parameters
    ----------
    side : SideBySide
        Ears compared.

    Returns
    -------
    Balance
    """
    treated, chance = side.material.treated, side.compared.fitted.chance
    weights = {
        "weighted": balancing_weights(chance, treated, kind=STABILISED),
        "overlap_weighted": balancing_weights(chance, treated, kind=OVERLAP),
    }
    ways: list[tuple[str, np.ndarray | None]] = [("before", None), *weights.items()]
    by_fact = _columns_by_fact(side.material)
    table: dict[str, list] = {"fact": list(by_fact)}
    for name, weight in ways:
        table[name] = [_largest(columns, treated, weight) for columns in by_fact.values()]
    least, most = np.quantile(chance, (0.01, 0.99))
    worth = {
        name: (effective_rows(weight[treated]), effective_rows(weight[~treated])) for name, weight in weights.items()
    }
    return Balance(pd.DataFrame(table), shared_ground(chance, treated), float(least), float(most), worth)


def _largest(columns: list[np.ndarray], treated: np.ndarray, weight: np.ndarray | None) -> float:
    """Give the largest standardised difference among a fact's levels."""
    return max((abs(standardised_difference(column, treated, weight)) for column in columns), default=0.0)


def _columns_by_fact(material: Material) -> dict[str, list[np.ndarray]]:
    """Give every level of every recorded fact as 0 and 1."""
    levels = material.mix.levels
    return {
        str(fact): [(levels[fact] == level).to_numpy(dtype=float) for level in sorted(levels[fact].unique())]
        for fact in levels
        if fact not in material.mix.unrecorded
    }


@dataclass(frozen=True, slots=True)
class Benchmark:
    """A recorded level as if it had not been: how much commoner with softening, how much it goes with success."""

    fact: str
    level: str
    arm_ratio: float
    outcome_ratio: float


def benchmarks(
    material: Material, facts: tuple[str, ...] = ("grade", "debris", "impacted", "canal")
) -> list[Benchmark]:
    """Measure recorded facts with the two ratios an unrecorded cause would need.

    Parameters
    ----------
    material : Material
        Ears and their success.
    facts : tuple of str, optional

    Returns
    -------
    list of Benchmark
        Each fact's strongest level by the product of both ratios, each told as above 1.
    """
    outcome = np.asarray(material.outcome, dtype=float)
    found = []
    for fact in facts:
        if fact in material.mix.unrecorded:
            continue
        of_fact = []
        for level in sorted(material.mix.levels[fact].unique()):
            has = (material.mix.levels[fact] == level).to_numpy()
            shares = has[material.treated].mean(), has[~material.treated].mean()
            successes = (outcome[has].mean(), outcome[~has].mean()) if 0 < has.sum() < len(has) else (0.0, 0.0)
            if min(*shares, *successes) > 0:
                of_fact.append(Benchmark(fact, level, _above_one(*shares), _above_one(*successes)))
        found += sorted(of_fact, key=lambda each: -each.arm_ratio * each.outcome_ratio)[:1]
    return found


def _above_one(first: float, second: float) -> float:
    """Give a ratio of two shares, the larger on top."""
    return float(max(first / second, second / first))


def other_ears_material(
    attempts: pd.DataFrame, *, contrast: str, fewest_ears: int, followed_until: pd.Timestamp, beside_occluding: bool
) -> Material:
    """Take first attempts on ears that were not occluding, on which softening should do little.

    Parameters
    ----------
    attempts : pandas.DataFrame
        The table ``ATTEMPTS``.
    contrast : str
        ``advised`` or ``used``.
    fewest_ears : int
        Ears the smaller arm needs.
    followed_until : pandas.Timestamp
        Last day whose attempts were followed for the full days.
    beside_occluding : bool
        Take only those whose other ear was occluding at the same visit.

    Returns
    -------
    Material

    Raises
    ------
    NotEnough
        If there are too few such ears, or too few failures among them.

    Notes
    -----
    A negative control [1]_: an outcome that the treatment should hardly move,
    but which whatever hides behind it would. The ear beside an occluding one
    shares its patient, visit and softening. It is no perfect control: drops
    reach both ears, so that what shows there may be softening's own doing.

    References
    ----------
    .. [1] Lipsitch, Tchetgen Tchetgen and Cohen (2010), Epidemiology 21, 383-388.
    """
    sample = other_ears(attempts, contrast=contrast, followed_until=followed_until, beside_occluding=beside_occluding)
    treated, outcome = in_arm(sample, contrast), sample.rows["success"].to_numpy(dtype=bool)
    refuse_few(treated, contrast, fewest_ears, "ears that were not occluding")
    refuse_one_sided(treated, outcome, contrast, of_what="ears that were not occluding")
    mix = case_mix(sample.rows, FACTS, treated=treated, outcome=outcome)
    return Material(contrast, sample, level_columns(mix.levels), mix, treated, outcome, shares=True)


@dataclass(frozen=True, eq=False)
class EarsNeeded:
    """How many ears show a difference.

    Attributes
    ----------
    ears : dict of int to int
        By points of 100: ears of both arms together, arms as uneven as they are,
        two ears a patient and making the arms alike allowed for.
    independent_ears : dict of int to int
        The same were every ear a patient's only one and nothing to be made alike.
    compared : int
        Ears the log holds.
    design_effect : float
        How many times as large two ears a patient make the variance.
    adjusting_effect : float
        The same for making the arms alike (doubly robust against as they are).
    """

    ears: dict[int, int]
    independent_ears: dict[int, int]
    compared: int
    design_effect: float
    adjusting_effect: float


def ears_needed(side: SideBySide) -> EarsNeeded:
    """Say how many ears a difference of 5, 10 or 15 points would need to be seen.

    Parameters
    ----------
    side : SideBySide
        Ears compared; its unsoftened share, its split of arms, its design
        effect and its cost of making the arms alike are used.

    Returns
    -------
    EarsNeeded
        Points that would lead above 100 in 100 are left out.
    """
    arms = side.compared.arms
    of_patients = design_effect(side.compared)
    of_adjusting = (standard_error(side.compared, "doubly_robust") / standard_error(side.compared, "unadjusted")) ** 2
    base, share = arms["doubly_robust"].untreated, float(side.material.treated.mean())
    able = [points for points in POINTS if base + points / 100 < 1]
    made = {
        effect: {
            points: rows_needed(
                base, points / 100, treated_share=share, power=POWER, level=side.level, design_effect=effect
            )
            for points in able
        }
        for effect in (of_patients * of_adjusting, 1.0)
    }
    return EarsNeeded(
        made[of_patients * of_adjusting], made[1.0], len(side.material.treated), of_patients, of_adjusting
    )


def chances_by_arm(side: SideBySide, bands: int = 20) -> pd.DataFrame:
    """Count both arms' ears by their chance of being softened.

    Parameters
    ----------
    side : SideBySide
        Ears compared.
    bands : int, optional
        Equal parts of 0 to 1.

    Returns
    -------
    pandas.DataFrame
        One row a band: ``middle`` of the band, ears ``softened`` and ``others``.
        Empty bands at either end are left out.
    """
    chance, treated = side.compared.fitted.chance, side.material.treated
    edges = np.linspace(0, 1, bands + 1)
    softened, others = (np.histogram(chance[arm], bins=edges)[0] for arm in (treated, ~treated))
    table = pd.DataFrame({"middle": (edges[:-1] + edges[1:]) / 2, "softened": softened, "others": others})
    filled = np.flatnonzero(softened + others)
    return table.iloc[filled[0] : filled[-1] + 1].reset_index(drop=True)
