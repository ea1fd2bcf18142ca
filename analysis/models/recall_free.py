"""Ears occluding again with no shape assumed: what the evidence says by itself, beside the fitted curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse

from analysis.models.recall_callers import FEWEST_WATCHED
from analysis.models.recall_enough import DAYS_A_MONTH, refuse_too_little
from analysis.models.recall_evidence import Evidence, ear_evidence, first_clearances
from analysis.models.recall_groups import Group, everyone_and_groups
from analysis.models.recall_returns import calls_uncertain
from analysis.problems import NotEnough
from analysis.settings import RecallPart
from analysis.stats.turnbull import NotAtRest, turnbull

CLOSE, CLOSE_DRAWN = 1e-3, 0.1
"""Log-likelihood that may be missing from the curve itself, and from each redrawn one."""


@dataclass(frozen=True, eq=False)
class FreeCurve:
    """The share of a group's ears occluding again by each month, with no shape assumed.

    Attributes
    ----------
    group : str
        ``hearing_aid``, ``no_hearing_aid`` or ``everyone``.
    ears : int
        Ears cleared.
    months : numpy.ndarray
        Months from 0 for as long as at least 25 ears were watched.
    share, low, high : numpy.ndarray
        The share, and its range from patients drawn again; not a number where nothing is known.
    missing : float
        Log-likelihood the curve may at most be short of the likeliest one.
    """

    group: str
    ears: int
    months: np.ndarray
    share: np.ndarray
    low: np.ndarray
    high: np.ndarray
    missing: float

    @property
    def known(self) -> np.ndarray:
        """Months later than none at which share and range are known."""
        return np.isfinite(self.share + self.low + self.high) & (self.months > 0)


def free_curves(
    gaps: pd.DataFrame, settings: RecallPart, *, draws: int, rng: np.random.Generator, level: float = 0.95
) -> dict[str, FreeCurve]:
    """Find what the evidence says of each group's ears when no shape is assumed.

    Parameters
    ----------
    gaps : pandas.DataFrame
        The table ``GAPS``.
    settings : RecallPart
        The symptom window, and how many ears a group needs.
    draws : int
        How often patients are drawn again.
    rng : numpy.random.Generator
    level : float, optional
        How sure ranges should be.

    Returns
    -------
    dict of str to FreeCurve
        The groups with enough ears, then ``everyone``.

    Raises
    ------
    NotEnough
        As ``fit_recall`` for logs too thin, or if the search does not come to rest.

    Notes
    -----
    The same evidence as the fitted curve's, gathered to the nearest months (a
    window shorter than a month is taken for one): with limits on ever
    different days the curve would have a slower and stranger error than
    redrawing shows; on a fixed grid of times redrawing holds [1]_. Redrawn
    patients keep both ears; the share who never return is drawn around its
    value as uncertain as it is.

    References
    ----------
    .. [1] Tang, Banerjee and Kosorok (2012), Annals of Statistics 40, 45-72.
    """
    first = first_clearances(gaps)
    refuse_too_little(first, settings.fewest_ears)
    everyone, own = everyone_and_groups(gaps, first, settings, settings.groups)
    return {
        group.name: free_curve(group, settings.symptom_window_days, draws=draws, rng=rng, level=level)
        for group in [*own, everyone]
    }


def free_curve(
    group: Group, symptom_window_days: int, *, draws: int, rng: np.random.Generator, level: float
) -> FreeCurve:
    """Find one group's curve, its range from patients drawn again.

    Parameters
    ----------
    group : Group
    symptom_window_days : int
    draws : int
    rng : numpy.random.Generator
    level : float

    Returns
    -------
    FreeCurve

    Raises
    ------
    NotEnough
        If the search does not come to rest.
    """
    never = [each.never for each in group.returns]
    evidence = ear_evidence(group.first, group.returns, never, symptom_window_days)
    low, high, cell = whole_months_of(evidence)
    counts, drawn = _counts(group, evidence, cell, symptom_window_days, draws, rng)
    until = _watched_until(low, counts)
    months = np.arange(0, until + 0.5)
    try:
        curve = turnbull(low, high, counts, close=CLOSE)
        redrawn = turnbull(low, high, drawn, close=CLOSE_DRAWN).share_by(months)
    except NotAtRest:
        raise NotEnough(
            "The search for the curve did not come to rest.", "Ask again when more ears were seen."
        ) from None
    share = np.asarray(curve.share_by(months)[0])
    low_end, high_end = np.quantile(redrawn, [(1 - level) / 2, (1 + level) / 2], axis=0)
    return FreeCurve(group.name, len(group.first), months, share, low_end, high_end, float(curve.missing[0]))


def whole_months_of(evidence: Evidence) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gather limits to months: low and high of each cell, and the cell of each row; -1 where it says nothing."""
    low = np.round(evidence.low / DAYS_A_MONTH)
    high = np.maximum(np.round(evidence.high / DAYS_A_MONTH), low + 1)
    says = (low > 0) | np.isfinite(high)
    cells, place = np.unique(np.column_stack([low, high])[says], axis=0, return_inverse=True)
    cell = np.full(len(low), -1)
    cell[says] = place.ravel()
    return cells[:, 0], cells[:, 1], cell


def _counts(
    group: Group, evidence: Evidence, cell: np.ndarray, window: int, draws: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Count the cells: as they are, and with patients drawn again and the shares who never return moved by chance."""
    _, patient = np.unique(group.first["patient_key"].to_numpy(dtype=str)[evidence.row], return_inverse=True)
    says, many = cell >= 0, int(patient.max()) + 1
    weights = [evidence.weight, *_moves(group, evidence, window)]
    tables = [
        sparse.coo_array((weight[says], (patient[says], cell[says])), shape=(many, int(cell.max()) + 1)).tocsr()
        for weight in weights
    ]
    again = rng.multinomial(many, np.full(many, 1 / many), size=draws).astype(float)
    chance = rng.standard_normal((draws, len(tables) - 1))
    drawn = (tables[0].T @ again.T).T
    for place, table in enumerate(tables[1:]):
        drawn = drawn + chance[:, [place]] * (table.T @ again.T).T
    return np.asarray(tables[0].sum(axis=0)), np.maximum(drawn, 0.0)


def _moves(group: Group, evidence: Evidence, window: int) -> list[np.ndarray]:
    """By how much one standard error more of those who never return, or never call, moves each row's weight."""
    moves = []
    for stage, returns in enumerate(group.returns):
        never = [each.never for each in group.returns]
        never[stage] += returns.error
        moves.append(ear_evidence(group.first, group.returns, never, window).weight - evidence.weight)
    if calls_uncertain(group.returns):
        never = [each.never for each in group.returns]
        moved = ear_evidence(group.first, group.returns, never, window, silent_errors=1)
        moves.append(moved.weight - evidence.weight)
    return moves


def _watched_until(low: np.ndarray, counts: np.ndarray) -> int:
    """Last month until which at least 25 ears were known open."""
    order = np.argsort(-low)
    enough = low[order][np.cumsum(counts[order]) >= FEWEST_WATCHED]
    return int(enough[0]) if len(enough) else 0
