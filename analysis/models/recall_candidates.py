"""Curves and sets of facts beside one another, by how they foretell patients held out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.models.recall_choice import held_out_scores, score_difference
from analysis.models.recall_fact_table import FACTS, fact_design
from analysis.models.recall_facts import FactEvidence, unsettled
from analysis.settings import RecallPart
from analysis.stats.censored import NoMaximum
from analysis.stats.estimate import Estimate
from analysis.stats.time_families import FAMILIES

NONE, GROUPS, ALL = "none", "hearing_aid", "all"
SETS = {NONE: (), GROUPS: ("hearing_aid",), ALL: FACTS}


@dataclass(frozen=True, slots=True)
class Candidate:
    """A curve and set of facts with its score on patients held out.

    Attributes
    ----------
    family, facts : str
        Names in ``FAMILIES`` and ``SETS``.
    score : float
        Mean log score an ear's clearance.
    behind : Estimate
        By how much that is less than the best candidate's; 0 for the best itself.
    """

    family: str
    facts: str
    score: float
    behind: Estimate


def candidates(
    every: pd.DataFrame, gaps: pd.DataFrame, settings: RecallPart, *, level: float = 0.95
) -> list[Candidate]:
    """Score either curve with no facts, with hearing aids alone and with all facts, on patients held out.

    Parameters
    ----------
    every, gaps, settings, level
        As for ``fit_facts``.

    Returns
    -------
    list of Candidate
        The best first.

    Raises
    ------
    NotEnough
        As ``fit_recall`` for logs too thin, or if some part of the patients settles no curve.
    """
    evidence = FactEvidence.of(every, gaps, settings)
    scores: dict[tuple[str, str], np.ndarray] = {}
    for name, facts in SETS.items():
        design = fact_design(every, facts, settings.fewest_ears)
        if name != NONE and not design.columns:
            continue
        of = evidence.material(design.matrix)
        try:
            scores |= {(family, name): held_out_scores(of, shape) for family, shape in FAMILIES.items()}
        except NoMaximum:
            raise unsettled() from None
    best = max(scores, key=lambda each: float(scores[each].sum()))
    found = [
        Candidate(*each, float(mine.sum()) / of.ears, score_difference(mine, scores[best], of.ears, level))
        for each, mine in scores.items()
    ]
    return sorted(found, key=lambda each: -each.score)
