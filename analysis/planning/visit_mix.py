"""Minutes of the coming visits by their mix: kinds of booking, and how full ears are expected to be found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.models.return_visits import FULLY, STATES
from analysis.models.returns_ahead import RECALL
from analysis.models.visit_states import FEWEST_GRADED, VisitStates
from analysis.planning.scenarios import moved_shares


@dataclass(frozen=True, eq=False)
class VisitMix:
    """What is expected of each month's visits; the first row is the best figure, the others draws.

    Attributes
    ----------
    shares : numpy.ndarray, shape (1 + sets, months, kinds, states)
        How full the fuller ear is found (``STATES``), by kind of booking.
    minutes : numpy.ndarray, shape (1 + sets, months, kinds)
        Minutes of a visit in the chair, with turnaround.
    spread : numpy.ndarray, shape (months, kinds)
        Standard deviation of one visit's minutes.
    """

    shares: np.ndarray
    minutes: np.ndarray
    spread: np.ndarray


def visit_mix(
    states: VisitStates,
    *,
    slope: np.ndarray,
    later: np.ndarray,
    turnaround_minutes: float,
    rng: np.random.Generator,
) -> VisitMix:
    """Expect the coming visits' minutes from how full ears will be found.

    Parameters
    ----------
    states : VisitStates
        Shares and minutes of the last year.
    slope : numpy.ndarray, shape (1 + sets,)
        How the log odds of a fuller ear grow with the logarithm of the months since the last visit.
    later : numpy.ndarray, shape (1 + sets, months)
        By how much the mean logarithm of the months of each month's recalls exceeds that of the last year's.
    turnaround_minutes : float
    rng : numpy.random.Generator

    Returns
    -------
    VisitMix

    Notes
    -----
    Shares are drawn from a Dirichlet distribution of the visits behind them, mean
    minutes from a normal one. Shares of recalls are moved with the months they come
    after; those of other kinds stay as the log's last year has them.
    """
    rows, months = later.shape
    shares = _shares_drawn(states, rows, rng)
    error = states.spread / np.sqrt(states.timed)
    means = states.minutes + error * np.concatenate(
        [np.zeros((1, *error.shape)), rng.standard_normal((rows - 1, *error.shape))]
    )
    by_month = np.repeat(shares[:, None], months, axis=1)
    for row in range(rows):
        by_month[row, :, RECALL] = moved_shares(shares[row, RECALL], slope[row] * later[row])
    minutes = np.einsum("bmks,bks->bmk", by_month, means) + turnaround_minutes
    best, mean = by_month[0], states.minutes
    about = np.einsum("mks,ks->mk", best, mean)[..., None]
    spread = np.sqrt(np.einsum("mks,mks->mk", best, states.spread**2 + (mean - about) ** 2))
    return VisitMix(by_month, minutes, spread)


def _shares_drawn(states: VisitStates, rows: int, rng: np.random.Generator) -> np.ndarray:
    """Draw shares by kind as uncertain as the visits behind them, the log's own first."""
    shares = states.shares
    every = states.counts.sum(axis=0)
    own = states.counts.sum(axis=1, keepdims=True) >= FEWEST_GRADED
    weights = np.where(own, states.counts, every) + 0.5
    drawn = rng.standard_gamma(np.broadcast_to(weights, (rows, *weights.shape)))
    drawn /= drawn.sum(axis=2, keepdims=True)
    drawn[0] = shares
    return drawn


def chair_minutes(visits: np.ndarray, mix: VisitMix, rng: np.random.Generator) -> np.ndarray:
    """Draw the minutes in the chair that drawn visits take.

    Parameters
    ----------
    visits : numpy.ndarray, shape (futures, months, kinds)
    mix : VisitMix
    rng : numpy.random.Generator

    Returns
    -------
    numpy.ndarray, shape (futures, months)
    """
    sets = 1 + np.arange(len(visits)) % (len(mix.minutes) - 1)
    spread = np.sqrt((visits * mix.spread**2).sum(axis=2)) * rng.standard_normal(visits.shape[:2])
    return np.maximum((visits * mix.minutes[sets]).sum(axis=2) + spread, 0.0)


def fully_occluding_share(visits: np.ndarray, mix: VisitMix) -> np.ndarray:
    """Share of the visits that find an ear fully occluding.

    Parameters
    ----------
    visits : numpy.ndarray, shape (months, kinds)
        Expected visits.
    mix : VisitMix

    Returns
    -------
    numpy.ndarray, shape (1 + sets, months)
        Nought in a month without visits.
    """
    weights = visits / np.maximum(visits.sum(axis=1, keepdims=True), 1e-9)
    return np.einsum("mk,bmk->bm", weights, mix.shares[..., STATES.index(FULLY)])
