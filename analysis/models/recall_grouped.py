"""Months until ears occlude again in groups a receptionist can tell apart: the owner's, or those that foretell best."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.recall_choice import Material, held_out_scores, score_difference
from analysis.models.recall_curve import RecallCurve, recall_curve
from analysis.models.recall_enough import enough, refuse_too_little
from analysis.models.recall_evidence import EVERYONE, ear_evidence, first_clearances
from analysis.models.recall_fit import fit_groups, groups_family
from analysis.models.recall_group_names import SPLITS, all_names, group_names
from analysis.models.recall_groups import Group, everyone_and_groups
from analysis.settings import RecallPart
from analysis.stats.censored import NoMaximum
from analysis.stats.time_families import WEIBULL, Family

MOST_FACTS = 2


@dataclass(frozen=True, eq=False)
class GroupedRecall:
    """Recall curves of groups.

    Attributes
    ----------
    facts : tuple of str
        The facts that make the groups; empty where none foretells better than one curve for all.
    owners : bool
        Whether the owner named them.
    curves : dict of str to RecallCurve
        By group, such as ``hearing_aid:yes age_60:no``, then ``everyone``. A
        group with too few ears shows everyone's curve and says so by ``own``.
    ungrouped : int
        Ears whose group is not known: a fact was not noted.
    family : Family
    first_day, last_day : pandas.Timestamp
        First and last clearance used.
    later_clearances : int
        Clearances not used, of ears counted already.
    """

    facts: tuple[str, ...]
    owners: bool
    curves: dict[str, RecallCurve]
    ungrouped: int
    family: Family
    first_day: pd.Timestamp
    last_day: pd.Timestamp
    later_clearances: int


def fit_grouped(gaps: pd.DataFrame, settings: RecallPart, *, level: float = 0.95) -> GroupedRecall:
    """Fit a recall curve for each of at most four groups.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``.
    settings : RecallPart
        The facts the owner named, the symptom window, how many ears a group needs.
    level : float, optional
        How sure ranges should be.

    Returns
    -------
    GroupedRecall

    Raises
    ------
    NotEnough
        As ``fit_recall`` for logs too thin.

    Notes
    -----
    Without the owner's facts, every one and every two of the four facts are
    tried. The fewest facts are taken that foretell patients held out as well
    as the best do, as far as chance can tell, and among as many facts those
    that foretell best; none, where one curve for all does as well. Groups with
    too few ears count within everyone's curve when scored, and show it.
    """
    first = first_clearances(gaps)
    refuse_too_little(first, settings.fewest_ears)
    everyone, _ = everyone_and_groups(gaps, first, settings, settings.groups)
    owners = bool(settings.groups)
    facts = settings.groups or _best_facts(first, everyone, settings, level)
    own = everyone_and_groups(gaps, first, settings, facts)[1] if facts else []
    family = groups_family(own or [everyone], settings)
    [whole] = fit_groups([everyone], settings, level, family=family, never=True)
    together = fit_groups(own, settings, level, family=family, never=True) if own else []
    times = dict(zip([group.name for group in own], together, strict=True))
    named = group_names(first, facts)
    curves = {
        name: recall_curve(name, first[named == name], times.get(name, whole), own=name in times)
        for name in all_names(facts)
    }
    curves[EVERYONE] = recall_curve(EVERYONE, first, whole, own=True)
    days, ungrouped = first["cleared_on"], int((named == "").sum()) if facts else 0
    return GroupedRecall(facts, owners, curves, ungrouped, family, days.min(), days.max(), len(gaps) - len(first))


def _best_facts(first: pd.DataFrame, everyone: Group, settings: RecallPart, level: float) -> tuple[str, ...]:
    """Choose facts by how the groups they make foretell patients held out."""
    tried: list[tuple[str, ...]] = [(), *((fact,) for fact in SPLITS), *itertools.combinations(SPLITS, MOST_FACTS)]
    never = [each.never for each in everyone.returns]
    part = ear_evidence(first, everyone.returns, never, settings.symptom_window_days)
    keys = first["patient_key"].to_numpy()[part.row]
    scores: dict[tuple[str, ...], np.ndarray] = {}
    for facts in tried:
        design = _columns(first, facts, settings.fewest_ears)
        if design.shape[1] > 1 or not facts:
            of = Material.of(part.low, part.high, part.weight, design[part.row], keys)
            try:
                scores[facts] = held_out_scores(of, WEIBULL)
            except NoMaximum:
                continue  # groups that settle no curve for some patients are not to be taken
    return _fewest_alike(scores, float(part.weight.sum()), level) if () in scores else ()


def _fewest_alike(scores: dict[tuple[str, ...], np.ndarray], ears: float, level: float) -> tuple[str, ...]:
    """Take the fewest facts that foretell as well as the best, as far as chance can tell."""
    best = max(scores, key=lambda facts: float(scores[facts].sum()))
    alike = [facts for facts in scores if score_difference(scores[facts], scores[best], ears, level).high >= 0]
    fewest = min(len(facts) for facts in alike)
    return max((facts for facts in alike if len(facts) == fewest), key=lambda facts: float(scores[facts].sum()))


def _columns(first: pd.DataFrame, facts: tuple[str, ...], fewest_ears: int) -> np.ndarray:
    """Turn groups into columns; ears of groups too small, or of none, count as one more or go with the largest."""
    named = group_names(first, facts).to_numpy()
    own = [name for name in all_names(facts) if enough(first[named == name], fewest_ears)]
    rest = ~np.isin(named, own)
    if own and not enough(first[rest], fewest_ears):
        named = np.where(rest, max(own, key=lambda name: int((named == name).sum())), named)
        own = own[1:]
    return np.column_stack([np.ones(len(first)), *((named == name).astype(float) for name in own)])
